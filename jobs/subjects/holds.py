"""Held keys: which samples are new measurements."""

import numpy as np

from ...solver.arrays import BoolArray, FloatArray

HELD_M = 1e-6
STANDING_S = 0.13  # keys on threes at 24; longer on one spot is standing still


def new_samples(
    times_s: FloatArray, positions: FloatArray, visible: BoolArray
) -> BoolArray:
    """Return which samples are new: seen, and no repeat of a held key.

    Animation on twos or threes repeats each position; the repeats are not
    measurements. Once a run of one position has lasted longer than `STANDING_S` it is
    a subject that stands still, and its later samples are new. Whether a sample is
    new depends on it and on earlier ones, never on what follows.

    Args:
        times_s: ascending, (n,) [s].
        positions: everything that moves, (n, k) [m].
        visible: (n,).

    Returns:
        (n,), false wherever `visible` is.
    """
    still = np.all(np.abs(np.diff(positions, axis=0)) <= HELD_M, axis=1)
    if not still.any():
        return visible.copy()
    repeat = np.concatenate([[False], still & visible[1:] & visible[:-1]])
    run = np.cumsum(~repeat) - 1
    starts = np.flatnonzero(~repeat)
    standing = times_s - times_s[starts[run]] > STANDING_S + 1e-9
    new: BoolArray = visible & (~repeat | standing)
    return new
