"""How far a rig is from what it must keep clear of: floor's edge, boxes, and paths."""

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..stage.stage import Stage, floor_margin, rail_crosses
from .rig import rig_place
from .shape import Rig

RAIL_SAMPLES = 25
WALKED_EVERY = 4  # samples of a path
_STEPS = np.arange(RAIL_SAMPLES, dtype=np.float64)


def rail_faults(stage: Stage, rig: Rig) -> dict[str, float]:
    """Return what a rig breaks of the stage: by name, how far off, above 0.

    `floor` is in metres beyond the edge, `height` in metres outside the range; a
    keep-out is named `keep_out:<name>` and counts 1.
    """
    found: dict[str, float] = {}
    (low, high), (lowest, highest) = stage.heights, rig.heights_m
    off = max(low - lowest, highest - high)
    if off > 1e-6:
        found["height"] = off
    if stage.floor is None and not stage.names:
        return found
    places = rail_places(rig)
    if stage.floor is not None:
        beyond = -float(floor_margin(stage, places[:, [0, 2]]).min())
        if beyond > 0:
            found["floor"] = beyond
    for name, hit in zip(stage.names, rail_crosses(stage, places), strict=True):
        if hit:
            found[f"keep_out:{name}"] = 1.0
    return found


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
