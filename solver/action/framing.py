"""What is asked of the frame, and which subject it is asked of at a time."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import radians

import numpy as np

from ..arrays import FloatArray, IntArray
from .subject import Subject

LEVEL_DEG = 8.0  # camera within this of the eye line counts as level
ANGLED_DEG = 3.0  # and beyond this counts as above or below
ASKED_DEG = 5.0  # an angle in degrees is honoured within this


@dataclass(frozen=True, kw_only=True, slots=True)
class Framing:
    """What is asked of the frame from `start_s` on.

    Attributes:
        start_s: when it begins [s]; -inf for the shot's own.
        top, bottom: named span of the body, fractions of stature.
        aim: aim point, as a fraction of the way floor to eyes.
        u, v: where the aim point goes, half frames right and up of the lens axis.
        lead_room, look_room: half frame widths left ahead of travel or gaze.
        distance_m: at which the span has its size.
        weights: of each subject, (n_subjects,), >= 0, some > 0.
        whip: whether the hand-over is a whip.
        crown_v: highest that the crown of a head goes, half frames above the lens axis:
            where the figure is larger than asked, headroom wins and the feet go; NaN
            where the size cuts the crown.
        angle: camera against the eye line: below, level, above, or degrees above it.
    """

    start_s: float
    top: float
    bottom: float
    aim: float
    u: float
    v: float
    lead_room: float
    look_room: float
    distance_m: float
    weights: tuple[float, ...]
    whip: bool = False
    crown_v: float = float("nan")
    angle: str | float = "level"


def framing_at(framings: Sequence[Framing], times_s: FloatArray) -> IntArray:
    """Return the index of the framing in force at each time, (n,)."""
    if len(framings) == 1:
        return np.zeros(len(times_s), dtype=np.int64)
    starts = np.array([f.start_s for f in framings])
    return np.searchsorted(starts, times_s + 1e-9, "right") - 1


def primary_of(framings: Sequence[Framing]) -> IntArray:
    """Return the primary subject's index for each framing."""
    return np.array([f.weights.index(max(f.weights)) for f in framings])


def primary_points(
    subjects: Sequence[Subject],
    framings: Sequence[Framing],
    times_s: FloatArray,
    fractions: FloatArray,
) -> FloatArray:
    """Return the primary's body point per sample, as acted, (n, 3) [m].

    `fractions` (n_framings,) is the point for each framing, floor to eyes.
    """
    framing = framing_at(framings, times_s)
    out = np.empty((len(times_s), 3))
    for k, subject in enumerate(primary_of(framings)):
        now = framing == k
        if now.any():
            out[now] = subjects[subject].at(times_s[now], float(fractions[k]))
    return out


def angle_range(asked: str | float) -> tuple[float, float]:
    """Return the angles of the lens over the eye line that honour an angle [rad]."""
    if isinstance(asked, str):
        low, high = {
            "below": (-90.0, -ANGLED_DEG),
            "level": (-LEVEL_DEG, LEVEL_DEG),
            "above": (ANGLED_DEG, 90.0),
        }[asked]
    else:
        low, high = asked - ASKED_DEG, asked + ASKED_DEG
    return radians(low), radians(high)
