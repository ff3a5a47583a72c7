"""Curves over time against their limits, with the crew's decisions below."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...solver.arrays import BoolArray, FloatArray
from .shown import Shown
from .svg import (
    Box,
    Scale,
    group,
    line,
    number,
    numbers,
    steps_through,
    stroke,
    text,
)
from .thinned import MOST_POINTS, shown_of_curve

_TICK_ROW_PX = 16.0  # below an axis, for the decisions
_TICK_PX = 20.0  # least height between numbers
_MINUS = "\u2212"
_FLAT = 0.7  # share of heights that differ, above which a curve has no long flat run
_NUMBERS_APART_PX = 8.0  # marks that are closer share the first one's number
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
        known = values[np.isfinite(values)]
        return float(np.abs(known).max()) if len(known) else 0.0

    @property
    def shows_limit(self) -> bool:
        """Whether the limit is near enough to be drawn."""
        return self.limit is not None and self.limit <= _NEAR_LIMIT * self.most


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """The axis of time of all plots of a take, in a box [px].

    Attributes:
        box: of the plots.
        scale: from seconds to the page.
        rate_hz: frames a second.
        times_s: of the frames, (n,).
        across: places of the frames as they are written, (n,); none of a long take,
            of which only what shows is drawn.
        marks: places of the marked frames.
        lag_s: of the pan behind the subject; None where it cannot be told.
        numbers: of the marked frames, above the box.
        seconds: numbers of time, below the box and the decisions.
    """

    box: Box
    scale: Scale
    rate_hz: float
    times_s: FloatArray
    across: list[str]
    marks: list[float]
    lag_s: float | None
    numbers: str
    seconds: str

    def way(self, heights: FloatArray) -> str:
        """Return the steps through heights (n,) [px], in which a flat run is one."""
        if len(heights) > MOST_POINTS:
            places = self.scale.all(self.times_s)
            kept = shown_of_curve(places, heights)
            return steps_through(numbers(places[kept]), numbers(heights[kept]))
        x, y = self.across, numbers(heights)
        if len(set(y)) > _FLAT * len(y) or len(y) < 3:
            return steps_through(x, y)
        threes = zip(y, y[1:], y[2:], strict=False)
        inner = [k for k, (a, b, c) in enumerate(threes, 1) if not a == b == c]
        turns = [0, *inner, len(y) - 1]
        return steps_through([x[k] for k in turns], [y[k] for k in turns])


def clock_of(shown: Shown, box: Box) -> Clock:
    """Return the axis of time of a take's plots."""
    last_s = float(shown.times_s[-1]) or 1.0
    scale = Scale(low=0, high=last_s, start=box.left, end=box.right)
    marks = [scale(float(shown.times_s[row])) for row in shown.marks]
    return Clock(
        box=box,
        scale=scale,
        rate_hz=float(shown.rate),
        times_s=shown.times_s,
        across=(
            numbers(scale.all(shown.times_s))
            if len(shown.times_s) <= MOST_POINTS
            else []
        ),
        marks=marks,
        lag_s=shown.lag_s,
        numbers=_mark_numbers(marks, box.top - 4),
        seconds=_seconds(scale, box.bottom + 30),
    )


def time_plot(clock: Clock, plot: Plot) -> str:
    """Return a plot; its numbers stand left of the box, its decisions below it."""
    box, near = clock.box, plot.shows_limit
    scale = _scale(box, plot, near)
    ticks: list[float] = scale.ticks(max(2, int(box.height / _TICK_PX))).tolist()
    return group(
        stroke(_grid(clock, [scale(value) for value in ticks]), class_="faint"),
        _numbers(box, scale, ticks),
        line((box.left, scale(0)), (box.right, scale(0)), class_="axis")
        if scale.low <= 0 <= scale.high
        else "",
        *(
            stroke(clock.way(scale.all(_within(edge, scale))), class_="corridor")
            for edge in plot.corridor or ()
        ),
        *(_curve(clock, curve, scale) for curve in plot.curves),
        *(_limits(box, plot.limit, scale) if near and plot.limit is not None else ()),
        *_decisions(clock, plot),
        *_flags(clock, plot),
        id=plot.name,
    )


