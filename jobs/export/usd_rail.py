"""The rail of a camera as transform ops of OpenUSD, with one moving number.

A rail turns its own axes along the track (or round the arc), moves, and turns them
back, so that what hangs below it keeps the scene's axes:

    track   translate:origin  orient:along  translateX:dolly  !invert!orient:along
    arc     translate:centre  rotate:arc    translate:radius  !invert!rotate:arc
    sticks  translate:origin

The number that moves is `dolly` [scene units] or `arc` [deg], linear in the take's
`rail_m`, so a cubic of one is a cubic of the other.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import degrees
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from ...solver.arrays import FloatArray
from ...solver.rigs.shape import Rig
from ..job.world import WorldSpec


@dataclass(frozen=True, kw_only=True, slots=True)
class Moving:
    """An op whose value is `offset` + `scale` x a curve of the take."""

    op: Any
    scale: float = 1.0
    offset: float = 0.0


def add_rail(xform: Any, rail: Rig, world: WorldSpec) -> Moving | None:
    """Give a prim the ops of a rail and return the one that moves, if any does.

    A rail of another form gets no ops of its own: where its lens is at each sample is
    written instead, see `usd`.

    Args:
        xform: UsdGeom.Xformable without ops.
        rail: the rig.
        world: axes and units of the stage.
    """
    ops = _OPS.get(rail.kind)
    return None if ops is None else ops(xform, rail, world)


def is_drawn_by_ops(rail: Rig) -> bool:
    """Tell whether `add_rail` gives a rail ops of its own."""
    return rail.kind in _OPS


def _at(xform: Any, rail: Rig, world: WorldSpec, name: str) -> None:
    from pxr import Gf, UsdGeom

    origin = world.scene(rail.shape.origin[None])[0]
    double = UsdGeom.XformOp.PrecisionDouble
    xform.AddTranslateOp(double, name).Set(Gf.Vec3d(*origin.tolist()))


def _sticks(xform: Any, rail: Rig, world: WorldSpec) -> None:
    _at(xform, rail, world, "origin")


def _track(xform: Any, rail: Rig, world: WorldSpec) -> Moving:
    from pxr import Gf, UsdGeom

    _at(xform, rail, world, "origin")
    kind, double = UsdGeom.XformOp, UsdGeom.XformOp.PrecisionDouble
    x, y, z, w = _along(rail.shape.direction, world)
    xform.AddOrientOp(double, "along").Set(Gf.Quatd(w, x, y, z))
    dolly = xform.AddXformOp(kind.TypeTranslateX, double, "dolly")
    xform.AddOrientOp(double, "along", True)
    return Moving(op=dolly, scale=world.units(1.0))


def _arc(xform: Any, rail: Rig, world: WorldSpec) -> Moving:
    from pxr import Gf, UsdGeom

    _at(xform, rail, world, "centre")
    shape = rail.shape
    kind, double = UsdGeom.XformOp, UsdGeom.XformOp.PrecisionDouble
    about_up = kind.TypeRotateZ if world.up == "z" else kind.TypeRotateY
    arc = xform.AddXformOp(about_up, double, "arc")
    radius = world.scene(np.array([[0.0, 0.0, -shape.radius]]))[0]
    xform.AddTranslateOp(double, "radius").Set(Gf.Vec3d(*radius.tolist()))
    xform.AddXformOp(about_up, double, "arc", True)
    return Moving(
        op=arc,
        scale=shape.turn * degrees(1.0 / shape.radius),
        offset=degrees(shape.start),
    )


_OPS: dict[str, Callable[[Any, Rig, WorldSpec], Moving | None]] = {
    "sticks": _sticks,
    "track": _track,
    "arc": _arc,
}


def _along(direction: FloatArray, world: WorldSpec) -> list[float]:
    """Return the quaternion x, y, z, w that turns +X along a track."""
    ahead = world.ahead(direction[None])[0]
    side = np.cross(ahead, [0.0, 0.0, 1.0] if abs(ahead[2]) < 0.9 else [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    frame = np.column_stack([ahead, side, np.cross(ahead, side)])
    quaternion: list[float] = Rotation.from_matrix(frame).as_quat().tolist()
    return quaternion
