"""The parts of a set in an OpenUSD scene, as it is composed.

Meshes, cubes, cylinders and planes count, with instances of them, where they are
visible and of purpose default or render. A set stands still: what is animated in it is
taken at its first sample. A mesh that is subdivided counts by its cage. A part that
may be taken out has the attribute `carrellata:wild`, itself or any prim over it.
"""

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from ...solver.arrays import FloatArray, IntArray
from ..job.stage import SetSpec
from ..job.world import inside_from_scene
from ..subjects.faults import SubjectError
from ..subjects.usd import axes_of_scene, find_prim, opened_scene
from .baked import MAX_TRIANGLES, ScenePart, too_many
from .faults import SetError, refuse_set
from .polygons import triangles_of
from .primitives import cube, cylinder, plane

_KINDS = ("Mesh", "Cube", "Cylinder", "Plane")
_SIDES = 24  # of a cylinder


def usd_parts(asked: SetSpec, place: Path, path: str) -> tuple[str, list[ScenePart]]:
    """Return the digest of a scene's layers, and its parts.

    Args:
        asked: the set's table in the job.
        place: of the scene.
        path: the table, `shots[2].stage.set`.

    Raises:
        SetError: the extra is missing, the scene or a prim cannot be used.
    """
    label = f"'{asked.file}'"
    if find_spec("pxr") is None:
        refuse_set(
            f"{path}.file", f'{label} needs an extra: pip install "carrellata[scene]"'
        )
    try:
        stage, digest = opened_scene(place, f"{path}.file", label)
        metres, up = axes_of_scene(stage, asked, path, label)
        roots = [
            find_prim(stage, name, f"{path}.prims[{k}]", label)
            for k, name in enumerate(asked.prims)
        ]
    except SubjectError as error:
        raise SetError(error.faults) from error
    parts = list(_parts(stage, roots or [stage.GetPseudoRoot()], asked, path))
    known = {part.name for part in parts}
    for k, root in enumerate(roots):
        name = str(root.GetPath())
        if not any(_covers(name, one) for one in known):
            message = f"'{name}' of {label} has no triangle that is seen"
            refuse_set(f"{path}.prims[{k}]", message)
    inside = [
        part._replace(
            points=inside_from_scene(part.points * metres, "z" if up == "Z" else "y")
        )
        for part in parts
    ]
    return digest, inside


def _covers(root: str, name: str) -> bool:
    return name == root or name.startswith(root + "/")


def _parts(
    stage: Any, roots: list[Any], asked: SetSpec, path: str
) -> Iterator[ScenePart]:
    """Yield the parts below prims, in the order of the scene, none twice."""
    from pxr import Usd, UsdGeom

    time = Usd.TimeCode.EarliestTime()
    cache = UsdGeom.XformCache(time)
    seen, total, skipped = set(), 0, []
    for root in roots:
        walk = iter(Usd.PrimRange(root, Usd.TraverseInstanceProxies()))
        for prim in walk:
            name = str(prim.GetPath())
            imageable = UsdGeom.Imageable(prim)
            if name in seen or not imageable:
                continue
            seen.add(name)
            if imageable.ComputeVisibility(time) == UsdGeom.Tokens.invisible:
                walk.PruneChildren()
                continue
            if imageable.ComputePurpose() not in ("default", "render"):
                continue
            if prim.IsA(UsdGeom.PointInstancer):
                walk.PruneChildren()
                found = _scattered(prim, time, cache)
            elif prim.GetTypeName() in _KINDS:
                pose = np.array(cache.GetLocalToWorldTransform(prim))
                found = [_placed(*_shape(prim, time, path), pose)]
            else:
                if prim.IsA(UsdGeom.Gprim):
                    skipped.append((name, prim.GetTypeName()))
                continue
            wild = _is_wild(prim)
            points, triangles = _joined(found)
            total += len(triangles)
            if total > MAX_TRIANGLES:
                refuse_set(f"{path}.file", too_many(f"'{asked.file}'", total))
            if len(triangles):
                yield ScenePart(name, points, triangles, wild)
    if skipped:
        name, kind = skipped[0]
        more = f", and {len(skipped) - 1} more" if len(skipped) > 1 else ""
        message = (
            f"'{name}' is a {kind}{more}; a set is read from meshes, cubes, cylinders "
            "and planes"
        )
        refuse_set(f"{path}.file", message)


def _is_wild(prim: Any) -> bool:
    while prim and not prim.IsPseudoRoot():
        mark = prim.GetAttribute("carrellata:wild")
        if mark and mark.HasAuthoredValue():
            return bool(mark.Get())
        prim = prim.GetParent()
    return False


