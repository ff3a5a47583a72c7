"""How far a rig is from what it must keep clear of: floor's edge, boxes, and paths."""

import numpy as np

from .arrays import FloatArray
from .rig import Rig
from .stage import Stage, floor_margin, rail_crosses

RAIL_SAMPLES = 25
DEFAULT_HEIGHT_M = (0.3, 2.6)  # of lenses on usual rigs; common practice, no source


def rail_faults(stage: Stage, rig: Rig) -> dict[str, float]:
    """Return what a rig breaks of the stage: by name, how far off, above 0.

    `floor` is in metres beyond the edge, `height` in metres outside the range; a
    keep-out is named `keep_out:<name>` and counts 1.
    """
    places = rail_places(rig)
    found: dict[str, float] = {}
    beyond = -float(floor_margin(stage, places[:, [0, 2]]).min())
    if beyond > 0:
        found["floor"] = beyond
    low, high = stage.heights
    off = max(low - float(places[:, 1].min()), float(places[:, 1].max()) - high)
    if off > 1e-6:
        found["height"] = off
    for name, hit in zip(stage.names, rail_crosses(stage, places), strict=True):
        if hit:
            found[f"keep_out:{name}"] = 1.0
    return found


def rail_places(rig: Rig) -> FloatArray:
    """Return lens places along a whole rail, (k, 3) [m]; one for sticks."""
    count = RAIL_SAMPLES if rig.length_m > 0 else 1
    return rig.places(np.linspace(0.0, rig.length_m, count))


def path_gap_m(rig: Rig, feet: FloatArray) -> float:
    """Return the least distance on the ground of a rail from where anyone walks [m].

    Args:
        rig: with its run-up.
        feet: of every subject, (n_subjects, n, 3) [m].
    """
    rail = rail_places(rig)[:, [0, 2]]
    walked = feet[:, ::4][..., [0, 2]].reshape(-1, 2)
    if len(rail) == 1:
        return float(np.hypot(*(walked - rail[0]).T).min())
    start, along = rail[:-1], np.diff(rail, axis=0)
    off = walked[:, None] - start
    square = np.maximum(np.einsum("kc,kc->k", along, along), 1e-12)
    share = np.clip(np.einsum("nkc,kc->nk", off, along) / square, 0.0, 1.0)
    gap = off - share[..., None] * along
    return float(np.hypot(gap[..., 0], gap[..., 1]).min())


def room_m(stage: Stage, targets: FloatArray) -> float:
    """Return how far from (n, 3) targets the floor lets a camera stand [m]."""
    if stage.floor is None:
        return float("inf")
    off = targets[:, None, [0, 2]] - stage.floor
    return float(np.hypot(off[..., 0], off[..., 1]).max())
