"""Axes and units of a scene, and the one change between them and the solver's own.

The solver has metres and Y up. The change is a quarter turn about +X, so the camera
still looks down its own -Z with +Y up, and angles about the up axis stay what they are:
0 along -Z of a Y-up scene is 0 along +Y of a Z-up scene.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from ...solver.arrays import FloatArray
from .quantities import Number, Spec

Up = Literal["y", "z"]

_HALF = np.sqrt(0.5)


def inside_from_scene(points: FloatArray, up: Up) -> FloatArray:
    """Return points with Y up: a Z-up (x, y, z) is (x, z, -y).

    Args:
        points: (n, 3), right-handed, any unit.
        up: the axis that points up.
    """
    if up == "y":
        return points
    x, y, z = points.T
    return np.column_stack([x, z, -y])


def scene_from_inside(points: FloatArray, up: Up) -> FloatArray:
    """Return points with Y up in a scene's axes: for Z up (x, y, z) is (x, -z, y)."""
    if up == "y":
        return points
    x, y, z = points.T
    return np.column_stack([x, -z, y])


class WorldSpec(Spec):
    """Axes and units of the scene."""

    up: Up
    metres_per_unit: Annotated[Number, Field(gt=0, le=1e6)]

    def metres(self, units: float) -> float:
        """Return a length or height of the scene in metres."""
        return units * self.metres_per_unit

    def units(self, metres: float) -> float:
        """Return a length or height in scene units."""
        return metres / self.metres_per_unit

    def inside(self, points: FloatArray) -> FloatArray:
        """Return scene points (n, 3) in metres, Y up."""
        metres = np.asarray(points, dtype=np.float64) * self.metres_per_unit
        return inside_from_scene(metres, self.up)

    def ahead(self, directions: FloatArray) -> FloatArray:
        """Return directions (n, 3), Y up, in the axes of the scene."""
        return scene_from_inside(directions, self.up)

    def scene(self, points_m: FloatArray) -> FloatArray:
        """Return points (n, 3) [m], Y up, in scene axes and units."""
        return self.ahead(points_m) / self.metres_per_unit

    def scene_turns(self, turns: FloatArray) -> FloatArray:
        """Return scene-from-camera quaternions of inside-from-camera ones.

        Args:
            turns: (n, 4) as x, y, z, w, sign-continuous.

        Returns:
            (n, 4) as x, y, z, w, sign-continuous, the first with w >= 0.
        """
        return turns if self.up == "y" else _quarter_turned(turns, 1.0)

    def inside_turns(self, turns: FloatArray) -> FloatArray:
        """Return inside-from-camera quaternions of scene-from-camera ones.

        Args:
            turns: (n, 4) as x, y, z, w, sign-continuous.

        Returns:
            (n, 4) as x, y, z, w, sign-continuous, the first with w >= 0.
        """
        return turns if self.up == "y" else _quarter_turned(turns, -1.0)


def world_of(axes: Mapping[str, Any]) -> WorldSpec:
    """Return the world that a take's metadata tells of in its `axes`."""
    return WorldSpec(up=axes["up"], metres_per_unit=axes["metres_per_unit"])


def _quarter_turned(turns: FloatArray, way: float) -> FloatArray:
    """Return quaternions (n, 4) after a quarter turn about x, `way` 1 or -1."""
    x, y, z, w = turns.T
    sign = -1.0 if len(turns) and w[0] < way * x[0] else 1.0
    columns = (x + way * w, y - way * z, z + way * y, w - way * x)
    turned: FloatArray = sign * _HALF * np.column_stack(columns)
    return turned
