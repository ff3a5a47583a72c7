"""What a shot breaks of the stage it is on: its rig, and its lines of sight."""

import numpy as np

from ..arrays import IntArray
from ..frame.hidden import hider_names
from ..rigs.faults import rail_faults, taken_out_for
from ..shot import Shot
from ..take import Take

Measures = dict[str, float | int | str | None]
"""What a take is judged by, flat, units in the names."""

_THROUGH = ("keep_out:", "set:")


def taken_out(take: Take) -> tuple[str, ...]:
    """Return names of the set's wild parts that a take needs taken out, in order."""
    mesh, seen = take.shot.stage.set, take.sighted
    if mesh is None or seen is None:
        return ()
    gone = seen.taken_out | taken_out_for(take.shot.stage, take.shot.rig)
    return tuple(mesh.names[k] for k in np.flatnonzero(gone).tolist())


def on_stage(shot: Shot, hider: IntArray) -> Measures:
    """Return what stands in the way of a rig and of the view, by name.

    Args:
        shot: with its rig and stage.
        hider: what hides the primary at each sample of the cut, see `Take`, (n,).

    Returns:
        Metres by which the rig leaves the floor and the range of heights, the keep-outs
        and parts of the set that it runs through, what hides the primary, and which of
        that a sight line may not pass; None where there is none.
    """
    faults = rail_faults(shot.stage, shot.rig)
    n_boxes = len(shot.stage.names)
    names = hider_names(shot.stage, shot.subjects)
    hides = [k for k in np.unique(hider).tolist() if k >= 0]
    forbidden = [
        k
        for k in hides
        if shot.stage.forbids_sight or (k < n_boxes and shot.stage.sight_forbidden[k])
    ]
    through = [name.partition(":")[2] for name in faults if name.startswith(_THROUGH)]
    return {
        "rig_off_floor_m": faults.get("floor"),
        "rig_off_height_m": faults.get("height"),
        "rig_through": ", ".join(through) or None,
        "hidden_by": ", ".join(names[k] for k in hides) or None,
        "sight_forbidden": ", ".join(names[k] for k in forbidden) or None,
    }
