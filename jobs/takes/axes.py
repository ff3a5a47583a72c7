"""From the solver's axes to those of a scene: Y up in metres to the scene's own.

The change is a quarter turn about +X, so the camera still looks down its own -Z with
+Y up, and angles about the up axis stay what they are: 0 along -Z of a Y-up scene is
0 along +Y of a Z-up scene. Pan, tilt and roll are the same numbers in both.
"""

import numpy as np

from ...solver.arrays import FloatArray
from ..job.spec import WorldSpec

_HALF = np.sqrt(0.5)


def scene_from_inside(points_m: FloatArray, world: WorldSpec) -> FloatArray:
    """Return points in scene axes and units: for Z up (x, y, z) is (x, -z, y).

    Args:
        points_m: (n, 3) [m], Y up.
        world: axes and units of the scene.
    """
    if world.up == "z":
        x, y, z = points_m.T
        points_m = np.column_stack([x, -z, y])
    return points_m / world.metres_per_unit


def turn_scene_from_inside(turns: FloatArray, world: WorldSpec) -> FloatArray:
    """Return scene-from-camera quaternions of inside-from-camera ones.

    Args:
        turns: (n, 4) as x, y, z, w, sign-continuous.
        world: axes and units of the scene.

    Returns:
        (n, 4) as x, y, z, w, sign-continuous, the first with w >= 0.
    """
    if world.up == "y":
        return turns
    x, y, z, w = turns.T
    sign = -1.0 if len(turns) and w[0] < x[0] else 1.0
    turned: FloatArray = sign * _HALF * np.column_stack([w + x, y - z, y + z, w - x])
    return turned


def turn_inside_from_scene(turns: FloatArray, world: WorldSpec) -> FloatArray:
    """Return inside-from-camera quaternions of scene-from-camera ones.

    Args:
        turns: (n, 4) as x, y, z, w, sign-continuous.
        world: axes and units of the scene.

    Returns:
        (n, 4) as x, y, z, w, sign-continuous, the first with w >= 0.
    """
    if world.up == "y":
        return turns
    x, y, z, w = turns.T
    sign = -1.0 if len(turns) and w[0] + x[0] < 0 else 1.0
    turned: FloatArray = sign * _HALF * np.column_stack([x - w, y + z, z - y, w + x])
    return turned