def _scale(box: Box, plot: Plot, near: bool) -> Scale:
    values = [curve.values for curve in plot.curves]
    values += [] if plot.corridor is None else list(plot.corridor)
    every = np.concatenate(values)
    finite = every[np.isfinite(every)].tolist()
    low = min([plot.lowest, plot.highest, *finite])
    high = max([plot.lowest, plot.highest, *finite])
    if near:
        assert plot.limit is not None
        high = max(high, plot.limit)
        low = min(low, -plot.limit if low < 0 else low)
    low, high = max(low, -plot.ceiling), min(high, plot.ceiling)
    spare = 0.06 * (high - low) or 1.0
    low, high = (low - spare if low < 0 else low), high + spare
    return Scale(low=low, high=high, start=box.bottom, end=box.top)


def _grid(clock: Clock, heights: Sequence[float]) -> str:
    """Return lines at the marked moments and at the numbers of the axis."""
    left, right, top, bottom = map(
        number, (clock.box.left, clock.box.right, clock.box.top, clock.box.bottom)
    )
    upright = [f"M{number(x)} {top}V{bottom}" for x in clock.marks]
    level = [f"M{left} {number(y)}H{right}" for y in heights]
    return "".join([*upright, *level])


def _numbers(box: Box, scale: Scale, ticks: Sequence[float]) -> str:
    return group(
        *(
            text(
                f"{value + 0.0:g}".replace("-", _MINUS),
                (box.left - 7, scale(value) + 4),
            )
            for value in ticks
        ),
        class_="label end",
    )


def _within(values: FloatArray, scale: Scale) -> FloatArray:
    """Return values held inside a scale, NaN where they are not finite."""
    # A curve that leaves the axis runs along its edge, so that it is seen to leave.
    return np.minimum(np.maximum(values, scale.low), scale.high)


def _curve(clock: Clock, curve: Curve, scale: Scale) -> str:
    return stroke(clock.way(scale.all(_within(curve.values, scale))), class_=curve.kind)


def _limits(box: Box, limit: float, scale: Scale) -> Iterator[str]:
    for value in (limit, -limit):
        if scale.low <= value <= scale.high:
            y = scale(value)
            yield line((box.left, y), (box.right, y), class_="limit")
    yield text(f"limit {limit:g}", (box.right, scale(limit) + 12), class_="label end")


def _decisions(clock: Clock, plot: Plot) -> Iterator[str]:
    """Yield a tick below the plot for each decision."""
    rows = [] if plot.decided is None else np.flatnonzero(plot.decided).tolist()
    if rows:
        start = f"{number(clock.box.bottom + 4)}v{number(_TICK_ROW_PX - 4)}"
        places = numbers(clock.scale.all(clock.times_s[rows]))
        ticks = [f"M{place} {start}" for place in places]
        yield stroke("".join(ticks), class_="decision")


def _flags(clock: Clock, plot: Plot) -> Iterator[str]:
    """Yield a bar along the foot of the plot where rows are flagged."""
    if plot.flagged is None or not plot.flagged.any():
        return
    steps = np.diff(plot.flagged.astype(np.int8), prepend=0, append=0)
    starts, ends = np.flatnonzero(steps > 0), np.flatnonzero(steps < 0) - 1
    foot, scale = number(clock.box.bottom - 4), clock.scale
    bars = [
        f"M{number(scale(start_s))} {foot}H{number(scale(end_s + 1 / clock.rate_hz))}"
        for start_s, end_s in zip(
            clock.times_s[starts].tolist(), clock.times_s[ends].tolist(), strict=True
        )
    ]
    yield stroke("".join(bars), class_="flagged")


def lag_mark(clock: Clock, *, top: float) -> str:
    """Return a bar as long as the pan's lag, at the scale of the axis of time."""
    if clock.lag_s is None:
        return ""
    left, right = clock.box.left, clock.scale(clock.lag_s)
    return group(
        line((left, top), (right, top), class_="axis"),
        *(line((x, top - 4), (x, top + 4), class_="axis") for x in (left, right)),
        text(f"pan lags by {clock.lag_s:.2f} s", (left, top - 8)),
        class_="label",
    )


def _seconds(scale: Scale, low: float) -> str:
    """Return numbers of time with their base line at `low` [px]."""
    return group(
        *(text(f"{t:g}", (scale(t), low)) for t in scale.ticks(6).tolist()),
        class_="label middle",
    )


def _mark_numbers(marks: Sequence[float], low: float) -> str:
    """Return the numbers of the marked frames with their base line at `low` [px]."""
    last = -np.inf
    parts = []
    for k, x in enumerate(marks, 1):
        if x - last >= _NUMBERS_APART_PX:
            parts.append(text(str(k), (x, low), class_="number"))
            last = x
    return group(*parts)
