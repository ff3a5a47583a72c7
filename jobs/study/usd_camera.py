"""A camera of an OpenUSD scene, evaluated at every frame that its layer declares."""

from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

import numpy as np

from ...solver.optics.camera import Gate
from ...solver.studies.camera import angles_of
from ..job.world import WorldSpec
from ..subjects.faults import refuse
from .read_camera import ReadCamera, checked
from .spec import StudiedSpec, StudyFile

MAX_FRAMES = 1_000_000


def read_usd_camera(
    place: Path, spec: StudiedSpec, study: StudyFile, field: str, label: str
) -> ReadCamera:
    """Return the curves of a camera prim.

    Its lens is what its focal length makes of the study's gate: the aperture of the
    scene only scales it where the two differ in width.

    Raises:
        SubjectError: the extra is missing, or the scene, its range or the prim is.
    """
    if find_spec("pxr") is None:
        refuse(field, f'{label} needs an extra: pip install "carrellata[scene]"')
    from pxr import Gf, Tf, Usd, UsdGeom

    try:
        stage = Usd.Stage.Open(str(place))
    except Tf.ErrorException:
        stage = None
    if stage is None:
        refuse(field, f"{label} cannot be opened as an OpenUSD scene")
    camera = _prim(stage, spec, field, label, UsdGeom)
    first, last = stage.GetStartTimeCode(), stage.GetEndTimeCode()
    if not stage.HasAuthoredTimeCodeRange() or last - first >= MAX_FRAMES:
        refuse(field, f"{label} must declare startTimeCode and endTimeCode")
    codes = np.arange(np.ceil(first), np.floor(last) + 1)
    metres = float(UsdGeom.GetStageMetersPerUnit(stage))
    up: Literal["y", "z"] = (
        "z" if UsdGeom.GetStageUpAxis(stage) == UsdGeom.Tokens.z else "y"
    )
    turns, places, focal = [], [], []
    for code in codes:
        matrix = Gf.Matrix4d(camera.ComputeLocalToWorldTransform(code))
        places.append(matrix.ExtractTranslation())
        turn = matrix.RemoveScaleShear().ExtractRotationQuat().GetNormalized()
        turns.append((*turn.GetImaginary(), turn.GetReal()))
        focal.append(camera.GetFocalLengthAttr().Get(code))
    aperture = float(camera.GetHorizontalApertureAttr().Get(codes[0]))
    world = WorldSpec(up=up, metres_per_unit=metres)
    rate = Fraction(study.rate)
    gate = study.camera.gate
    return checked(
        codes,
        world.inside(np.array(places)),
        angles_of(world.inside_turns(np.array(turns, dtype=np.float64))),
        np.array(focal, dtype=np.float64) * _on_gate(gate, aperture),
        gate=gate,
        rate=rate,
        field=field,
        label=label,
    )


def _on_gate(gate: Gate, aperture: float) -> float:
    """Return millimetres of lens on the gate for one unit of the scene's lens."""
    return gate.width_mm / aperture


def _prim(stage: Any, spec: StudiedSpec, field: str, label: str, geom: Any) -> Any:
    cameras = [one for one in stage.Traverse() if one.IsA(geom.Camera)]
    if spec.prim is not None:
        found = [one for one in cameras if str(one.GetPath()) == spec.prim]
        if not found:
            refuse(field, f"{label} has no camera '{spec.prim}'")
        return geom.Camera(found[0])
    if len(cameras) != 1:
        names = ", ".join(str(one.GetPath()) for one in cameras[:6])
        held = f"{len(cameras)} cameras ({names})" if cameras else "no camera"
        refuse(field, f"{label} holds {held}; name one as prim")
    return geom.Camera(cameras[0])
