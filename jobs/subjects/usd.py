"""A subject in an OpenUSD scene: a prim, or a joint of a skeleton, frame by frame.

The scene is opened as it is composed, so it is for this machine only: what a layer
refers to can lie anywhere. Nothing is read from authored samples; the place is
evaluated at the time code of every frame that the shot asks for.

Frame n of the shot is time code n. Where the scene counts another number of time codes
a second, both rates by their nominal value say which code a frame is, so that nothing
is off by 1000/1001. Axes and units are the scene's own; where it does not say them,
or its rate, the job has to, and where both do they must agree.
"""

import difflib
import hashlib
from collections.abc import Iterator
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import numpy as np

from ...solver.arrays import BoolArray, FloatArray
from ..errors import Fault
from ..job.rate import nominal_rate, rate_text
from ..job.world import inside_from_scene
from .bvh import METRES
from .faults import refuse, refuse_any
from .reference import SubjectReference
from .request import SubjectRequest
from .samples import SubjectSamples
from .source import MAX_BYTES, Source

MAX_FRAMES = 1_000_000  # evaluated one by one
_SAME = 1e-6  # relative; scales and rates further apart are not the same
_NEAR_PRIMS = 20_000  # looked through for a name like the one that is not there


class _Clock(NamedTuple):
    """Time code of a frame: `codes` for each of `frames`."""

    codes: int
    frames: int

    def code(self, frame: int) -> float:
        return frame * self.codes / self.frames


def usd_samples(
    reference: SubjectReference, request: SubjectRequest
) -> tuple[Source, SubjectSamples]:
    """Return where a prim or joint is at every frame of a shot.

    Args:
        reference: the subject's entry; names a scene and a prim of it.
        request: for which frames.

    Raises:
        SubjectError: the extra is missing; the scene cannot be opened, lacks a layer,
            does not say axes, units or rate, or has no such prim or joint.
    """
    path, first_frame, last_frame = (
        request.path,
        request.first_frame,
        request.last_frame,
    )
    assert reference.file is not None
    field, label = f"{path}.file", f"'{reference.file}'"
    if find_spec("pxr") is None:
        refuse(field, f'{label} needs an extra: pip install "carrellata[scene]"')
    place = request.folder / reference.file
    if not place.is_file():
        refuse(field, f"{label} is not a file")
    if last_frame - first_frame >= MAX_FRAMES:
        refuse(field, f"{label} is evaluated at no more than {MAX_FRAMES} frames")
    stage, digest = opened_scene(place, field, label)
    metres, up = axes_of_scene(stage, reference, path, label)
    clock = _clock(stage, reference, request.rate, path, label)
    frames = _covered(stage, clock, first_frame, last_frame)
    points, visible = _followed(stage, reference, frames, clock, path, label)
    samples = SubjectSamples(
        frames=frames.astype(np.float64),
        points=inside_from_scene(points * metres, "z" if up == "Z" else "y"),
        head=None,
        facing_rad=np.full(len(frames), np.nan),
        visible=visible,
        step_frames=1.0,
        locked=True,
    )
    source = Source(data=b"", kind="usd", label=label, path=field, digest=digest)
    return source, samples


def opened_scene(place: Path, field: str, label: str) -> tuple[Any, str]:
    """Return the composed stage, and the digest of all layers that it is made of.

    Raises:
        SubjectError: it cannot be opened, lacks a layer, or is too large.
    """
    from pxr import Tf, Usd, UsdUtils

    quiet = UsdUtils.CoalescingDiagnosticDelegate()
    try:
        layers, _, missing = UsdUtils.ComputeAllDependencies(str(place))
        stage = Usd.Stage.Open(str(place)) if layers else None
    except Tf.ErrorException:
        stage = None
    quiet.TakeUncoalescedDiagnostics()
    if stage is None:
        refuse(field, f"{label} cannot be opened as an OpenUSD scene")
    layers_missing = sorted(name for name in missing if _is_layer(name))
    if layers_missing:
        named = ", ".join(f"'{name}'" for name in layers_missing[:3])
        refuse(field, f"{label} needs layers that are not there: {named}")
    return stage, _digest(place, layers, field, label)


