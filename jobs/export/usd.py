"""A take as a camera of an OpenUSD scene that can still be edited.

    <name>                    axes, units and rate of the stage
      rail                    one number moves: along the track, or round the arc
        head                  pan and tilt apart, unwrapped; roll
          shake               empty here; its ops stand in <name>_shake.usda
            camera            lens, aperture, focus

The shake is a file of its own, a sublayer of the shot's: muting a layer is what every
browser of scenes offers, it leaves the prims and their paths in place, and it works
as well where the shot is referenced into a sequence. Deactivating the prim would take
the camera away with it.

Lens and aperture are in tenths of a scene unit, as `UsdGeomCamera` has them, the
aperture desqueezed and with its overscan; where the frame is not centred on the lens
the aperture is offset. Focus is in scene units.

Source: OpenUSD, class UsdGeomCamera, for units and attributes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ...solver.arrays import FloatArray
from ..job.rate import rate_text
from ..job.world import WorldSpec
from ..takes.curves import Curves
from .names import prim_name, version_of
from .sparse import knots_in_frames
from .usd_rail import add_rail, is_drawn_by_ops

Keys = Literal["frames", "sparse"]

NEAR_M, FAR_M = 0.01, 100_000.0  # what is drawn at all
_MM = 1e-3


@dataclass(frozen=True, kw_only=True, slots=True)
class SceneFiles:
    """Texts of a shot's layers; `shake` is None where nothing shakes."""

    shot: str
    shake: str | None


def shake_name(name: str) -> str:
    """Return the name of the file that holds a shot's shake."""
    return f"{name}_shake"


def usd_shot(curves: Curves, *, name: str, world: WorldSpec, keys: Keys) -> SceneFiles:
    """Return the layers of a shot, `.usda`.

    Args:
        curves: the take.
        name: of the file and, where it can be one, of the prim.
        world: axes and units of the stage.
        keys: `frames` has every sample of the take; `sparse` the plan's own knots for
            rail, pan and tilt. Shake and focus have every sample in both.
    """
    from pxr import Sdf, UsdUtils

    layer = Sdf.Layer.CreateAnonymous(f"{name}.usda")
    # Its own copying of splines makes the library warn of what nobody asked for.
    quiet = UsdUtils.CoalescingDiagnosticDelegate()
    at = _author_base(layer, curves, prim_name(name), world, keys)
    quiet.TakeUncoalescedDiagnostics()
    if not curves.shakes:
        return SceneFiles(shot=layer.ExportToString(), shake=None)
    # Only now, as an open stage would look for a file that is not written yet.
    layer.subLayerPaths.append(f"./{shake_name(name)}.usda")
    return SceneFiles(
        shot=layer.ExportToString(), shake=_shake_layer(curves, at, world)
    )


def _author_base(
    layer: Any, curves: Curves, name: str, world: WorldSpec, keys: Keys
) -> str:
    """Author all but the shake, and return the path of the prim that is shaken."""
    from pxr import Usd, UsdGeom

    stage = Usd.Stage.Open(layer)
    _describe(stage, curves, world)
    double, kind = UsdGeom.XformOp.PrecisionDouble, UsdGeom.XformOp
    root = UsdGeom.Xform.Define(stage, f"/{name}")
    stage.SetDefaultPrim(root.GetPrim())

    def put(op: Any, channel: str, scale: float = 1.0, offset: float = 0.0) -> None:
        if keys == "sparse":
            _put_spline(op.GetAttr(), curves, channel, scale, offset)
        else:
            _put(op.GetAttr(), curves, getattr(curves, channel) * scale + offset)

    rail = UsdGeom.Xform.Define(stage, root.GetPath().AppendChild("rail"))
    moving = add_rail(rail, curves.rail, world)
    if moving is not None:
        put(moving.op, "rail_m", moving.scale, moving.offset)
    elif not is_drawn_by_ops(curves.rail):
        places = rail.AddTranslateOp(double, "lens").GetAttr()
        _put(places, curves, world.scene(curves.base_m), _vector)
    head = UsdGeom.Xform.Define(stage, rail.GetPath().AppendChild("head"))
    about_up = kind.TypeRotateZ if world.up == "z" else kind.TypeRotateY
    put(head.AddXformOp(about_up, double, "pan"), "pan_deg")
    if world.up == "z":
        # An untilted camera of a Z-up scene looks along +Y.
        head.AddRotateXOp(double, "level").Set(90.0)
    put(head.AddRotateXOp(double, "tilt"), "tilt_deg")
    _put(head.AddRotateZOp(double, "roll").GetAttr(), curves, curves.roll_deg)
    shake = UsdGeom.Xform.Define(stage, head.GetPath().AppendChild("shake"))
    camera = UsdGeom.Camera.Define(stage, shake.GetPath().AppendChild("camera"))
    _put_lens(camera, curves, world)
    return str(shake.GetPath())


