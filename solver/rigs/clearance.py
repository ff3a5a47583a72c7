"""How far a rig is from what it must keep clear of: floor's edge, boxes, set, paths."""

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..compiled.kernel import kernel
from ..sight.footprint import KERB_M, footprint_of
from ..sight.set_mesh import SetMesh
from ..sight.tree import WILD
from ..stage.stage import Stage, floor_margin, rail_crosses
from .rig import rig_place
from .shape import Rig

RAIL_SAMPLES = 25
WALKED_EVERY = 4  # samples of a path
_STEPS = np.arange(RAIL_SAMPLES, dtype=np.float64)


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


def rail_places(rig: Rig) -> FloatArray:
    """Return lens places along a whole rail, (k, 3) [m]; one for sticks."""
    length = rig.length_m
    if length == 0.0:
        return rig.shape.origin[None]
    s = _STEPS * (length / (RAIL_SAMPLES - 1))
    s[-1] = length
    return rig.places(s)


@kernel
def rail_samples(rig):
    """Return lens places along a whole rail, (RAIL_SAMPLES, 3) [m]; one for sticks."""
    n = RAIL_SAMPLES if rig.length > 0.0 else 1
    places = np.empty((n, 3))
    for k in range(n):
        s = rig.length if 0 < k == n - 1 else k * (rig.length / (RAIL_SAMPLES - 1))
        places[k, 0], places[k, 1], places[k, 2] = rig_place(rig, s)
    return places


@kernel
def rail_gap(rig, bodies):
    """Return the least distance on the ground of a rail from where anyone walks [m].

    `bodies` are feet and crowns, (n_subjects, 2, n, 3) [m]; every fourth foot is read.
    """
    rail = rail_samples(rig)
    least = np.inf
    for k in range(max(rail.shape[0] - 1, 1)):
        x, z = rail[k, 0], rail[k, 2]
        end = min(k + 1, rail.shape[0] - 1)
        along_x, along_z = rail[end, 0] - x, rail[end, 2] - z
        square = max(along_x * along_x + along_z * along_z, 1e-12)
        for i in range(bodies.shape[0]):
            for j in range(0, bodies.shape[2], WALKED_EVERY):
                dx, dz = bodies[i, 0, j, 0] - x, bodies[i, 0, j, 2] - z
                share = (dx * along_x + dz * along_z) / square
                share = min(max(share, 0.0), 1.0)
                off_x, off_z = dx - share * along_x, dz - share * along_z
                least = min(least, off_x * off_x + off_z * off_z)
    return np.sqrt(least)
