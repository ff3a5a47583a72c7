"""Which samples of a long curve show at the size at which it is drawn."""

import numpy as np

from ...solver.arrays import FloatArray, IntArray

MOST_POINTS = 2400  # of one curve or trace; shorter ones are drawn whole
COLUMN_PX = 0.5


def shown_of_curve(across: FloatArray, heights: FloatArray) -> IntArray:
    """Return the samples that show of a curve: lowest and highest of each column.

    Args:
        across: ascending places, (n,) [px].
        heights: (n,) [px]; not finite where the curve is broken, which is kept.
    """
    if len(across) <= MOST_POINTS:
        return np.arange(len(across))
    column = np.floor(across / COLUMN_PX).astype(np.int64)
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    known = np.isfinite(heights)
    order = np.lexsort((heights, ~known, column))
    ends = np.append(starts[1:], len(across)) - 1
    # In each column the known heights come first, ascending, then the breaks.
    n_known = np.add.reduceat(known.astype(np.int64), starts)
    highest = order[np.maximum(starts + n_known - 1, starts)]
    breaks = np.flatnonzero(np.diff(known.astype(np.int8)))
    kept: IntArray = np.unique(
        np.concatenate([order[starts], highest, starts, ends, breaks, breaks + 1])
    )
    return kept


def shown_of_trace(n_points: int) -> IntArray:
    """Return the samples that are drawn of a line in the plane, its end too."""
    every = -(-n_points // MOST_POINTS)
    kept: IntArray = np.append(np.arange(0, n_points - 1, every), n_points - 1)
    return kept