def _joined(
    found: list[tuple[FloatArray, IntArray]],
) -> tuple[FloatArray, IntArray]:
    """Return several shapes as one."""
    if len(found) == 1:
        return found[0]
    starts = np.cumsum([0, *(len(points) for points, _ in found)])
    if not found:
        return np.empty((0, 3)), np.empty((0, 3), dtype=np.int64)
    return (
        np.concatenate([points for points, _ in found]),
        np.concatenate(
            [each + start for (_, each), start in zip(found, starts, strict=False)]
        ),
    )


def _placed(
    points: FloatArray, triangles: IntArray, pose: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Return a shape where a pose puts it; a mirrored one keeps its outside out."""
    moved = points @ pose[:3, :3] + pose[3, :3]
    if np.linalg.det(pose[:3, :3]) < 0:
        triangles = triangles[:, ::-1]
    return moved, triangles


def _scattered(prim: Any, time: Any, cache: Any) -> list[tuple[FloatArray, IntArray]]:
    """Return what an instancer scatters, each where it is."""
    from pxr import Usd, UsdGeom

    instancer = UsdGeom.PointInstancer(prim)
    poses = instancer.ComputeInstanceTransformsAtTime(
        time,
        time,
        UsdGeom.PointInstancer.ExcludeProtoXform,
        UsdGeom.PointInstancer.IgnoreMask,
    )
    which = instancer.GetProtoIndicesAttr().Get(time) or []
    hidden = set(instancer.GetInvisibleIdsAttr().Get(time) or [])
    ids = instancer.GetIdsAttr().Get(time) or range(len(which))
    world = np.array(cache.GetLocalToWorldTransform(prim))
    protos = []
    for target in instancer.GetPrototypesRel().GetForwardedTargets():
        root = prim.GetStage().GetPrimAtPath(target)
        over = np.array(cache.GetLocalToWorldTransform(root.GetParent()))
        shapes = []
        for each in Usd.PrimRange(root, Usd.TraverseInstanceProxies()):
            if each.GetTypeName() not in _KINDS:
                continue
            pose = np.array(cache.GetLocalToWorldTransform(each)) @ np.linalg.inv(over)
            shapes.append(_placed(*_shape(each, time, str(each.GetPath())), pose))
        protos.append(shapes)
    found = []
    for one, k, pose in zip(ids, which, poses, strict=False):
        if one not in hidden and 0 <= k < len(protos):
            to = np.array(pose) @ world
            found += [_placed(points, faces, to) for points, faces in protos[k]]
    return found


def _shape(prim: Any, time: Any, path: str) -> tuple[FloatArray, IntArray]:
    """Return the points and triangles of a prim in its own axes."""
    from pxr import UsdGeom

    kind = prim.GetTypeName()
    if kind == "Cube":
        return cube(float(UsdGeom.Cube(prim).GetSizeAttr().Get(time)))
    if kind == "Cylinder":
        shape = UsdGeom.Cylinder(prim)
        return cylinder(
            float(shape.GetRadiusAttr().Get(time)),
            float(shape.GetHeightAttr().Get(time)),
            str(shape.GetAxisAttr().Get(time)),
            _SIDES,
        )
    if kind == "Plane":
        flat = UsdGeom.Plane(prim)
        return plane(
            float(flat.GetWidthAttr().Get(time)),
            float(flat.GetLengthAttr().Get(time)),
            str(flat.GetAxisAttr().Get(time)),
        )
    mesh = UsdGeom.Mesh(prim)
    points = np.array(mesh.GetPointsAttr().Get(time) or [], dtype=np.float64)
    counts = np.array(mesh.GetFaceVertexCountsAttr().Get(time) or [], dtype=np.int64)
    corners = np.array(mesh.GetFaceVertexIndicesAttr().Get(time) or [], dtype=np.int64)
    points = points.reshape(-1, 3)
    _refuse_broken(prim, points, counts, corners, path)
    holes = np.array(mesh.GetHoleIndicesAttr().Get(time) or [], dtype=np.int64)
    if len(holes):
        kept = ~np.isin(np.arange(len(counts)), holes)
        corners, counts = corners[np.repeat(kept, counts)], counts[kept]
    triangles = triangles_of(points, counts, corners)
    if mesh.GetOrientationAttr().Get(time) == UsdGeom.Tokens.leftHanded:
        triangles = triangles[:, ::-1]
    return points, triangles


def _refuse_broken(
    prim: Any, points: FloatArray, counts: IntArray, corners: IntArray, path: str
) -> None:
    name = str(prim.GetPath())
    if counts.sum() != len(corners):
        message = (
            f"'{name}' has faces of {counts.sum()} corners and lists {len(corners)}"
        )
        refuse_set(f"{path}.file", message)
    if len(corners) and not (corners.min() >= 0 and corners.max() < len(points)):
        message = (
            f"'{name}' has {len(points)} points and a face of point {corners.max()}"
        )
        refuse_set(f"{path}.file", message)
    if not np.isfinite(points).all():
        refuse_set(f"{path}.file", f"'{name}' has a point that is not finite")
