"""Array types of the solver, and the one way an array is made read-only."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

ZERO, ONE, BEFORE = np.intp(0), np.intp(1), np.intp(-1)
"""Indices that kernels pass on: for a literal the callee is compiled once more."""


def frozen(values: ArrayLike, dtype: DTypeLike = np.float64) -> NDArray[Any]:
    """Return a contiguous read-only copy of `values`, or the one that they are.

    Args:
        values: anything numpy turns into an array; later edits of it do not
            reach the copy.
        dtype: element type of the copy.

    Returns:
        An array of the same shape whose `flags.writeable` is false.
    """
    if type(values) is np.ndarray and _is_frozen(values, dtype):
        return values
    copy = np.array(values, dtype=dtype, order="C", copy=True)
    copy.flags.writeable = False
    return copy


def _is_frozen(array: NDArray[Any], dtype: DTypeLike) -> bool:
    """Tell whether an array owns what nobody can write to."""
    flags = array.flags
    own = flags.owndata and flags.c_contiguous and not flags.writeable
    return own and array.dtype == dtype
