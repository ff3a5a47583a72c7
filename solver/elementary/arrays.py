"""The same functions for arrays, element by element, with the same bits."""

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from .arctangent import atan2
from .exponential import log2
from .trigonometry import sin_cos


def sines_cosines(angles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return sines and cosines of angles [rad] of any shape."""
    out = np.empty((2, *np.shape(angles)))
    _fill_sines_cosines(_flat(angles), out.reshape(2, -1))
    return out[0], out[1]


def arctangents(y: FloatArray, x: FloatArray) -> FloatArray:
    """Return the bearings of (x, y) [rad], -pi to pi, of arrays of one shape."""
    out = np.empty(np.shape(y))
    _fill_arctangents(_flat(y), _flat(x), out.reshape(-1))
    return out


def logarithms2(values: FloatArray) -> FloatArray:
    """Return logarithms of base 2 of numbers > 0 of any shape; NaN of others."""
    out = np.empty(np.shape(values))
    _fill_logarithms2(_flat(values), out.reshape(-1))
    return out


def lengths(x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the lengths of vectors (x, y), as `length.hypot`."""
    found: FloatArray = np.sqrt(x * x + y * y)
    return found


def _flat(values: FloatArray) -> FloatArray:
    return np.ascontiguousarray(values, dtype=np.float64).reshape(-1)


@kernel
def _fill_sines_cosines(angles, out):
    for i in range(angles.shape[0]):
        out[0, i], out[1, i] = sin_cos(angles[i])


@kernel
def _fill_arctangents(y, x, out):
    for i in range(y.shape[0]):
        out[i] = atan2(y[i], x[i])


@kernel
def _fill_logarithms2(values, out):
    for i in range(values.shape[0]):
        out[i] = log2(values[i])
