"""What the set does to a setup that is tried: whom it hides, and what is taken out."""

from typing import NamedTuple

import numpy as np

from ..action.framing import framing_at, primary_of
from ..arrays import BoolArray, FloatArray, IntArray
from ..frame.sight import SightBodies, SightCamera, bodies_seen, sighted
from ..rigs.faults import LaidSpan, taken_out_for
from ..rigs.laid import laid_track
from ..rigs.shape import Rig, StudiedRig
from ..shot import Shot
from ..stage.stage import Stage

LOOKED_AT = 3  # every so many frames; eyes at every one


class InSet(NamedTuple):
    """What came of a setup in a set.

    Attributes:
        hidden: share of the primary's points in the picture that something hides.
        lost: share of frames in which the eyes of somebody followed are hidden.
        hiders: names of what hides anybody followed, most first.
        taken_out: names of wild parts that have to go, in the order of the set.
        laid: where track is laid, about; None on sticks.
    """

    hidden: float
    lost: float
    hiders: tuple[str, ...]
    taken_out: tuple[str, ...]
    laid: LaidSpan | None


class Watching(NamedTuple):
    """Who is looked at in a shot: the bodies, the primary of each frame, all names."""

    bodies: SightBodies
    primary: IntArray
    names: tuple[str, ...]
    followed: BoolArray


def watching_of(shot: Shot) -> Watching:
    """Return who is looked at in a shot whose stage has a set."""
    frames = np.arange(shot.first, shot.last + 1, dtype=np.float64)
    times = shot.times_of(frames)
    people = shot.subjects
    followed = np.array(
        [
            any(framing.weights[k] > 0 for framing in shot.framings)
            for k in range(len(people))
        ]
    )
    bodies = bodies_seen(
        np.array([one.at(times, 0.0) for one in people]),
        np.array([one.at(times, 1.0) for one in people]),
        followed,
    )
    primary = primary_of(shot.framings)[framing_at(shot.framings, times)]
    return Watching(bodies, primary, tuple(one.name for one in people), followed)


def laid_about(shot: Shot, rig: Rig, cams: FloatArray) -> LaidSpan | None:
    """Return where track is laid, from the frames of the cut; None on sticks.

    Over the handles the dolly is taken to go on as at the ends of the cut.

    Args:
        shot: with its handles and the limits of its grip.
        rig: on which the dolly goes.
        cams: lens places at the frames of the cut, (n, 3) [m].
    """
    if not isinstance(rig, StudiedRig) or rig.length_m == 0.0 or len(cams) < 3:
        return None
    s = rig.feet(cams, np.full(len(cams), rig.length_m / 2))
    rate, grip = float(shot.rate), shot.crew.grip
    rail = np.zeros((len(s) + 2, 3))
    rail[1:-1, 0] = s
    for row, handle, end in (
        (0, -shot.handles[0], s[:3]),
        (-1, shot.handles[1], s[-3:]),
    ):
        speed = float(end[2] - end[0]) / 2 * rate
        accel = float(end[0] - 2 * end[1] + end[2]) * rate * rate
        at = end[0] if row == 0 else end[2]
        rail[row] = at + handle / rate * speed, speed, accel
    laid = laid_track(rail, max_accel=grip.max_accel, max_jerk=grip.max_jerk)
    return laid.low, laid.high


def seen_in_set(
    shot: Shot, stage: Stage, watching: Watching, camera: SightCamera, rig: Rig
) -> InSet:
    """Return what the set does to a camera.

    Args:
        shot: that is taken.
        stage: which has a set.
        watching: who is looked at.
        camera: at the frames of the cut.
        rig: that it stands on.
    """
    mesh = stage.set
    assert mesh is not None
    seen = sighted(stage, mesh, watching.bodies, camera, every=LOOKED_AT)
    n = len(watching.primary)
    share = seen.share_hidden[:, ::LOOKED_AT]
    mine = share[watching.primary[::LOOKED_AT], np.arange(share.shape[1])]
    lost = seen.eyes_hidden.any(axis=0)
    found, often = np.unique(seen.hider[seen.hider >= 0], return_counts=True)
    names = (*stage.names, *watching.names, *mesh.names)
    order = np.lexsort((found, -often))
    laid = laid_about(shot, rig, camera.cams[:, :3])
    taken = seen.taken_out | taken_out_for(stage, rig, laid) if mesh.wild.any() else ()
    return InSet(
        hidden=float(mine.mean()),
        lost=float(lost.sum()) / n,
        hiders=tuple(names[k] for k in found[order].tolist()),
        taken_out=tuple(mesh.names[k] for k in np.flatnonzero(taken).tolist()),
        laid=laid,
    )