def _describe(stage: Any, curves: Curves, world: WorldSpec) -> None:
    from pxr import UsdGeom

    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z if world.up == "z" else "Y")
    UsdGeom.SetStageMetersPerUnit(stage, world.metres_per_unit)
    stage.SetTimeCodesPerSecond(float(curves.rate))
    stage.SetFramesPerSecond(float(curves.rate))
    stage.SetStartTimeCode(float(curves.time_codes[0]))
    stage.SetEndTimeCode(float(curves.time_codes[-1]))
    gate = curves.gate
    stage.GetRootLayer().customLayerData = {
        "carrellata": {
            "sequence": curves.sequence,
            "shot": curves.shot,
            "version": version_of(curves.take_key),
            "take_key": curves.take_key,
            "rate": rate_text(curves.rate),
            "cut_first": curves.cut[0],
            "cut_last": curves.cut[1],
            "focal_mm": curves.focal_mm,
            "gate_width_mm": gate.width_mm,
            "gate_height_mm": gate.height_mm,
            "squeeze": gate.squeeze,
            "overscan": gate.overscan,
        }
    }


def _put_lens(camera: Any, curves: Curves, world: WorldSpec) -> None:
    from pxr import Sdf

    gate = curves.gate
    tenths = world.units(10.0 * _MM)  # of a scene unit, in a millimetre
    width = gate.width_mm * gate.squeeze * gate.overscan
    height = gate.height_mm * gate.overscan
    camera.CreateProjectionAttr().Set("perspective")
    camera.CreateFocalLengthAttr().Set(curves.focal_mm * tenths)
    camera.CreateHorizontalApertureAttr().Set(width * tenths)
    camera.CreateVerticalApertureAttr().Set(height * tenths)
    camera.CreateHorizontalApertureOffsetAttr().Set(0.0)
    offset = -gate.axis_v * gate.height_mm / 2
    camera.CreateVerticalApertureOffsetAttr().Set(offset * tenths)
    camera.CreateFStopAttr().Set(curves.stop)
    reach = world.units(NEAR_M), world.units(FAR_M)
    camera.CreateClippingRangeAttr().Set(reach)
    # Samples of a take run from each frame to the next, so the shutter opens on it.
    camera.CreateShutterOpenAttr().Set(0.0)
    camera.CreateShutterCloseAttr().Set(curves.shutter_deg / 360.0)
    prim = camera.GetPrim()
    for name, value in (
        ("focalLengthMm", curves.focal_mm),
        ("horizontalApertureMm", width),
        ("verticalApertureMm", height),
    ):
        number = Sdf.ValueTypeNames.Double
        prim.CreateAttribute(f"carrellata:{name}", number, custom=True).Set(value)
    focus = camera.CreateFocusDistanceAttr()
    _put(focus, curves, curves.focus_m / world.metres_per_unit)


def _shake_layer(curves: Curves, path: str, world: WorldSpec) -> str:
    from pxr import Gf, Usd, UsdGeom

    stage = Usd.Stage.CreateInMemory("shake.usda")
    stage.SetTimeCodesPerSecond(float(curves.rate))
    stage.SetFramesPerSecond(float(curves.rate))
    shake = UsdGeom.Xformable(stage.OverridePrim(path))
    double = UsdGeom.XformOp.PrecisionDouble
    moved = curves.shake_m / world.metres_per_unit
    _put(
        shake.AddTranslateOp(double, "shake").GetAttr(),
        curves,
        moved,
        lambda row: Gf.Vec3d(*row.tolist()),
    )
    for k, add in enumerate((shake.AddRotateYOp, shake.AddRotateXOp)):
        _put(add(double, ("pan", "tilt")[k]).GetAttr(), curves, curves.shake_deg[:, k])
    roll = shake.AddRotateZOp(double, "roll")
    _put(roll.GetAttr(), curves, curves.shake_deg[:, 2])
    text: str = stage.GetRootLayer().ExportToString()
    return text


def _put(
    attribute: Any,
    curves: Curves,
    values: FloatArray,
    made: Callable[[Any], Any] = float,
) -> None:
    """Author every sample, or one value where it never changes."""
    if (values == values[0]).all():
        attribute.Set(made(values[0]))
        return
    for code, value in zip(curves.time_codes.tolist(), values, strict=True):
        attribute.Set(made(value), code)


def _vector(row: FloatArray) -> Any:
    from pxr import Gf

    return Gf.Vec3d(*row.tolist())


def _put_spline(
    attribute: Any, curves: Curves, channel: str, scale: float, offset: float
) -> None:
    """Author the cubics between a channel's knots, or one value where it stands."""
    from pxr import Ts

    rows = knots_in_frames(
        curves.knots[channel], curves.rate, scale=scale, offset=offset
    )
    if (rows[:, 1] == rows[0, 1]).all() and not rows[:, 2].any():
        attribute.Set(float(rows[0, 1]))
        return
    thirds = np.diff(rows[:, 0]) / 3
    spline = Ts.Spline("double")
    for k, (code, value, slope) in enumerate(rows.tolist()):
        knot = Ts.Knot("double")
        knot.SetTime(code)
        knot.SetValue(value)
        knot.SetNextInterpolation(Ts.InterpCurve)
        if k > 0:
            knot.SetPreTanWidth(float(thirds[k - 1]))
            knot.SetPreTanSlope(slope)
        if k < len(thirds):
            knot.SetPostTanWidth(float(thirds[k]))
            knot.SetPostTanSlope(slope)
        spline.SetKnot(knot)
    attribute.SetSpline(spline)
