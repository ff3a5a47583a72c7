"""The rail of a camera as transform ops of OpenUSD, with one moving number.

A rail turns its own axes along the track (or round the arc), moves, and turns them
back, so that what hangs below it keeps the scene's axes:

    track   translate:origin  orient:along  translateX:dolly  !invert!orient:along
    arc     translate:centre  rotate:arc    translate:radius  !invert!rotate:arc
    sticks  translate:origin

The number that moves is `dolly` [scene units] or `arc` [deg], linear in the take's
`rail_m`, so a cubic of one is a cubic of the other.
"""

from dataclasses import dataclass
from math import degrees
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from ...solver.arrays import FloatArray
from ..job.spec import WorldSpec
from ..takes.axes import scene_from_inside
from ..takes.metadata import Rail


@dataclass(frozen=True, kw_only=True, slots=True)
class Moving:
    """An op whose value is `offset` + `scale` x a curve of the take."""

    op: Any
    scale: float = 1.0
    offset: float = 0.0


def add_rail(xform: Any, rail: Rail, world: WorldSpec) -> Moving | None:
    """Give a prim the ops of a rail and return the one that moves, if any does.

    Args:
        xform: UsdGeom.Xformable without ops.
        rail: in metres, Y up.
        world: axes and units of the stage.
    """
    from pxr import Gf, UsdGeom

    kind, double = UsdGeom.XformOp, UsdGeom.XformOp.PrecisionDouble
    origin = scene_from_inside(rail.origin_m[None], world)[0]
    start = "centre" if rail.kind == "arc" else "origin"
    xform.AddTranslateOp(double, start).Set(Gf.Vec3d(*origin.tolist()))
    if rail.kind == "sticks":
        return None
    if rail.kind == "track":
        x, y, z, w = _along(rail.direction, world)
        xform.AddOrientOp(double, "along").Set(Gf.Quatd(w, x, y, z))
        dolly = xform.AddXformOp(kind.TypeTranslateX, double, "dolly")
        xform.AddOrientOp(double, "along", True)
        return Moving(op=dolly, scale=1.0 / world.metres_per_unit)
    about_up = kind.TypeRotateZ if world.up == "z" else kind.TypeRotateY
    arc = xform.AddXformOp(about_up, double, "arc")
    radius = scene_from_inside(np.array([[0.0, 0.0, -rail.radius_m]]), world)[0]
    xform.AddTranslateOp(double, "radius").Set(Gf.Vec3d(*radius.tolist()))
    xform.AddXformOp(about_up, double, "arc", True)
    return Moving(
        op=arc, scale=rail.turn * degrees(1.0 / rail.radius_m), offset=rail.start_deg
    )


def _along(direction: FloatArray, world: WorldSpec) -> list[float]:
    """Return the quaternion x, y, z, w that turns +X along a track."""
    metre = WorldSpec(up=world.up, metres_per_unit=1.0)
    ahead = scene_from_inside(direction[None], metre)[0]
    side = np.cross(ahead, [0.0, 0.0, 1.0] if abs(ahead[2]) < 0.9 else [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    frame = np.column_stack([ahead, side, np.cross(ahead, side)])
    quaternion: list[float] = Rotation.from_matrix(frame).as_quat().tolist()
    return quaternion
