"""Eight people, the crew and plain ways on one function, on the page."""

from collections.abc import Callable

from .gather import Evidence, Record
from .people import FUNCTION, PEOPLE, PERIODS, RUNS
from .tables import Cell, cell, table

_CREW = ("steady", "brisk", "sharp", "heavy_head")


def people(evidence: Evidence, tables: dict[str, list[Record]]) -> str:
    """Return the section that sets crew and people side by side."""
    rows: list[list[Cell]] = [
        [
            "eight people (least to most)",
            _range(PEOPLE.crossover),
            _range(PEOPLE.delay_s),
            _range(PEOPLE.spread),
            *[None] * 6,
        ]
    ]
    for row in tables["people"]:

        def one(name: str, places: int = 2, row: Record = row) -> str:
            return _with_interval(row, name, places)

        rows.append(
            [
                str(row["tracker"]),
                one("crossover"),
                one("delay_s", 3),
                _spread(row),
                row["repeat"],
                one("restless", 2),
                one("peaks", 2),
                one("lag_s", 2),
                one("miss", 2),
                one("residual", 2),
            ]
        )
    heads = [
        "tracker", "crossover rad/s", "effective delay s",
        "spread of crossover rad/s", "of it at the same phases",
        "share of speed above 1 Hz",
        "speed peaks a second", "lag s", "miss over target r.m.s.",
        "residual of the fit",
    ]  # fmt: skip
    return f"""<h2>1a. Eight people on the same function</h2>
<p>Eight people tracked a disturbance with a rate control (K/s), ten trials of 40 s
each:
recordings of the public repository EmDash00/CPHS2017 (<code>experiment/data</code>, no
licence stated), <b>measured by us</b>, not copied. The crew and three plain ways follow
the same function, {len(FUNCTION.bins)} lines at prime multiples of 0.05 Hz, scaled to
the r.m.s. of set A, {PERIODS} periods a run, {RUNS} runs, five sets of phases twice,
each
run another take. One identification for all: the crossing of the open loop and a
least-squares fit through the octave round it. In brackets the 95 % interval by
bootstrap
over runs. The residual is the r.m.s. distance of the open loop from the fitted model,
as
a share of it: where it is large, a crossover and a delay say little.</p>
{table(heads, rows)}
<p><b>Reading it.</b> Within the eight people's range on crossover, delay and spread:
{_names(tables, _within)}. Outside on one or more: {_names(tables, _outside)};
<i>sharp</i> is meant to be quicker than most. The delayed integrator has
<i>brisk</i>'s own
mean crossover and delay. On this function it does what two numbers can do: what the
crew has over it are limits, rests and a spread, and that it looks ahead along a
believed
speed; in lag and miss the table shows how little that changes here. The low-pass has
<i>brisk</i>'s own lag.</p>
<p><b>Whose spread it is.</b> With variability 0 the crossover differs by
{
        _of(
            tables, "brisk, variability 0", "spread"
        ):.2f} rad/s from one set of phases to another,
because the small lines of this function lie under the tolerance, and by 0 at the same
phases; with variability 1 <i>brisk</i> differs by {_of(tables, "brisk", "repeat"):.2f}
rad/s at the same phases. The people's spread is over both.</p>
<p><b>What of people is left out.</b> The crew's spread comes from gain, tolerance, rest
and late perception, drawn for each take, and from a slow error of timing. The quick
error of perception, most of people's remnant, is left out: on even motion it would show
as ripple of the pan, which is kept under 5 %. Nor does the crew learn or tire.</p>
<h3>Restlessness</h3>
<p>A broadcast operator's pan at basketball (3,600 frames of
<code>mat_data/basketball_ground_truth.mat</code> of lulufa390/Pan-tilt-zoom-SLAM, no
licence stated, rate not stated, measured by us): share of pan speed above 1 Hz 0.08 at
60
or 0.15 at 30 frames a second, 0.23 or 0.32 speed peaks a second, still for 70 % of the
time. The crew on football, by the same measure:</p>
{
        table(
            ["preset", "share above 1 Hz", "peaks a second"],
            _football(evidence),
            (0, 2, 2),
        )
    }
<p>Another sport, one clip: a comparison of orders, not of numbers. The crew is busier
than
this operator, the quicker presets much more so.</p>"""


def _of(tables: dict[str, list[Record]], tracker: str, name: str) -> float:
    (found,) = (row for row in tables["people"] if row["tracker"] == tracker)
    return float(found[name] or 0.0)


def _football(evidence: Evidence) -> list[list[Cell]]:
    return [[name, share, peaks] for name, (share, peaks) in evidence.restless.items()]


def _range(values: tuple[float, ...]) -> str:
    text = f"{values[0]:g} to {values[1]:g}"
    return text if len(values) < 3 else f"{text}, mean {values[2]:g}"


def _with_interval(row: Record, name: str, places: int) -> str:
    mean, low, high = (
        float(row[f"{name}_{what}"] or 0.0) for what in ("mean", "low", "high")
    )
    if mean != mean:
        return cell(None)
    return f"{mean:.{places}f} [{low:.{places}f}, {high:.{places}f}]"


def _spread(row: Record) -> str:
    values = [
        float(row[name] or 0.0) for name in ("spread", "spread_low", "spread_high")
    ]
    if values[0] != values[0]:
        return cell(None)
    return "{:.2f} [{:.2f}, {:.2f}]".format(*values)


def _within(row: Record) -> bool:
    held = (
        ("crossover_mean", PEOPLE.crossover[:2]),
        ("delay_s_mean", PEOPLE.delay_s[:2]),
        ("spread", PEOPLE.spread),
    )
    return all(low <= float(row[name] or 0) <= high for name, (low, high) in held)


def _outside(row: Record) -> bool:
    return not _within(row)


def _names(tables: dict[str, list[Record]], wanted: Callable[[Record], bool]) -> str:
    found = [
        f"<i>{row['tracker']}</i>"
        for row in tables["people"]
        if row["tracker"] in _CREW and wanted(row)
    ]
    return ", ".join(found) or "none"
