"""Who is hidden: what stands between the lens and the eyes of the primary subject."""

import numpy as np

from ..action.acted import of_each
from ..action.body import EYES
from ..action.subject import Subject
from ..arrays import FloatArray, IntArray
from ..compiled.kernel import kernel
from ..stage.stage import Stage
from ..stage.stage import hidden_by as boxes_between

BODY_RADIUS_M = 0.25  # of whoever stands in the way; common practice, no source
NOTHING = -1


def hiding(
    stage: Stage,
    subjects: tuple[Subject, ...],
    primary: IntArray,
    times: FloatArray,
    place: FloatArray,
) -> IntArray:
    """Return what hides the eyes of the primary from the lens at each sample, (n,).

    Args:
        stage: with the keep-outs.
        subjects: everybody.
        primary: index of the primary subject, (n,).
        times: of the samples, (n,) [s].
        place: of the lens, shake included, (n, 3) [m].

    Returns:
        `NOTHING`, or an index of `hider_names`: keep-outs before people, each in their
        order. What the set hides `sight` finds.
    """
    out = np.full(len(times), NOTHING, dtype=np.int64)
    n_boxes = len(stage.names)
    if n_boxes == 0 and len(subjects) == 1:
        return out
    eyes = np.empty((len(times), 3))
    for k, mine in of_each(primary):
        eyes[mine] = subjects[k].at(times[mine], 1.0)
    if len(subjects) > 1:
        bodies = np.array(
            [[one.at(times, 0.0), one.at(times, 1.0 / EYES)] for one in subjects]
        )
        hide_behind_people(bodies, primary, place, eyes, n_boxes, out)
    if n_boxes:
        hits = boxes_between(stage, place, eyes)
        behind = hits.any(axis=1)
        out[behind] = hits[behind].argmax(axis=1)
    return out


def hider_names(stage: Stage, subjects: tuple[Subject, ...]) -> tuple[str, ...]:
    """Return names of keep-outs, people and the set's parts, as they are counted."""
    parts = () if stage.set is None else stage.set.names
    return (*stage.names, *(one.name for one in subjects), *parts)


@kernel
def hide_behind_people(bodies, primary, place, eyes, first, out):
    """Fill `out` (n,) with `first` plus the index of who hides the primary's eyes."""
    for i in range(eyes.shape[0]):
        for k in range(bodies.shape[0]):
            if k != primary[i] and stands_between(bodies, k, i, place[i], eyes):
                out[i] = first + k
                break


@kernel
def stands_between(bodies, k, f, cam, aim):
    """Tell whether body k stands in the line from the lens to the aim of a frame.

    `bodies` are feet and crowns (n_subjects, 2, n, 3) [m]; a body is an upright
    cylinder of `BODY_RADIUS_M` from its feet to its crown.
    """
    dx, dz = aim[f, 0] - cam[0], aim[f, 2] - cam[2]
    square = dx * dx + dz * dz
    if square < 1e-9:
        return False
    foot_x, foot_z = bodies[k, 0, f, 0], bodies[k, 0, f, 2]
    share = ((foot_x - cam[0]) * dx + (foot_z - cam[2]) * dz) / square
    if share <= 0.0 or share >= 1.0:
        return False
    off_x, off_z = cam[0] + share * dx - foot_x, cam[2] + share * dz - foot_z
    height = cam[1] + share * (aim[f, 1] - cam[1])
    low, high = bodies[k, 0, f, 1], bodies[k, 1, f, 1]
    near = off_x * off_x + off_z * off_z < BODY_RADIUS_M * BODY_RADIUS_M
    return near and low <= height <= high
