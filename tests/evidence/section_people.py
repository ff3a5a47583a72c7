"""Eight people, the crew and plain ways on one function, on the page."""

import re
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from .compared import ON_FUNCTION, on_function
from .gather import Evidence, Record
from .people import FUNCTION, OPERATOR, PEOPLE, PERIODS, RUNS, SESSION, sessions
from .tables import Cell, table

_CREW = ("steady", "brisk", "sharp", "heavy_head")


def people(evidence: Evidence, tables: dict[str, list[Record]]) -> str:
    """Return the section that sets crew and people side by side."""
    brisk = sessions(evidence.people["brisk"])
    low, high = brisk.min(axis=0), brisk.max(axis=0)
    return f"""<h2>1a. Eight people on the same function</h2>
<p>Eight people tracked a disturbance with a rate control (K/s), ten trials of 40 s
each: recordings of the public repository EmDash00/CPHS2017
(<code>experiment/data</code>, no licence stated), <b>measured by us</b>, not copied.
The crew, at the variability that a job has by default, and three plain ways follow the
same function: {len(FUNCTION.bins)} lines at prime multiples of
{1 / FUNCTION.period_s:g} Hz, scaled to the r.m.s. of set A, {PERIODS} periods a run,
{RUNS} runs as the people in all, {RUNS // 2} sets of phases twice, each run another
take. One identification for all: the crossing of the open loop and a least-squares fit
through the octave round it. In brackets the 95 % interval by bootstrap over sets of
phases. The residual is the r.m.s. distance of the open loop from the fitted model, as a
share of it: where it is large, a crossover and a delay say little. The same table is
printed by <code>python -m evidence.compared</code>.</p>
{table(ON_FUNCTION[:-1], [_under(row) for row in on_function(evidence.people)])}
<p><b>Reading it.</b> Within the eight people's range on crossover, delay and spread:
{_names(tables, _within)}. Outside on one or more: {_names(tables, _outside)};
<i>sharp</i> is meant to be quicker than most. Of <i>brisk</i>, the default, the
intervals of crossover and delay lie within the range {_words(tables)}, in its slower
half. Eight sessions of {SESSION} takes, as each of the people had, have mean crossovers
of {low[0]:.2f} to {high[0]:.2f} rad/s, mean delays of {low[1]:.3f} to {high[1]:.3f} s
and spreads of {low[2]:.2f} to {high[2]:.2f} rad/s: chance alone carries
{_sessions_out(brisk)} of 8 out of the people's range on one of the three.</p>
<p><b>What the crew has over a delayed integrator.</b> It is given <i>brisk</i>'s own
mean crossover and delay. It leaves no residual and repeats itself exactly;
it misses {_of(tables, "delayed integrator", "miss_mean"):.2f} of the target, the crew
{_of(tables, "brisk", "miss_mean"):.2f}. The crew's response is most like the target
{_of(tables, "brisk", "lag_s_mean"):.2f} s later, the integrator's
{_of(tables, "delayed integrator", "lag_s_mean"):.2f} s: the crew looks ahead along a
believed speed. It pays with a busier pan
({_of(tables, "brisk", "restless_mean"):.2f} of its speed above 1 Hz against
{_of(tables, "delayed integrator", "restless_mean"):.2f}). What else it has are limits,
rests and a spread. The low-pass is given <i>brisk</i>'s own lag, and misses
{_of(tables, "low-pass, same lag", "miss_mean"):.2f}: on this function a camera that
need not look operated is better off with it.</p>
<p><b>Whose spread it is.</b> With variability 0 the crossover differs by
{_of(tables, "brisk, variability 0", "spread"):.2f} rad/s from one set of phases to
another, because the small lines of this function lie under the tolerance, and by
{_of(tables, "brisk, variability 0", "repeat"):.2f} at the same phases; with variability
1 <i>brisk</i> differs by {_of(tables, "brisk", "repeat"):.2f} rad/s at the same phases,
and by {_of(tables, "brisk", "spread"):.2f} over all runs: so variability makes takes of
one motion differ, and hardly widens the spread over motions. The
people's spread is over both.</p>
<p><b>What of people is left out.</b> The crew's spread comes from gain, tolerance, rest
and late perception, drawn for each take, and from a slow error of timing. The quick
error of perception, most of people's remnant, is left out: on even motion it would show
as ripple of the pan, which is kept under 5 %. Nor does the crew learn or tire.</p>
<h3>Restlessness</h3>
<p>A broadcast operator's pan at basketball (3,600 frames of
<code>mat_data/basketball_ground_truth.mat</code> of lulufa390/Pan-tilt-zoom-SLAM, no
licence stated, rate not stated, measured by us): share of pan speed above 1 Hz
{OPERATOR.share[0]:g} at 60 or {OPERATOR.share[1]:g} at 30 frames a second,
{OPERATOR.peaks[0]:g} or {OPERATOR.peaks[1]:g} speed peaks a second, still for
{100 * OPERATOR.still:.0f} % of the time. The crew on football, by the same measure:</p>
{table(["preset", "share above 1 Hz", "peaks a second"], _football(evidence))}
<p>Another sport, one clip: a comparison of orders, not of numbers. The crew is busier
than this operator: {_busier(evidence)} times the share and the peaks of 30 frames a
second.</p>"""


