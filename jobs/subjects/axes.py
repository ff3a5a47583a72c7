"""From the axes of a scene to those of the solver."""

import numpy as np

from ...solver.arrays import FloatArray
from .reference import Up


def inside_from_scene(points: FloatArray, up: Up) -> FloatArray:
    """Return points with Y up: a Z-up (x, y, z) is (x, z, -y).

    It is a rotation, so angles about the up axis stay what they are: 0 along +Y of
    a Z-up scene is 0 along -Z inside.

    Args:
        points: (n, 3), right-handed, any unit.
        up: the axis that points up.
    """
    if up == "y":
        return points
    x, y, z = points.T
    return np.column_stack([x, z, -y])
