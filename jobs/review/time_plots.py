"""Curves over time against their limits, with the crew's decisions below."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import compress
from operator import ne, or_

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
    rows_of_numbers,
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
class PlotLine:
    """One line of a plot: its values, (n,), NaN where there are none; its class."""

    values: FloatArray
    kind: str


@dataclass(frozen=True, kw_only=True)
class Plot:
    """What one plot shows over the time of a take.

    Attributes:
        name: its id.
        curves: the lines; the first is the one that the limit is for.
        limit: of the curve's size either way; None: it has none.
        unit: of the limit, for people.
        decided: rows on which a decision falls, (n,); None: none are shown.
        corridor: lower and upper edge, (n,) each; None: there is none.
        lowest, highest: which the axis shows in any case.
        ceiling: the axis ends here on either side, whatever the curves do.
        flagged: rows that are marked at the foot of the plot, (n,).
    """

    name: str
    curves: Sequence[PlotLine]
    limit: float | None = None
    unit: str = ""
    decided: BoolArray | None = None
    corridor: tuple[FloatArray, FloatArray] | None = None
    lowest: float = 0.0
    highest: float = 0.0
    ceiling: float = np.inf
    flagged: BoolArray | None = None

    @property
    def lines(self) -> list[FloatArray]:
        """All that is drawn of it as lines, in this order."""
        return [*(self.corridor or ()), *(curve.values for curve in self.curves)]

    @cached_property
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
        uprights: steps of lines at the marked frames.
        lag_s: of the pan behind the subject; None where it cannot be told.
        numbers: of the marked frames, above the box.
        seconds: numbers of time, below the box and the decisions.
    """

    box: Box
    scale: Scale
    rate_hz: float
    times_s: FloatArray
    across: list[str]
    uprights: str
    lag_s: float | None
    numbers: str
    seconds: str

    def ways(self, heights: FloatArray) -> list[str]:
        """Return the steps through each of some heights (k, n) [px].

        A flat run is one step.
        """
        if heights.shape[1] > MOST_POINTS:
            return [self._thinned(row) for row in heights]
        return [self._way(row) for row in rows_of_numbers(heights)]

    def _thinned(self, heights: FloatArray) -> str:
        places = self.scale.all(self.times_s)
        kept = shown_of_curve(places, heights)
        return steps_through(numbers(places[kept]), numbers(heights[kept]))

    def _way(self, y: list[str]) -> str:
        x = self.across
        if len(set(y)) > _FLAT * len(y) or len(y) < 3:
            return steps_through(x, y)
        changed = list(map(ne, y, y[1:]))
        turns = [True, *map(or_, changed, changed[1:]), True]
        return steps_through(list(compress(x, turns)), list(compress(y, turns)))


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
        uprights=_uprights(marks, box),
        lag_s=shown.lag_s,
        numbers=_mark_numbers(marks, box.top - 4),
        seconds=_seconds(scale, box.bottom + 30),
    )


def time_plots(clock: Clock, plots: Sequence[Plot]) -> list[str]:
    """Return plots; the numbers of each stand left of it, its decisions below it.

    They are computed together, for most takes are short: what costs is the number
    of steps, not of frames.
    """
    if len(clock.times_s) > MOST_POINTS and len(plots) > 1:
        # Of a long take one by one, since the arrays over all of it are large.
        return [drawn for plot in plots for drawn in time_plots(clock, [plot])]
    lines = [plot.lines for plot in plots]
    values = np.array([line for some in lines for line in some])
    owner = np.repeat(np.arange(len(plots)), [len(some) for some in lines])
    finite = np.isfinite(values)
    lows = np.where(finite, values, np.inf).min(axis=1)
    highs = np.where(finite, values, -np.inf).max(axis=1)
    scales = [
        _scale(clock.box, plot, lows[owner == k].tolist(), highs[owner == k].tolist())
        for k, plot in enumerate(plots)
    ]
    ways = iter(clock.ways(_heights(values, [scales[k] for k in owner.tolist()])))
    return [
        _plot(clock, plot, scale, ways)
        for plot, scale in zip(plots, scales, strict=True)
    ]


def time_plot(clock: Clock, plot: Plot) -> str:
    """Return one plot as `time_plots` draws it."""
    return time_plots(clock, [plot])[0]


