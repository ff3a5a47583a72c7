"""Arrays in one array: what a kernel that is called at every tick takes and gives.

Taking a named tuple of thirty arrays out of Python's objects costs several times what
a tick does; one array costs next to nothing. A packed array begins with its directory,
three numbers a block (where it starts, rows, columns), and the blocks follow.
"""

from collections.abc import Sequence

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel


def packed(blocks: Sequence[FloatArray]) -> FloatArray:
    """Return blocks of at most two dimensions in one array, (n,)."""
    tables = [np.atleast_2d(np.asarray(one, dtype=np.float64)) for one in blocks]
    head, start = [], 3 * len(tables)
    for table in tables:
        head += [start, *table.shape]
        start += table.size
    return np.concatenate([np.array(head, dtype=np.float64), *map(np.ravel, tables)])


@kernel
def block(flat, i):
    """Return block i of a packed array as the table (rows, columns) that it is."""
    start, rows, columns = int(flat[3 * i]), int(flat[3 * i + 1]), int(flat[3 * i + 2])
    return flat[start : start + rows * columns].reshape(rows, columns)


@kernel
def line(flat, i):
    """Return the numbers of block i of a packed array, (n,)."""
    start = int(flat[3 * i])
    return flat[start : start + int(flat[3 * i + 1]) * int(flat[3 * i + 2])]
