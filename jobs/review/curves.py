"""The curves of a take: subject against camera, speeds and accelerations, focus."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.crew.planner import WHIP
from .drawing import WIDTH, Drawing
from .shown import Shown
from .svg import Box, group, text
from .time_plots import Plot, PlotLine, clock_of, lag_mark, time_plots

_BOX = Box(left=42, top=16, width=WIDTH - 42 - 8, height=112)
_HEIGHT = _BOX.bottom + 46
_UNDER = text(
    "s from the first frame",
    ((_BOX.left + _BOX.right) / 2, _BOX.bottom + 43),
    class_="label middle",
)
_LAG_PX = 28.0
_ROUNDING = 0.01  # percent of a limit that a curve may seem to be over it
_FIRST = "pan_plot"
_SUBJECT = ("subject", "subject")
_DECISION = ("decision", "decision")
_EDGES = ("corridor", "tolerance")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Figure:
    """One plot with its words, as `Drawing` has them, before it is drawn."""

    title: str
    plot: Plot
    words: str
    key: tuple[tuple[str, str], ...]
    note: str


def curves(shown: Shown) -> Iterator[Drawing]:
    """Yield the plots of a take in reading order."""
    clock = clock_of(shown, _BOX)
    figures = list(_figures(shown))
    plots = time_plots(clock, [figure.plot for figure in figures])
    for figure, plot in zip(figures, plots, strict=True):
        body, height = clock.numbers + plot + clock.seconds + _UNDER, _HEIGHT
        if figure.plot.name == _FIRST:
            # Above the first there is room for the bar of the lag.
            moved = group(body, transform=f"translate(0 {_LAG_PX:g})")
            body, height = lag_mark(clock, top=_BOX.top + 6) + moved, _HEIGHT + _LAG_PX
        yield Drawing(
            title=figure.title,
            body=body,
            height=height,
            words=figure.words,
            key=figure.key,
            note=figure.note,
        )


def _figures(shown: Shown) -> Iterator[_Figure]:
    operator = shown.metadata.crew.operator
    yield _turning(shown, operator)
    for c, way, axis in ((0, "across", "pan"), (1, "up", "tilt")):
        yield _place(shown, c, way, axis, float(operator["tolerance"]))
    max_speed, max_accel = operator["max_speed"], operator["max_accel"]
    yield _rate(shown, "pan_accel", "Pan acceleration, deg/s\u00b2", max_accel)
    yield _rate(shown, "tilt_speed", "Tilt speed, deg/s", max_speed)
    yield _rate(shown, "tilt_accel", "Tilt acceleration, deg/s\u00b2", max_accel)
    if len(shown.rail) > 1:
        grip = shown.metadata.crew.grip
        max_accel = grip["max_accel"]
        yield _rate(shown, "rail_speed", "Dolly speed, m/s", grip["max_speed"])
        yield _rate(shown, "rail_accel", "Dolly acceleration, m/s\u00b2", max_accel)
    yield _focus(shown)


def _turning(shown: Shown, operator: Mapping[str, float]) -> _Figure:
    pan = PlotLine(values=shown.column("pan_speed"), kind="pan")
    plot = Plot(
        name=_FIRST,
        curves=(pan, PlotLine(values=shown.bearing_speed, kind="bearing")),
        limit=operator["max_speed"],
        unit="deg/s",
        decided=shown.flags("decided_pan"),
        ceiling=max(1.6 * float(np.abs(pan.values).max()), 20.0),
    )
    late = (
        "no change of motion to tell a lag by"
        if shown.lag_s is None
        else f"the pan answers {shown.lag_s:.2f} s after a change"
    )
    return _Figure(
        title="Subject against camera, deg/s",
        plot=plot,
        words=f"Speed of the subject's bearing and of the pan; {late}. "
        f"{_used(plot)}. {_count(shown, 'pan')}.",
        key=(("bearing", "subject\u2019s bearing"), ("pan", "pan"), _DECISION),
        note=_used(plot),
    )


def _place(shown: Shown, c: int, way: str, axis: str, tolerance: float) -> _Figure:
    asked = shown.asked[:, c]
    place = np.where(shown.anew, np.nan, shown.place[:, c])
    plot = Plot(
        name=f"place_{way}",
        curves=(PlotLine(values=place, kind="subject"),),
        corridor=(asked - tolerance, asked + tolerance),
        decided=shown.flags(f"decided_{axis}"),
        lowest=-0.5,
        highest=0.5,
        ceiling=1.5,
    )
    kept = np.abs(shown.place[:, c] - asked) <= tolerance
    share = 100 * float(kept.mean())
    return _Figure(
        title=f"Place {way} the frame, half frames",
        plot=plot,
        words=f"Within the tolerance of {tolerance:g} in {share:.0f} % of the frames. "
        f"{_count(shown, axis)}.",
        key=(_SUBJECT, _EDGES, (_DECISION[0], f"{axis} decision")),
        note=f"In the corridor of \u00b1{tolerance:g} for {share:.0f} % of the frames",
    )


def _rate(shown: Shown, column: str, title: str, limit: float) -> _Figure:
    unit = title.rpartition(", ")[2]
    decided = {"rail": "decided_dolly", "tilt": "decided_tilt", "pan_": "decided_pan"}
    plot = Plot(
        name=f"{column}_plot",
        curves=(PlotLine(values=shown.column(column), kind="pan"),),
        limit=limit,
        unit=unit,
        decided=shown.flags(decided[column[:4]]),
        highest=0.02 * limit,
        lowest=-0.02 * limit,
    )
    return _Figure(
        title=title,
        plot=plot,
        words=f"{_used(plot)}.",
        key=(("pan", "camera"), _DECISION)
        + ((("limit", "limit"),) if plot.shows_limit else ()),
        note=_used(plot),
    )


def _focus(shown: Shown) -> _Figure:
    subject_m = _subject_depth(shown)
    focus_m = shown.column("focus_m")
    near_m, far_m = shown.column("dof_near_m"), shown.column("dof_far_m")
    reach = np.concatenate([subject_m[np.isfinite(subject_m)], focus_m])
    soft = shown.flags("soft")
    plot = Plot(
        name="focus_plot",
        curves=(
            PlotLine(values=focus_m, kind="pan"),
            PlotLine(values=subject_m, kind="subject"),
        ),
        corridor=(near_m, np.where(np.isinf(far_m), 1e9, far_m)),
        ceiling=1.5 * float(reach.max()),
        flagged=soft,
    )
    share = 100 * float(soft.mean())
    stop = shown.columns["stop"][0]
    return _Figure(
        title="Focus and depth of field, m",
        plot=plot,
        words=f"Focus {focus_m.min():.1f} to {focus_m.max():.1f} m at f/{stop:g}; the "
        f"subject's eyes are soft in {share:.0f} % of the frames.",
        key=(
            ("pan", "focus"),
            ("subject", "subject\u2019s eyes"),
            ("corridor", "sharp from, to"),
            ("flagged", "soft"),
        ),
        note=f"Eyes soft in {share:.0f} % of the frames, f/{stop:g}",
    )


def _subject_depth(shown: Shown) -> FloatArray:
    """Return the followed subject's eyes along the lens axis, (n,) [m]."""
    x, y, z = (shown.eyes - shown.camera).T
    pan, tilt = shown.pan_rad, shown.tilt_rad
    level = np.cos(tilt) * (np.cos(pan) * y - np.sin(pan) * x)
    depth: FloatArray = level + np.sin(tilt) * z
    return np.where(shown.anew | np.isnan(shown.place[:, 0]), np.nan, depth)


def _used(plot: Plot) -> str:
    assert plot.limit is not None
    share = 100 * plot.most / plot.limit
    if share > 100 + _ROUNDING:
        return (
            f"At most {plot.most:.3g} {plot.unit}, in a whip: it may go {WHIP:g} times "
            f"over the operator\u2019s own {plot.limit:g}"
        )
    return (
        f"At most {plot.most:.3g} of {plot.limit:g} {plot.unit} allowed ({share:.0f} %)"
    )


def _count(shown: Shown, axis: str) -> str:
    n_decisions = int(shown.flags(f"decided_{axis}").sum())
    return f"{n_decisions} {axis} decision{'' if n_decisions == 1 else 's'}"