def _is_layer(name: str) -> bool:
    return name.rpartition(".")[2].lower() in ("usd", "usda", "usdc", "usdz")


def _digest(place: Path, layers: Any, field: str, label: str) -> str:
    """Return a digest of the scene's files that is the same wherever they lie."""
    # A layer inside a package has the package's path, then its own in brackets.
    paths = {Path(layer.realPath.partition("[")[0]).resolve() for layer in layers}
    root = place.resolve()
    total, found = 0, []
    for path in (root, *sorted(paths - {root})):
        total += path.stat().st_size
        if total > MAX_BYTES:
            refuse(field, f"{label} and its layers exceed {MAX_BYTES // 2**20} MB")
        found.append(hashlib.sha256(path.read_bytes()).hexdigest())
    names = "\n".join([found[0], *sorted(found[1:])])
    return hashlib.sha256(names.encode()).hexdigest()


class SaysAxes(Protocol):
    """An entry of a job that says what a scene does not: its unit and its up axis."""

    @property
    def units(self) -> str | float | None: ...  # noqa: D102
    @property
    def up(self) -> str | None: ...  # noqa: D102


def axes_of_scene(
    stage: Any, reference: SaysAxes, path: str, label: str
) -> tuple[float, str]:
    """Return metres in a unit of the scene, and its up axis, "Y" or "Z".

    Raises:
        SubjectError: neither the scene nor the job says them, or they differ.
    """
    from pxr import UsdGeom

    said_up = stage.HasAuthoredMetadata(UsdGeom.Tokens.upAxis)
    said_metres = UsdGeom.StageHasAuthoredMetersPerUnit(stage)
    units, up = reference.units, reference.up
    asked = METRES[units] if isinstance(units, str) else units
    own = UsdGeom.GetStageMetersPerUnit(stage)
    own_up = str(UsdGeom.GetStageUpAxis(stage))

    def faults() -> Iterator[Fault]:
        if asked is None and not said_metres:
            message = f"{label} does not say metersPerUnit; give the unit of length"
            yield Fault(path=f"{path}.units", message=message)
        if asked is not None and said_metres and abs(asked - own) > _SAME * own:
            message = f"{asked:g} m, but {label} says metersPerUnit {own:g}"
            yield Fault(path=f"{path}.units", message=message)
        if up is None and not said_up:
            message = f"{label} does not say upAxis; give the axis that points up"
            yield Fault(path=f"{path}.up", message=message)
        if up is not None and said_up and up.upper() != own_up:
            message = f'"{up}", but {label} says upAxis {own_up}'
            yield Fault(path=f"{path}.up", message=message)

    refuse_any(faults())
    metres = own if said_metres or asked is None else asked
    return metres, own_up if said_up or up is None else up.upper()


def _clock(
    stage: Any, reference: SubjectReference, job_rate: Fraction, path: str, label: str
) -> _Clock:
    """Return which time code a frame of the job is."""
    names = ("timeCodesPerSecond", "framesPerSecond")
    said = any(stage.HasAuthoredMetadata(name) for name in names)
    codes, asked = stage.GetTimeCodesPerSecond(), reference.rate
    if asked is None and not said:
        message = f"{label} does not say timeCodesPerSecond; give its rate"
        refuse(f"{path}.rate", message)
    if asked is not None and said and abs(codes - float(asked)) > _SAME * codes:
        message = f"{rate_text(asked)}, but {label} has {codes:.6g} codes a second"
        refuse(f"{path}.rate", message)
    rate = asked if asked is not None else Fraction(codes).limit_denominator(1001)
    ratio = Fraction(nominal_rate(rate), nominal_rate(job_rate))
    return _Clock(ratio.numerator, ratio.denominator)


def _covered(stage: Any, clock: _Clock, first: int, last: int) -> Any:
    """Return the frames asked for that lie in the scene's own range, if it has one."""
    frames = np.arange(first, last + 1)
    if not stage.HasAuthoredTimeCodeRange():
        return frames
    codes = frames * clock.codes / clock.frames
    inside = (codes >= stage.GetStartTimeCode()) & (codes <= stage.GetEndTimeCode())
    # Where nothing is inside, what is there is said by the check of cover.
    return frames[inside] if inside.any() else _own_frames(stage, clock)


