"""Held keys: which samples tell an operator something new."""

import numpy as np

from ...solver.arrays import BoolArray, FloatArray

HELD_M = 1e-6
STANDING_S = 0.2  # longer on one spot is standing still, which is seen anew


def new_samples(
    times_s: FloatArray, positions: FloatArray, visible: BoolArray
) -> BoolArray:
    """Return which samples are new: seen, and no repeat of a held key.

    Animation on twos or threes repeats each position; the repeats are no
    measurements. A run of one position that lasts longer than `STANDING_S` is a
    subject that stands still, and each of its samples is new.

    Args:
        times_s: ascending, (n,) [s].
        positions: everything that moves, (n, k) [m].
        visible: (n,).

    Returns:
        (n,), false wherever `visible` is.
    """
    still = np.all(np.abs(np.diff(positions, axis=0)) <= HELD_M, axis=1)
    repeat = np.concatenate([[False], still & visible[1:] & visible[:-1]])
    run = np.cumsum(~repeat) - 1
    starts = np.flatnonzero(~repeat)
    ends = np.concatenate([starts[1:], [len(repeat)]]) - 1
    lasting = times_s[ends] - times_s[starts] > STANDING_S + 1e-9
    new: BoolArray = visible & (~repeat | lasting[run])
    return new
