"""Exact curves by the knots of the plans, in place of a sample a frame."""

from fractions import Fraction

import numpy as np

from ...solver.arrays import FloatArray

_SNAP = 1e-9  # frames; arithmetic on seconds leaves less than this


def knots_in_frames(
    knots: FloatArray, rate: Fraction, *, scale: float = 1.0, offset: float = 0.0
) -> FloatArray:
    """Return knots in time codes of the rate, values scaled and moved.

    A cubic between two knots is a Bezier segment whose tangents are a third of it
    wide, so that time runs evenly along it and nothing is approximated.

    Args:
        knots: (k, 3): time [s], value, speed a second.
        rate: time codes a second.
        scale: factor on values.
        offset: added to values after the factor.

    Returns:
        (k, 3): time [frames], value, slope a frame.
    """
    frames = knots[:, 0] * rate.numerator / rate.denominator
    whole = np.rint(frames)
    frames = np.where(np.abs(frames - whole) < _SNAP, whole, frames)
    slopes = knots[:, 2] * scale * rate.denominator / rate.numerator
    return np.column_stack([frames, knots[:, 1] * scale + offset, slopes])
