"""How far a rig is from what it must keep clear of: floor's edge, boxes, and paths."""

import numpy as np

from ..arrays import FloatArray
from ..compiled import kernel
from ..rig import Rig
from .stage import Stage, floor_margin, rail_crosses

RAIL_SAMPLES = 25
WALKED_EVERY = 4  # samples of a path
_STEPS = np.arange(RAIL_SAMPLES, dtype=np.float64)
DEFAULT_HEIGHT_M = (0.3, 2.6)  # of lenses on usual rigs; common practice, no source


def rail_faults(stage: Stage, rig: Rig) -> dict[str, float]:
    """Return what a rig breaks of the stage: by name, how far off, above 0.

    `floor` is in metres beyond the edge, `height` in metres outside the range; a
    keep-out is named `keep_out:<name>` and counts 1.
    """
    places = rail_places(rig)
    found: dict[str, float] = {}
    if stage.floor is not None:
        beyond = -float(floor_margin(stage, places[:, [0, 2]]).min())
        if beyond > 0:
            found["floor"] = beyond
    low, high = stage.heights
    lens = places[:, 1].tolist()
    off = max(low - min(lens), max(lens) - high)
    if off > 1e-6:
        found["height"] = off
    if not stage.names:
        return found
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


def path_gap_m(rig: Rig, feet: FloatArray) -> float:
    """Return the least distance on the ground of a rail from where anyone walks [m].

    Args:
        rig: with its run-up.
        feet: of every subject, (n_subjects, n, 3) [m].
    """
    gap: float = ground_gap(rail_places(rig), feet)
    return gap


@kernel
def ground_gap(rail, feet):
    """Return the least distance on the ground of a polyline from anyone's feet [m].

    `rail` is (k, 3), `feet` (n_subjects, n, 3) [m], of which every fourth is read.
    """
    least = np.inf
    for k in range(max(rail.shape[0] - 1, 1)):
        x, z = rail[k, 0], rail[k, 2]
        end = min(k + 1, rail.shape[0] - 1)
        along_x, along_z = rail[end, 0] - x, rail[end, 2] - z
        square = max(along_x * along_x + along_z * along_z, 1e-12)
        for i in range(feet.shape[0]):
            for j in range(0, feet.shape[1], WALKED_EVERY):
                dx, dz = feet[i, j, 0] - x, feet[i, j, 2] - z
                share = (dx * along_x + dz * along_z) / square
                share = min(max(share, 0.0), 1.0)
                gap = np.hypot(dx - share * along_x, dz - share * along_z)
                least = min(least, gap)
    return least


def room_m(stage: Stage, targets: FloatArray) -> float:
    """Return how far from (n, 3) targets the floor lets a camera stand [m]."""
    if stage.floor is None:
        return float("inf")
    off = targets[:, None, [0, 2]] - stage.floor
    return float(np.hypot(off[..., 0], off[..., 1]).max())
