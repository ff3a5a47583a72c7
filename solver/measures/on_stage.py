"""What a shot breaks of the stage it is on: its rig, and its lines of sight."""

import numpy as np

from ..arrays import IntArray
from ..frame.hidden import hider_names
from ..rigs.faults import LaidSpan, rail_faults, taken_out_for
from ..rigs.laid import laid_track
from ..shot import Shot
from ..sight.footprint import KERB_M
from ..take import Take

Measures = dict[str, float | int | str | None]
"""What a take is judged by, flat, units in the names."""

_THROUGH = ("keep_out:", "set:")


def taken_out(take: Take) -> tuple[str, ...]:
    """Return names of the set's wild parts that a take needs taken out, in order."""
    mesh, seen = take.shot.stage.set, take.sighted
    if mesh is None or seen is None:
        return ()
    gone = seen.taken_out | taken_out_for(take.shot.stage, take.shot.rig, laid_of(take))
    return tuple(mesh.names[k] for k in np.flatnonzero(gone).tolist())


def laid_of(take: Take) -> LaidSpan | None:
    """Return where track is laid for a take in a set; None without a set or a rail."""
    shot = take.shot
    if shot.stage.set is None or shot.rig.length_m == 0.0:
        return None
    grip = shot.crew.grip
    laid = laid_track(take.rail, max_accel=grip.max_accel, max_jerk=grip.max_jerk)
    return laid.low, laid.high


def on_stage(shot: Shot, hider: IntArray, laid: LaidSpan | None = None) -> Measures:
    """Return what stands in the way of a rig and of the view, by name.

    Args:
        shot: with its rig and stage.
        hider: what hides the primary at each sample of the cut, see `Take`, (n,).
        laid: where track is laid, see `laid_of`.

    Returns:
        Metres by which the rig leaves the floor and the range of heights, the keep-outs
        and parts of the set that it runs through, what hides the primary, and which of
        that a sight line may not pass; None where there is none. In a set also the
        metres by which its floor leaves the rail.
    """
    faults = rail_faults(shot.stage, shot.rig, laid)
    n_boxes = len(shot.stage.names)
    names = hider_names(shot.stage, shot.subjects)
    hides = [k for k in np.unique(hider).tolist() if k >= 0]
    forbidden = [
        k
        for k in hides
        if shot.stage.forbids_sight or (k < n_boxes and shot.stage.sight_forbidden[k])
    ]
    through = [name.partition(":")[2] for name in faults if name.startswith(_THROUGH)]
    off = [each for name, each in faults.items() if name.startswith("floor")]
    step = faults["step"] + KERB_M if "step" in faults else None
    return {
        "rig_off_floor_m": max(off, default=None),
        **({} if shot.stage.set is None else {"rig_step_m": step}),
        "rig_off_height_m": faults.get("height"),
        "rig_through": ", ".join(through) or None,
        "hidden_by": ", ".join(names[k] for k in hides) or None,
        "sight_forbidden": ", ".join(names[k] for k in forbidden) or None,
    }
