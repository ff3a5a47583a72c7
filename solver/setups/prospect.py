"""Lower bounds on what a setup breaks, computed before and while the crew works it.

The bounds are on the safe side. They know where the lens is, or only that it is
somewhere on the rail, and that a head that is held has its eyes in frame, wherever in
the frame; the stage is left out. On the image plane an angle takes least room about the
optical axis, and most outward from the corner of the frame. Heads are judged in the
shaken picture, the size in the unshaken one: what the shake moves and turns at most
widens the bounds. Heads that are lost, and who comes too near, are counted as soon as
the camera is known at some frames.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import ONE
from ..compiled.kernel import kernel
from ..elementary.arctangent import asin, atan2
from ..elementary.exponential import log2
from ..elementary.trigonometry import tan
from ..rigs.clearance import RAIL_SAMPLES, rail_samples
from .judge import LOOSE_LOG2, MUST_SIZE, SIZE_KEPT_LOG2, body_gap, point_of

LOOKED_AT = 2  # every so many frames of a rail; those between can only add to the lost
GLANCES = 8  # every so many frames; where nothing is lost there, no more is looked at
ROUNDING = 1e-9  # of an angle [rad], a size in octaves, a share of the frames


class Within(NamedTuple):
    """What a setup may break, and the distances of its stage.

    Attributes:
        at_most: counts as `score.Judged.broken`; infinite: anything.
        least_m: from the lens to anybody.
        clear_m: from a rail to anybody's path, 0 where the rail is given.
    """

    at_most: float
    least_m: float
    clear_m: float


class Bound(NamedTuple):
    """What bounds need of lens and shake.

    Attributes:
        corner_rad: angle from the optical axis to a corner of the frame, at most.
        ty: tangent of half the vertical angle of view.
        shift_m: that the shake moves the lens, at most.
        turn_rad: that the shake turns the optical axis, at most.
        may_be_out: share of the frames in which a head may be cut.
    """

    corner_rad: float
    ty: float
    shift_m: float
    turn_rad: float
    may_be_out: float


@kernel
def may_hold(rig, action, bound, at_most):
    """Tell whether what a rail breaks for certain adds up to no more than `at_most`.

    `bound` is a `Bound`; `at_most` counts as `score.Judged.broken`.
    """
    places = rail_samples(rig)
    # No part of the rail is further from one of the places.
    near = rig.length / (RAIL_SAMPLES - 1) / 2 + bound.shift_m
    return lost_on_rail(places, near, action, bound, at_most, GLANCES) == 0 or (
        lost_on_rail(places, near, action, bound, at_most, LOOKED_AT) >= 0
    )


@kernel
def frames_may_hold(places, action, bound, at_most):
    """Tell as `may_hold` does where the lens is known, (n, 3) [m], or (1, 3)."""
    return lost_from(places, action, bound, at_most, GLANCES) == 0 or (
        lost_from(places, action, bound, at_most, ONE) >= 0
    )


@kernel
def lost_on_rail(places, near, action, bound, at_most, every):
    """Return at how many frames nobody on a rail can hold the frame; -1: too many.

    Args:
        places: along the rail, (n, 3) [m].
        near: from one of which no part of it is further [m].
        action: the `Action`.
        bound: the `Bound`.
        at_most: that may be broken.
        every: so many frames are looked at.
    """
    most_apart, most_missized = most_lost(at_most, bound, action.seen)
    asked = asked_of_frames(action)
    seen = action.seen
    pair = fit = 0  # the place that did for the frame before is tried first
    found = 0
    n = places.shape[0]
    for f in range(0, seen.shape[0], every):
        if not seen[f]:
            continue
        lost = 1
        for i in range(n):
            at = (pair + i) % n
            if pair_fits(point_of(places, at), asked, f, bound, near):
                pair, lost = at, 0
                break
        most_apart -= lost
        found += lost
        lost = 1
        for i in range(n):
            at = (fit + i) % n
            if size_fits(point_of(places, at), asked, f, bound, near):
                fit, lost = at, 0
                break
        most_missized -= lost
        found += lost
        if most_apart < 0.0 or most_missized < 0.0:
            return -1
    return found if at_most >= 0.0 else -1


@kernel
def lost_from(places, action, bound, at_most, every):
    """Return as `lost_on_rail` does where the lens is known, (n, 3) [m], or (1, 3)."""
    most_apart, most_missized = most_lost(at_most, bound, action.seen)
    asked = asked_of_frames(action)
    seen = action.seen
    found = 0
    last = places.shape[0] - 1
    for f in range(0, seen.shape[0], every):
        if not seen[f]:
            continue
        cam = point_of(places, min(f, last))
        if not pair_fits(cam, asked, f, bound, bound.shift_m):
            most_apart -= 1.0
            found += 1
        if not size_fits(cam, asked, f, bound, bound.shift_m):
            most_missized -= 1.0
            found += 1
        if most_apart < 0.0 or most_missized < 0.0:
            return -1
    return found if at_most >= 0.0 else -1


@kernel
def too_near(places, bodies, least):
    """Return by how much anybody comes nearer to the lens than `least` [m].

    Args:
        places: of the lens, (n, 3 or more), or one row for all frames [m].
        bodies: feet and crowns, (n_subjects, 2, n, 3) [m].
        least: distance that is kept [m].
    """
    closest = np.inf
    last = places.shape[0] - 1
    for f in range(bodies.shape[2]):
        cam = point_of(places, min(f, last))
        for k in range(bodies.shape[0]):
            closest = min(closest, body_gap(bodies, k, f, cam))
    return max(least - closest - ROUNDING, 0.0)


@kernel
def asked_of_frames(action):
    """Return eyes, those who must be held, top and low, and log2 of the asked size."""
    return action.eyes, action.held, action.top, action.low, action.asked_log2


@kernel
def most_lost(at_most, bound, seen):
    """Return how many frames may be without all who must be held, or the size.

    Where the head of the primary is cut, nothing is known of the others nor of the
    size; but that breaks a must of its own.
    """
    shown = 0
    for f in range(seen.shape[0]):
        shown += seen[f]
    out = bound.may_be_out + ROUNDING
    apart = 2 * out + bound.may_be_out * at_most
    missized = 1.0 - MUST_SIZE + out + MUST_SIZE * at_most
    return apart * shown, missized * shown


@kernel
def apart(cam, one, two, near):
    """Return the angle between two points from a place, and how much it may be off.

    The place is known to within `near` [m]. An error of pi tells nothing.
    """
    ax, ay, az = one[0] - cam[0], one[1] - cam[1], one[2] - cam[2]
    bx, by, bz = two[0] - cam[0], two[1] - cam[1], two[2] - cam[2]
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    first = np.sqrt(ax * ax + ay * ay + az * az)
    second = np.sqrt(bx * bx + by * by + bz * bz)
    cross = np.sqrt(x * x + y * y + z * z)
    angle = atan2(cross, ax * bx + ay * by + az * bz)
    if min(first, second) <= near:
        return angle, np.pi
    off = asin(near / first) + asin(near / second)
    return angle, off + ROUNDING


@kernel
def pair_fits(cam, asked, frame, bound, near):
    """Tell whether the eyes of all may fit into a frame from within `near` [m]."""
    eyes_at, held, _, _, _ = asked
    for k in range(held.shape[0]):
        if np.isnan(held[k, frame, 0]):
            continue
        other = (held[k, frame, 0], held[k, frame, 1], held[k, frame, 2])
        angle, off = apart(cam, point_of(eyes_at, frame), other, near)
        if angle - off > 2 * bound.corner_rad:
            return False
    return True


@kernel
def size_fits(cam, asked, frame, bound, near):
    """Tell whether a size may be near enough from within `near` [m] of a place."""
    eyes_at, _, tops_at, lows_at, sizes = asked
    eyes, top, low = (
        point_of(eyes_at, frame),
        point_of(tops_at, frame),
        point_of(lows_at, frame),
    )
    asked_log2 = sizes[frame]
    span, off = apart(cam, top, low, near)
    least = tan(max(span - off, 0.0) / 2) / bound.ty
    if log2(max(least, 1e-9)) - asked_log2 > SIZE_KEPT_LOG2 + ROUNDING:
        return False
    half = bound.corner_rad + bound.turn_rad
    up, off = apart(cam, eyes, top, near)
    up += off
    down, off = apart(cam, eyes, low, near)
    down += off
    if half + max(up, down) >= np.pi / 2:
        return True
    most = tan(half + up) + tan(half + down) - 2 * tan(half)
    return log2(max(most / (2 * bound.ty), 1e-9)) - asked_log2 >= LOOSE_LOG2 - ROUNDING
