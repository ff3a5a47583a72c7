"""What a cut is judged by, one quantity each, on scalars and arrays alike.

The same functions serve the findings of a cut and the cost of every pair of setups.
"""

from math import hypot, log, radians

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from .at_cut import WALKING_M_S
from .end import CutEnd

LEAST_TURN_RAD = radians(30)
SIZE_STEP = 1.5  # ratio of neighbouring named sizes, about (our choice)
SAME_SIZE_STEPS = 0.5
TWO_STEPS = 1.5
MOST_SIZE_STEPS = 4.0  # more in one cut is a jolt (common practice, no source)
SAME_HEIGHT_M = 0.15
SAME_ELEVATION_RAD = radians(5)


def turn_rad(one: ArrayLike, two: ArrayLike) -> FloatArray:
    """Return the angles between unit vectors, (..., 3) each, 0 to pi.

    Source: Kahan, 2 atan2(|a - b|, |a + b|), exact at both ends (from memory).
    """
    a, b = np.asarray(one), np.asarray(two)
    apart = np.sqrt(((a - b) ** 2).sum(axis=-1))
    along = np.sqrt(((a + b) ** 2).sum(axis=-1))
    angle: FloatArray = 2.0 * np.arctan2(apart, along)
    return angle


def size_steps(one: ArrayLike, two: ArrayLike) -> FloatArray:
    """Return by how many named sizes two scales differ, >= 0; NaN where unknown."""
    steps: FloatArray = np.abs(np.log(np.asarray(one) / np.asarray(two))) / log(
        SIZE_STEP
    )
    return steps


def eye_travel(
    u: ArrayLike, v: ArrayLike, to_u: ArrayLike, to_v: ArrayLike, aspect: float
) -> FloatArray:
    """Return how far the eye travels between screen points [half frame widths].

    A subject out of frame is looked for at its edge. NaN where a place is unknown.

    Args:
        u: first place, half frames right.
        v: first place, half frames up.
        to_u: second place, half frames right.
        to_v: second place, half frames up.
        aspect: width over height of the frame.
    """
    across = _in_frame(to_u) - _in_frame(u)
    up = (_in_frame(to_v) - _in_frame(v)) / aspect
    travel: FloatArray = np.hypot(across, up)
    return travel


def _in_frame(place: ArrayLike) -> FloatArray:
    """Return the nearest place of the frame, half frames."""
    nearest: FloatArray = np.minimum(np.maximum(place, -1.0), 1.0)
    return nearest


def are_reverses(one: CutEnd, two: CutEnd) -> bool:
    """Tell whether two ends show the two of one pair, one each.

    The two are framed together, or both stand.
    """
    pair = {one.subject, two.subject}
    if len(pair) == 1 or not all(pair <= set(_speeds(end)) for end in (one, two)):
        return False
    framed = all(pair <= set(end.framed) for end in (one, two))
    return framed or all(
        _speeds(end)[name] < WALKING_M_S for end in (one, two) for name in pair
    )


def _speeds(end: CutEnd) -> dict[str, float]:
    """Return the speed of everybody in the action [m/s]."""
    speeds = {name: speed for name, _, _, _, speed, _ in end.others}
    return speeds | {end.subject: hypot(*end.velocity)}


def same_height(one: CutEnd, two: CutEnd) -> bool:
    """Tell whether two lenses stand equally high, or equally high over the eyes."""
    level = abs(one.lens[1] - two.lens[1]) <= SAME_HEIGHT_M
    return level or abs(one.elevation_rad - two.elevation_rad) <= SAME_ELEVATION_RAD
