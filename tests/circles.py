"""Algebraic fits of a circle to points (n, 2), by the names of their inventors."""

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.laying.fit_arc import Circle, algebraic


def taubin(points: NDArray[np.float64]) -> Circle | None:
    """Return Taubin's circle, None where the points are straight."""
    return _circle(points, 4.0, 0.0)


def pratt(points: NDArray[np.float64]) -> Circle | None:
    """Return Pratt's circle, None where the points are straight."""
    return _circle(points, 4.0, 4.0)


def _circle(points: NDArray[np.float64], slope: float, square: float) -> Circle | None:
    x, z, radius = algebraic(points, slope, square)
    return Circle(centre=np.array((x, z)), radius=radius) if radius < np.inf else None