def _under(row: list[str]) -> list[Cell]:
    """Return a row with its source under its name, intervals under their numbers."""
    name, *numbers, source = row
    found: list[Cell] = [f"{name}<br><small>{source}</small>"]
    for number in numbers:
        first, *rest = re.split(r", (?=mean)| (?=\[)", number)
        small = "".join(f"<br><small>{each}</small>" for each in rest)
        found.append(f"<span>{first}</span>{small}")
    return found


def _of(tables: dict[str, list[Record]], tracker: str, name: str) -> float:
    (found,) = (row for row in tables["people"] if row["tracker"] == tracker)
    return float(found[name] or 0.0)


def _football(evidence: Evidence) -> list[list[Cell]]:
    return [[name, share, peaks] for name, (share, peaks) in evidence.restless.items()]


def _within(row: Record) -> bool:
    held = (
        ("crossover_mean", PEOPLE.crossover[:2]),
        ("delay_s_mean", PEOPLE.delay_s[:2]),
        ("spread", PEOPLE.spread),
    )
    return all(low <= float(row[name] or 0) <= high for name, (low, high) in held)


def _words(tables: dict[str, list[Record]]) -> str:
    """Say whether the intervals of the default crew lie within the people's range."""
    held = all(
        low <= _of(tables, "brisk", f"{name}_{end}") <= high
        for name, (low, high) in (
            ("crossover", PEOPLE.crossover[:2]),
            ("delay_s", PEOPLE.delay_s[:2]),
        )
        for end in ("low", "high")
    )
    return "as well" if held else "only in part"


def _sessions_out(found: NDArray[np.float64]) -> int:
    """Return how many sessions lie outside of the people's range on something."""
    ranges = np.array((PEOPLE.crossover[:2], PEOPLE.delay_s[:2], PEOPLE.spread)).T
    return int(((found < ranges[0]) | (found > ranges[1])).any(axis=1).sum())


def _busier(evidence: Evidence) -> str:
    """Return the least and the most that presets are busier than the operator."""
    over = np.array(list(evidence.restless.values())) / (
        OPERATOR.share[1],
        OPERATOR.peaks[1],
    )
    return f"{over.min():.1f} to {over.max():.1f}"


def _outside(row: Record) -> bool:
    return not _within(row)


def _names(tables: dict[str, list[Record]], wanted: Callable[[Record], bool]) -> str:
    found = [
        f"<i>{row['tracker']}</i>"
        for row in tables["people"]
        if row["tracker"] in _CREW and wanted(row)
    ]
    return ", ".join(found) or "none"
