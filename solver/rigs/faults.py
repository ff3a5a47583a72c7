"""What a rig breaks of a stage: the floor's edge, heights, boxes, and the set."""

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..sight.footprint import ALMOST_M, KERB_M, footprint_of
from ..sight.set_mesh import SetMesh
from ..sight.tree import WILD
from ..stage.outline import inside_ring
from ..stage.stage import Stage, floor_margin, rail_crosses
from .clearance import laid_places, rail_places
from .shape import Rig

LaidSpan = tuple[float, float]
"""Ends of laid track as positions along a rail [m]; see `LaidTrack`."""


def rail_faults(
    stage: Stage, rig: Rig, laid: LaidSpan | None = None
) -> dict[str, float]:
    """Return what a rig breaks of the stage: by name, how far off, above 0.

    `floor` is in metres beyond the edge, and `floor_hole:<number>` in metres inside a
    hole; `height` in metres outside the range; a keep-out is named `keep_out:<name>`
    and counts 1; a part of the set `set:<name>`, in metres that it stands in the rig's
    room, wild parts left out; `step` is in metres by which the set's floor leaves the
    rail, beyond what is wedged.

    Args:
        stage: of the shot.
        rig: with its rail.
        laid: where track is laid beyond the rail, it counts as the rail does; None:
            the rail alone.
    """
    found: dict[str, float] = {}
    (low, high), (lowest, highest) = stage.heights, rig.heights_m
    off = max(low - lowest, highest - high)
    if off > 1e-6:
        found["height"] = off
    if stage.floor is None and not stage.names and stage.set is None:
        return found
    places = rail_places(rig) if laid is None else laid_places(rig, *laid)
    if stage.floor is not None:
        margin = floor_margin(stage, places[:, [0, 2]])
        worst = int(margin.argmin())
        if margin[worst] < 0:
            name = _off_floor(stage, places[worst : worst + 1, [0, 2]])
            found[name] = -float(margin[worst])
    for name, hit in zip(stage.names, rail_crosses(stage, places), strict=True):
        if hit:
            found[f"keep_out:{name}"] = 1.0
    if stage.set is not None:
        found |= _set_faults(stage, stage.set, places)
    return found


def _off_floor(stage: Stage, point: FloatArray) -> str:
    """Return what of a floor a point (1, 2) off it breaks: a hole, or its edge."""
    for k, hole in enumerate(stage.outline[1:]):
        if inside_ring(hole, point)[0]:
            return f"floor_hole:{k}"
    return "floor"


def _set_faults(stage: Stage, mesh: SetMesh, places: FloatArray) -> dict[str, float]:
    stands = footprint_of(mesh, places, stage.ground_m)
    solid = (stands.depth > ALMOST_M) & (mesh.state != WILD)
    found = {
        f"set:{mesh.names[k]}": float(stands.depth[k])
        for k in np.flatnonzero(solid).tolist()
    }
    if stands.step > KERB_M:
        found["step"] = stands.step - KERB_M
    return found


def taken_out_for(stage: Stage, rig: Rig, laid: LaidSpan | None = None) -> BoolArray:
    """Return the wild parts of a stage's set that stand where a rig is, (k,).

    For `laid` see `rail_faults`.
    """
    mesh = stage.set
    if mesh is None or not mesh.wild.any():
        return np.zeros(0 if mesh is None else len(mesh.names), dtype=np.bool_)
    places = rail_places(rig) if laid is None else laid_places(rig, *laid)
    stands = footprint_of(mesh, places, stage.ground_m)
    taken: BoolArray = (stands.depth > ALMOST_M) & (mesh.state == WILD)
    return taken
