"""Speeds over time: bearing and pan above, dolly below, with their decisions."""

from collections.abc import Sequence

import numpy as np

from ....solver.arrays import BoolArray, FloatArray
from .shown import Shown
from .svg import Box, Scale, group, line, path, text

_TICK_ROW_PX = 16.0  # below an axis, for the decisions
_TICK_PX = 20.0  # least height between numbers


def pan_plot(shown: Shown, box: Box) -> str:
    """Return the plot of the subject's bearing and the camera's pan [deg/s]."""
    bearing = np.where(shown.anew, np.nan, shown.bearing_speed)
    curves = [(bearing, "bearing"), (shown.pan_speed, "pan")]
    return _plot(shown, box, curves, shown.pan_decided, "pan_plot")


def dolly_plot(shown: Shown, box: Box) -> str:
    """Return the plot of the dolly's speed along its rail [m/s]."""
    curves = [(shown.dolly_speed, "pan")]
    return _plot(shown, box, curves, shown.dolly_decided, "dolly_plot")


def _plot(
    shown: Shown,
    box: Box,
    curves: Sequence[tuple[FloatArray, str]],
    decided: BoolArray,
    name: str,
) -> str:
    times = Scale(low=0, high=shown.times_s[-1], start=box.left, end=box.right)
    low = min(0.0, *(float(np.nanmin(values)) for values, _ in curves))
    high = max(0.0, *(float(np.nanmax(values)) for values, _ in curves))
    spare = 0.06 * (high - low) or 1.0
    low, high = (low - spare if low < 0 else 0.0), high + spare
    speeds = Scale(low=low, high=high, start=box.bottom, end=box.top)
    marks = [times(shown.times_s[row]) for row in shown.marks]
    return group(
        *(line((x, box.top), (x, box.bottom), class_="faint") for x in marks),
        *(
            group(
                line((box.left, y), (box.right, y), class_="faint"),
                text(f"{value + 0.0:g}".replace("-", "\u2212"), (box.left - 7, y + 4)),
                class_="label end",
            )
            for value, y in (
                (value, speeds(value))
                for value in speeds.ticks(max(2, int(box.height / _TICK_PX)))
            )
        ),
        line((box.left, speeds(0)), (box.right, speeds(0)), class_="axis"),
        *(
            path(
                [
                    (times(t), speeds(value))
                    for t, value in zip(shown.times_s, values, strict=True)
                ],
                class_=kind,
            )
            for values, kind in curves
        ),
        *(
            line((x, box.bottom + 4), (x, box.bottom + _TICK_ROW_PX), class_="decision")
            for x in (times(t) for t in shown.times_s[decided])
        ),
        id=name,
    )


def time_axis(shown: Shown, box: Box, *, top: float) -> str:
    """Return ticks and numbers of time from `top` [px] on."""
    times = Scale(low=0, high=shown.times_s[-1], start=box.left, end=box.right)
    return group(
        *(
            text(f"{value:g}", (times(value), top + 12), class_="label middle")
            for value in times.ticks(6)
        ),
    )


def mark_numbers(shown: Shown, box: Box, *, low: float) -> str:
    """Return the numbers of the marked frames with their base line at `low` [px]."""
    times = Scale(low=0, high=shown.times_s[-1], start=box.left, end=box.right)
    return group(
        *(
            text(str(k), (times(shown.times_s[row]), low), class_="number")
            for k, row in enumerate(shown.marks, 1)
        )
    )