def _own_frames(stage: Any, clock: _Clock) -> Any:
    ends = (stage.GetStartTimeCode(), stage.GetEndTimeCode())
    return np.unique([round(code * clock.frames / clock.codes) for code in ends])


def _followed(
    stage: Any,
    reference: SubjectReference,
    frames: Any,
    clock: _Clock,
    path: str,
    label: str,
) -> tuple[FloatArray, BoolArray]:
    """Return the place, (n, 3) in the scene's axes and units, and what is visible."""
    from pxr import Usd, UsdGeom

    prim = _followed_prim(stage, reference, path, label)
    skeleton, joint = _joint(prim, reference, path, label)
    seen = UsdGeom.Imageable(prim)
    cache = UsdGeom.XformCache()
    points = np.empty((len(frames), 3))
    visible = np.ones(len(frames), dtype=np.bool_)
    for k, frame in enumerate(frames.tolist()):
        time = Usd.TimeCode(clock.code(frame))
        cache.SetTime(time)
        if skeleton is None:
            pose = cache.GetLocalToWorldTransform(prim)
        else:
            pose = skeleton.ComputeJointSkelTransforms(time)[joint]
            pose = pose * cache.GetLocalToWorldTransform(skeleton.GetPrim())
        points[k] = pose.ExtractTranslation()
        visible[k] = seen.ComputeVisibility(time) != UsdGeom.Tokens.invisible
    return points, visible


def _followed_prim(
    stage: Any, reference: SubjectReference, path: str, label: str
) -> Any:
    from pxr import UsdGeom

    name = reference.prim or ""
    prim = find_prim(stage, name, f"{path}.prim", label)
    if not UsdGeom.Xformable(prim):
        kind = prim.GetTypeName() or "no type"
        refuse(f"{path}.prim", f"'{name}' of {label} has no place, it is of {kind}")
    return prim


def find_prim(stage: Any, name: str, field: str, label: str) -> Any:
    """Return a prim of a scene.

    Raises:
        SubjectError: there is none of this path.
    """
    from pxr import Sdf

    if not Sdf.Path.IsValidPathString(name) or not name.startswith("/"):
        refuse(field, f"'{name}' is not the path of a prim such as /World/courier")
    prim = stage.GetPrimAtPath(name)
    if not prim:
        known = []
        for other in stage.Traverse():
            known.append(str(other.GetPath()))
            if len(known) == _NEAR_PRIMS:
                break
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
        hint = f"; did you mean '{near[0]}'" if near else ""
        refuse(field, f"{label} has no prim '{name}'{hint}")
    return prim


def _joint(
    prim: Any, reference: SubjectReference, path: str, label: str
) -> tuple[Any, int]:
    """Return the query of the skeleton and the number of a joint; None without one."""
    from pxr import Usd, UsdSkel

    if reference.joint is None:
        return None, 0
    skeletons = [each for each in Usd.PrimRange(prim) if each.IsA(UsdSkel.Skeleton)]
    root = UsdSkel.Root.Find(prim)
    if len(skeletons) != 1 or not root:
        message = (
            f"a joint needs one Skeleton at or below '{prim.GetPath()}' and a SkelRoot "
            f"at or over it, {label} has {len(skeletons)}"
        )
        refuse(f"{path}.joint", message)
    cache = UsdSkel.Cache()
    cache.Populate(root, Usd.PrimDefaultPredicate)
    query = cache.GetSkelQuery(UsdSkel.Skeleton(skeletons[0]))
    joints = [str(name) for name in query.GetJointOrder()] if query else []
    found = [
        k
        for k, name in enumerate(joints)
        if reference.joint in (name, name.rpartition("/")[2])
    ]
    if len(found) != 1:
        listed = ", ".join(joints[:8]) + (", ..." if len(joints) > 8 else "")
        what = "no" if not found else f"{len(found)} joints named"
        message = f"{label} has {what} '{reference.joint}' in its skeleton ({listed})"
        refuse(f"{path}.joint", message)
    return query, found[0]
