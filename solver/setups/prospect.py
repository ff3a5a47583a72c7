"""Lower bounds on what a setup breaks, computed before the crew is simulated.

The bounds are on the safe side. They know where the lens is, or only that it is
somewhere on the rail, and that the aim point is in frame, wherever in the frame; the
stage is left out. On the image plane an angle takes least room about the optical axis,
and most outward from the corner of the frame.
"""

import numpy as np

from ..compiled.kernel import kernel
from ..measures.measure import SIZE_KEPT
from ..rigs.clearance import RAIL_SAMPLES, rail_samples
from .judge import MUST_CLEAR_M, MUST_IN, MUST_SIZE, SIZE_KEPT_LOG2

MAY_BE_OUT = 1.0 - MUST_IN + 1e-9  # share of frames
LOOKED_AT = 2  # every so many frames of a rail; those between can only add to the lost


@kernel
def may_hold(rig, gap, action, half, ty, at_most):
    """Tell whether what a rig breaks for certain adds up to no more than `at_most`.

    `gap` is its `rail_gap`, `half` the angle from the optical axis to the corner of the
    frame, `ty` the tangent of half its height; `at_most` counts as
    `score.Judged.broken`.
    """
    if at_most == np.inf:
        return True
    places = rail_samples(rig)
    if rig.length <= 0.0:
        return frames_may_hold(places, action, half, ty, at_most)
    at_most -= max(0.0, 1.0 - gap / MUST_CLEAR_M)
    most_apart, most_missized = most_lost(at_most, action.seen)
    near = rig.length / (RAIL_SAMPLES - 1) / 2  # no part is further from one of them
    pair = fit = 0  # the place that did for the frame before is tried first
    for f in range(0, action.aim.shape[0], LOOKED_AT):
        if not action.seen[f]:
            continue
        lost = 1
        for i in range(places.shape[0]):
            at = (pair + i) % places.shape[0]
            if pair_fits_near(places[at], action, f, half, near):
                pair, lost = at, 0
                break
        most_apart -= lost
        lost = 1
        for i in range(places.shape[0]):
            at = (fit + i) % places.shape[0]
            if size_fits_near(places[at], action, f, half, ty, near):
                fit, lost = at, 0
                break
        most_missized -= lost
        if most_apart < 0.0 or most_missized < 0.0:
            return False
    return at_most >= 0.0


@kernel
def frames_may_hold(places, action, half, ty, at_most):
    """Tell as `may_hold` does where the lens is known, (n, 3) [m], or (1, 3)."""
    if at_most == np.inf:
        return True
    most_apart, most_missized = most_lost(at_most, action.seen)
    narrow, tangent = np.cos(2.0 * half), np.tan(half)
    for f in range(action.aim.shape[0]):
        if not action.seen[f]:
            continue
        cam = places[min(f, places.shape[0] - 1)]
        if not pair_fits(cam, action, f, narrow):
            most_apart -= 1.0
        if not size_fits(cam, action, f, tangent, ty):
            most_missized -= 1.0
        if most_apart < 0.0 or most_missized < 0.0:
            return False
    return at_most >= 0.0


@kernel
def most_lost(at_most, seen):
    """Return how many frames may be without all who must be held, or the size.

    Where the aim point is out of frame, nothing is known of the others nor of the
    size; but that breaks a must of its own.
    """
    shown = 0
    for f in range(seen.shape[0]):
        shown += seen[f]
    apart = 2 * MAY_BE_OUT + (1.0 - MUST_IN) * at_most
    missized = 1.0 - MUST_SIZE + MAY_BE_OUT + MUST_SIZE * at_most
    return apart * shown, missized * shown


@kernel
def seen_from(cam, one, two):
    """Return dot and length of the cross product of two directions, and lengths."""
    ax, ay, az = one[0] - cam[0], one[1] - cam[1], one[2] - cam[2]
    bx, by, bz = two[0] - cam[0], two[1] - cam[1], two[2] - cam[2]
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    return (
        ax * bx + ay * by + az * bz,
        np.sqrt(x * x + y * y + z * z),
        np.sqrt(ax * ax + ay * ay + az * az),
        np.sqrt(bx * bx + by * by + bz * bz),
    )


@kernel
def pair_fits(cam, action, frame, narrow):
    """Tell whether all fit into a frame; `narrow` is the cosine of its diagonal."""
    for k in range(action.held.shape[0]):
        if np.isnan(action.held[k, frame, 0]):
            continue
        dot, _, one, two = seen_from(cam, action.aim[frame], action.held[k, frame])
        if dot < (narrow - 1e-12) * one * two:
            return False
    return True


@kernel
def size_fits(cam, action, frame, tangent, ty):
    """Tell whether a size can be kept from a place; `tangent` is of half a diagonal."""
    asked = 2.0 ** action.asked_log2[frame] * 2.0 * ty
    top, low, aim = action.top[frame], action.low[frame], action.aim[frame]
    dot, cross, one, two = seen_from(cam, top, low)
    least = 2.0 * cross / max(one * two + dot, 1e-12)
    if least > asked * (1.0 + SIZE_KEPT) * (1.0 + 1e-12):
        return False
    up, rise, _, _ = seen_from(cam, aim, top)
    down, fall, _, _ = seen_from(cam, aim, low)
    if up <= tangent * rise or down <= tangent * fall:
        return True  # beyond a right angle from the axis
    outward = (rise + tangent * up) / (up - tangent * rise)
    outward += (fall + tangent * down) / (down - tangent * fall)
    most = outward - 2.0 * tangent
    return most * (1.0 + SIZE_KEPT) * (1.0 + 1e-12) >= asked


@kernel
def apart(cam, one, two, near):
    """Return the angle between two points from a place, and how much it may be off.

    The place is known to within `near` [m]. An error of pi tells nothing.
    """
    dot, cross, first, second = seen_from(cam, one, two)
    angle = np.arctan2(cross, dot)
    if min(first, second) <= near:
        return angle, np.pi
    return angle, np.arcsin(near / first) + np.arcsin(near / second)


@kernel
def pair_fits_near(cam, action, frame, half, near):
    """Tell whether all may fit into a frame from within `near` [m] of a place."""
    for k in range(action.held.shape[0]):
        if np.isnan(action.held[k, frame, 0]):
            continue
        angle, off = apart(cam, action.aim[frame], action.held[k, frame], near)
        if angle - off > 2 * half:
            return False
    return True


@kernel
def size_fits_near(cam, action, frame, half, ty, near):
    """Tell whether a size may be kept from within `near` [m] of a place."""
    aim, top, low = action.aim[frame], action.top[frame], action.low[frame]
    asked_log2 = action.asked_log2[frame]
    span, off = apart(cam, top, low, near)
    least = np.tan(max(span - off, 0.0) / 2) / ty
    if np.log2(max(least, 1e-9)) - asked_log2 > SIZE_KEPT_LOG2:
        return False
    up, off = apart(cam, aim, top, near)
    up += off
    down, off = apart(cam, aim, low, near)
    down += off
    if half + max(up, down) >= np.pi / 2:
        return True
    most = np.tan(half + up) + np.tan(half + down) - 2 * np.tan(half)
    return np.log2(max(most / (2 * ty), 1e-9)) - asked_log2 >= -SIZE_KEPT_LOG2
