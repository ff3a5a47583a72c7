"""What a rig breaks of a stage: the floor's edge, heights, boxes, and the set."""

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..sight.footprint import KERB_M, footprint_of
from ..sight.set_mesh import SetMesh
from ..sight.tree import WILD
from ..stage.stage import Stage, floor_margin, rail_crosses
from .clearance import rail_places
from .shape import Rig


def rail_faults(stage: Stage, rig: Rig) -> dict[str, float]:
    """Return what a rig breaks of the stage: by name, how far off, above 0.

    `floor` is in metres beyond the edge, `height` in metres outside the range; a
    keep-out is named `keep_out:<name>` and counts 1; a part of the set `set:<name>`, in
    metres that it stands in the rig's room, wild parts left out; `step` is in metres by
    which the set's floor leaves the rail, beyond what is wedged.
    """
    found: dict[str, float] = {}
    (low, high), (lowest, highest) = stage.heights, rig.heights_m
    off = max(low - lowest, highest - high)
    if off > 1e-6:
        found["height"] = off
    if stage.floor is None and not stage.names and stage.set is None:
        return found
    places = rail_places(rig)
    if stage.floor is not None:
        beyond = -float(floor_margin(stage, places[:, [0, 2]]).min())
        if beyond > 0:
            found["floor"] = beyond
    for name, hit in zip(stage.names, rail_crosses(stage, places), strict=True):
        if hit:
            found[f"keep_out:{name}"] = 1.0
    if stage.set is not None:
        found |= _set_faults(stage, stage.set, places)
    return found


def _set_faults(stage: Stage, mesh: SetMesh, places: FloatArray) -> dict[str, float]:
    stands = footprint_of(mesh, places, stage.ground_m)
    found = {
        f"set:{mesh.names[k]}": float(stands.depth[k])
        for k in np.flatnonzero((stands.depth > 1e-9) & (mesh.state != WILD)).tolist()
    }
    if stands.step > KERB_M:
        found["step"] = stands.step - KERB_M
    return found


def taken_out_for(stage: Stage, rig: Rig) -> BoolArray:
    """Return the wild parts of a stage's set that stand where a rig is, (k,)."""
    mesh = stage.set
    if mesh is None or not mesh.wild.any():
        return np.zeros(0 if mesh is None else len(mesh.names), dtype=np.bool_)
    stands = footprint_of(mesh, rail_places(rig), stage.ground_m)
    taken: BoolArray = (stands.depth > 1e-9) & (mesh.state == WILD)
    return taken
