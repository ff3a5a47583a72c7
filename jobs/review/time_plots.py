"""Curves over time against their limits, with the crew's decisions below."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...solver.arrays import BoolArray, FloatArray
from .shown import Shown
from .svg import Box, Scale, broken, element, group, line, path, text

_TICK_ROW_PX = 16.0  # below an axis, for the decisions
_TICK_PX = 20.0  # least height between numbers
_MINUS = "\u2212"
_NEAR_LIMIT = 2.2  # a limit within this factor of the curve is drawn, others are told


@dataclass(frozen=True, kw_only=True, slots=True)
class Curve:
    """One line of a plot: its values, (n,), NaN where there are none; its class."""

    values: FloatArray
    kind: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Plot:
    """What one plot shows over the time of a take.

    Attributes:
        name: its id.
        curves: the lines; the first is the one that the limit is for.
        limit: of the curve's size either way; None: it has none.
        decided: rows on which a decision falls, (n,); None: none are shown.
        corridor: lower and upper edge, (n,) each; None: there is none.
        lowest, highest: which the axis shows in any case.
        ceiling: the axis ends here on either side, whatever the curves do.
        flagged: rows that are marked at the foot of the plot, (n,).
    """

    name: str
    curves: Sequence[Curve]
    limit: float | None = None
    decided: BoolArray | None = None
    corridor: tuple[FloatArray, FloatArray] | None = None
    lowest: float = 0.0
    highest: float = 0.0
    ceiling: float = np.inf
    flagged: BoolArray | None = None

    @property
    def most(self) -> float:
        """Largest size of the first curve; 0 where it has no values."""
        values = self.curves[0].values
        return float(np.nanmax(np.abs(values))) if np.isfinite(values).any() else 0.0

    @property
    def shows_limit(self) -> bool:
        """Whether the limit is near enough to be drawn."""
        return self.limit is not None and self.limit <= _NEAR_LIMIT * self.most


def time_plot(shown: Shown, box: Box, plot: Plot) -> str:
    """Return a plot; its numbers stand left of the box, its decisions below it."""
    times = _times(shown, box)
    scale = _scale(box, plot)
    marks = [times(shown.times_s[row]) for row in shown.marks]
    return group(
        path(_grid(box, scale, marks), class_="faint"),
        *_numbers(box, scale),
        line((box.left, scale(0)), (box.right, scale(0)), class_="axis")
        if scale.low <= 0 <= scale.high
        else "",
        *_corridor(shown, plot, times, scale),
        *(_curve(shown, curve, times, scale) for curve in plot.curves),
        *_limits(box, plot, scale),
        *_decisions(shown, box, plot),
        *_flags(shown, box, plot, times),
        id=plot.name,
    )


def _times(shown: Shown, box: Box) -> Scale:
    last_s = shown.times_s[-1] or 1.0
    return Scale(low=0, high=float(last_s), start=box.left, end=box.right)


def _scale(box: Box, plot: Plot) -> Scale:
    shown = [curve.values for curve in plot.curves]
    shown += [] if plot.corridor is None else list(plot.corridor)
    finite = [values[np.isfinite(values)] for values in shown]
    low = min(plot.lowest, *(float(v.min()) for v in finite if len(v)), plot.highest)
    high = max(plot.highest, *(float(v.max()) for v in finite if len(v)), plot.lowest)
    if plot.shows_limit:
        assert plot.limit is not None
        high = max(high, plot.limit)
        low = min(low, -plot.limit if low < 0 else low)
    low, high = max(low, -plot.ceiling), min(high, plot.ceiling)
    spare = 0.06 * (high - low) or 1.0
    low, high = (low - spare if low < 0 else low), high + spare
    return Scale(low=low, high=high, start=box.bottom, end=box.top)


def _ticks(box: Box, scale: Scale) -> list[float]:
    found: list[float] = scale.ticks(max(2, int(box.height / _TICK_PX))).tolist()
    return found


def _grid(box: Box, scale: Scale, marks: Sequence[float]) -> FloatArray:
    """Return lines at the marked moments and at the numbers of the axis."""
    upright = [np.array([(x, box.top), (x, box.bottom)]) for x in marks]
    heights = [scale(value) for value in _ticks(box, scale)]
    return broken(
        [*upright, *(np.array([(box.left, y), (box.right, y)]) for y in heights)]
    )


def _numbers(box: Box, scale: Scale) -> Iterator[str]:
    for value in _ticks(box, scale):
        words = f"{value + 0.0:g}".replace("-", _MINUS)
        yield text(words, (box.left - 7, scale(value) + 4), class_="label end")


def _curve(shown: Shown, curve: Curve, times: Scale, scale: Scale) -> str:
    values = np.where(np.isinf(curve.values), np.nan, curve.values)
    low, high = sorted((scale.low, scale.high))
    # A curve that leaves the axis runs along its edge, so that it is seen to leave.
    heights = scale.all(np.clip(values, low, high))
    return path(np.column_stack([times.all(shown.times_s), heights]), class_=curve.kind)


def _corridor(shown: Shown, plot: Plot, times: Scale, scale: Scale) -> Iterator[str]:
    if plot.corridor is None:
        return
    for edge in plot.corridor:
        heights = scale.all(np.clip(edge, scale.low, scale.high))
        places = np.column_stack([times.all(shown.times_s), heights])
        yield path(places, class_="corridor")


def _limits(box: Box, plot: Plot, scale: Scale) -> Iterator[str]:
    if not plot.shows_limit:
        return
    assert plot.limit is not None
    for value in (plot.limit, -plot.limit):
        if scale.low <= value <= scale.high:
            y = scale(value)
            yield line((box.left, y), (box.right, y), class_="limit")
    words = f"limit {plot.limit:g}"
    yield text(words, (box.right, scale(plot.limit) + 12), class_="label end")


def _decisions(shown: Shown, box: Box, plot: Plot) -> Iterator[str]:
    if plot.decided is None:
        return
    times = _times(shown, box)
    for t in shown.times_s[plot.decided]:
        x = times(float(t))
        start, end = (x, box.bottom + 4), (x, box.bottom + _TICK_ROW_PX)
        yield line(start, end, class_="decision")


def _flags(shown: Shown, box: Box, plot: Plot, times: Scale) -> Iterator[str]:
    """Yield a bar along the foot of the plot where rows are flagged."""
    if plot.flagged is None or not plot.flagged.any():
        return
    step_s, foot = float(1 / shown.rate), box.bottom - 4
    pieces = [
        np.array([(times(float(t)), foot), (times(float(t) + step_s), foot)])
        for t in shown.times_s[plot.flagged]
    ]
    yield path(broken(pieces), class_="flagged")


def lag_mark(shown: Shown, box: Box, *, top: float) -> str:
    """Return a bar as long as the pan's lag, at the scale of the axis of time."""
    if shown.lag_s is None:
        return ""
    times = _times(shown, box)
    left, right = box.left, box.left + times(shown.lag_s) - times(0.0)
    return group(
        line((left, top), (right, top), class_="axis"),
        *(line((x, top - 4), (x, top + 4), class_="axis") for x in (left, right)),
        text(f"pan lags by {shown.lag_s:.2f} s", (left, top - 8)),
        class_="label",
    )


def time_axis(shown: Shown, box: Box, *, top: float) -> str:
    """Return numbers of time with their base line at `top` + 12 [px]."""
    times = _times(shown, box)
    return group(
        *(
            text(f"{value:g}", (times(float(value)), top + 12), class_="label middle")
            for value in times.ticks(6)
        ),
    )


def mark_numbers(shown: Shown, box: Box, *, low: float) -> str:
    """Return the numbers of the marked frames with their base line at `low` [px]."""
    times = _times(shown, box)
    last = -np.inf
    parts = []
    for k, row in enumerate(shown.marks, 1):
        x = times(float(shown.times_s[row]))
        if x - last >= 8:
            parts.append(text(str(k), (x, low), class_="number"))
            last = x
    return group(*parts)


def key_line(kind: str, words: str, left: float, low: float) -> str:
    """Return one entry of a key: a short line of a class and what it is."""
    return element(
        "g",
        path([(left, low - 4), (left + 18, low - 4)], class_=kind)
        + text(words, (left + 24, low)),
        class_="label",
    )
