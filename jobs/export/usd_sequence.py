"""The cameras of a sequence in one OpenUSD scene, by reference to a file a shot."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..errors import Fault, InputError, JobError
from ..job.rate import rate_text
from ..job.world import WorldSpec
from ..takes.curves import Curves
from .names import prim_name


def usd_sequence(
    sequence: str, curves: Sequence[Curves], names: Sequence[str], world: WorldSpec
) -> str:
    """Return the layer of a sequence, `.usda`: a prim a shot that refers to its file.

    Frames are those of the job; no shot is moved in time.

    Args:
        sequence: its name.
        curves: the takes, in the order of the cut.
        names: of their files, without suffix.
        world: axes and units of the stage.
    """
    from pxr import Sdf, UsdGeom, Vt

    layer = Sdf.Layer.CreateAnonymous(".usda")
    rate = curves[0].rate
    layer.timeCodesPerSecond = layer.framesPerSecond = float(rate)
    layer.startTimeCode = min(float(one.time_codes[0]) for one in curves)
    layer.endTimeCode = max(float(one.time_codes[-1]) for one in curves)
    root = prim_name(sequence)
    layer.defaultPrim = root
    pseudo = layer.pseudoRoot
    pseudo.SetInfo(UsdGeom.Tokens.metersPerUnit, world.metres_per_unit)
    pseudo.SetInfo(UsdGeom.Tokens.upAxis, world.up.upper())
    parent = _xform(layer, root)
    for one, name in zip(curves, names, strict=True):
        prim = _xform(parent, prim_name(name))
        prim.referenceList.Prepend(Sdf.Reference(f"./{name}.usda"))
        prim.customData = {"cut_first": one.cut[0], "cut_last": one.cut[1]}
    layer.customLayerData = {
        "carrellata": {
            "sequence": sequence,
            "rate": rate_text(rate),
            "cut": Vt.StringArray([prim_name(name) for name in names]),
        }
    }
    text: str = layer.ExportToString()
    return text


def _xform(parent: Any, name: str) -> Any:
    from pxr import Sdf

    return Sdf.PrimSpec(parent, name, Sdf.SpecifierDef, "Xform")


def world_like(path: Path, curves: Sequence[Curves]) -> WorldSpec:
    """Return the axes and units of a scene that the cameras are to fit into.

    Raises:
        InputError: it is not a scene, or does not say its axes, units or rate.
        JobError: it counts another number of time codes a second than the takes.
    """
    from pxr import Tf, Usd, UsdGeom

    if not path.is_file():
        raise InputError(str(path), "no such file")
    try:
        stage = Usd.Stage.Open(str(path), Usd.Stage.LoadNone)
    except Tf.ErrorException as error:
        raise InputError(str(path), "is not an OpenUSD scene") from error
    unsaid = [
        name
        for name, said in (
            ("upAxis", stage.HasAuthoredMetadata(UsdGeom.Tokens.upAxis)),
            ("metersPerUnit", UsdGeom.StageHasAuthoredMetersPerUnit(stage)),
            ("timeCodesPerSecond", _says_rate(stage)),
        )
        if not said
    ]
    if unsaid:
        message = f"does not say its {', '.join(unsaid)}; write them into the scene"
        raise InputError(str(path), message)
    rate = curves[0].rate
    codes = stage.GetTimeCodesPerSecond()
    if abs(codes - float(rate)) > 1e-6 * codes:
        message = (
            f"the scene counts {codes:g} time codes a second, the takes "
            f"{rate_text(rate)}; leave --like out and let the scene's own sublayer or "
            "reference scale time"
        )
        raise JobError((Fault(path="--like", message=message),))
    z_up = UsdGeom.GetStageUpAxis(stage) == UsdGeom.Tokens.z
    metres = UsdGeom.GetStageMetersPerUnit(stage)
    return WorldSpec(up="z" if z_up else "y", metres_per_unit=metres)


def _says_rate(stage: Any) -> bool:
    names = ("timeCodesPerSecond", "framesPerSecond")
    return any(stage.HasAuthoredMetadata(name) for name in names)