def _plot(clock: Clock, plot: Plot, scale: Scale, ways: Iterator[str]) -> str:
    """Return a plot, whose lines go the next of some ways."""
    box = clock.box
    ticks = scale.ticks(max(2, int(box.height / _TICK_PX)))
    places = [scale(value) for value in ticks]
    return group(
        stroke(clock.uprights + _levels(box, places), class_="faint"),
        _numbers(box, ticks, places),
        line((box.left, scale(0)), (box.right, scale(0)), class_="axis")
        if scale.low <= 0 <= scale.high
        else "",
        *(stroke(next(ways), class_="corridor") for _ in plot.corridor or ()),
        *(stroke(next(ways), class_=curve.kind) for curve in plot.curves),
        *(
            _limits(box, plot.limit, plot.unit, scale)
            if plot.limit is not None and plot.shows_limit
            else ()
        ),
        *_decisions(clock, plot),
        *_flags(clock, plot),
        id=plot.name,
        class_="timed",
        data_box=f"{box.left:g} {box.right:g} {box.top:g} {box.bottom:g}",
    )


def _scale(box: Box, plot: Plot, lows: list[float], highs: list[float]) -> Scale:
    """Return the scale of a plot whose lines reach from `lows` to `highs`."""
    low = min(plot.lowest, plot.highest, *lows)
    high = max(plot.lowest, plot.highest, *highs)
    if plot.limit is not None and plot.shows_limit:
        high = max(high, plot.limit)
        low = min(low, -plot.limit if low < 0 else low)
    low, high = max(low, -plot.ceiling), min(high, plot.ceiling)
    spare = 0.06 * (high - low) or 1.0
    low, high = (low - spare if low < 0 else low), high + spare
    return Scale(low=low, high=high, start=box.bottom, end=box.top)


def _heights(values: FloatArray, scales: Sequence[Scale]) -> FloatArray:
    """Return the places of lines (k, n) by a scale for each, NaN where not finite."""
    low, high, start, end = (
        np.array([getattr(scale, name) for scale in scales])[:, None]
        for name in ("low", "high", "start", "end")
    )
    # A curve that leaves the axis runs along its edge, so that it is seen to leave.
    share = (np.minimum(np.maximum(values, low), high) - low) / (high - low)
    heights: FloatArray = start + share * (end - start)
    return heights


def _uprights(marks: Sequence[float], box: Box) -> str:
    """Return the steps of lines at the marked moments."""
    top, bottom = number(box.top), number(box.bottom)
    return "".join([f"M{number(x)} {top}V{bottom}" for x in marks])


def _levels(box: Box, places: Sequence[float]) -> str:
    """Return the steps of lines at the numbers of the axis."""
    left, right = number(box.left), number(box.right)
    return "".join([f"M{left} {number(y)}H{right}" for y in places])


def _numbers(box: Box, ticks: Sequence[float], places: Sequence[float]) -> str:
    return group(
        *(
            text(f"{value:g}".replace("-", _MINUS), (box.left - 7, place + 4))
            for value, place in zip(ticks, places, strict=True)
        ),
        class_="label end",
    )


def _limits(box: Box, limit: float, unit: str, scale: Scale) -> Iterator[str]:
    for value in (limit, -limit):
        if scale.low <= value <= scale.high:
            y = scale(value)
            yield line((box.left, y), (box.right, y), class_="limit")
    words = f"limit {limit:g} {unit}".rstrip()
    yield text(words, (box.right, scale(limit) + 12), class_="label end")


def _decisions(clock: Clock, plot: Plot) -> Iterator[str]:
    """Yield a tick below the plot for each decision."""
    rows = [] if plot.decided is None else np.flatnonzero(plot.decided).tolist()
    if rows:
        start = f"{number(clock.box.bottom + 4)}v{number(_TICK_ROW_PX - 4)}"
        across = clock.across
        places = (
            [across[row] for row in rows]
            if across
            else numbers(clock.scale.all(clock.times_s[rows]))
        )
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
        text(f"pan answers after {clock.lag_s:.2f} s", (left, top - 8)),
        class_="label",
    )


def _seconds(scale: Scale, low: float) -> str:
    """Return numbers of time with their base line at `low` [px]."""
    return group(
        *(text(f"{t:g}", (scale(t), low)) for t in scale.ticks(6)),
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
