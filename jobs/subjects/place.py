"""Feet and eyes of a body of which one point is known."""

import numpy as np

from ...solver.action.body import EYES, LANDMARKS
from ...solver.arrays import FloatArray
from .reference import At


def floor_and_eyes(
    points: FloatArray, head: FloatArray | None, *, at: At, height_m: float
) -> tuple[FloatArray, FloatArray]:
    """Return the floor point and the eyes of a body that stands upright.

    A jump takes the floor point along: it is the body's foot end. Where the head is
    known it replaces the eyes, so a crouch brings them down.

    Args:
        points: the point `at` of the body, (n, 3) [m], Y up.
        head: centre of the head at eye level, (n, 3) [m], or None.
        at: a landmark of the body.
        height_m: stature [m].
    """
    stature = np.array([0.0, height_m, 0.0])
    floor = points - LANDMARKS[at] * stature
    return floor, floor + EYES * stature if head is None else head
