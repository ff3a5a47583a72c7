"""Whether cameras that roll at once stay out of one another's pictures and way.

A camera on set is a post from the ground to above its lens, with camera, head and
operator around it, and its rails on the ground. It is seen where any of that is in the
final, shaken frame of another camera, at any sample of its take. Each part is a line
with a thickness; the frame's four sides are moved out by the thickness, so that what
is cut by a side counts as seen (a corner may count a little early, never late). What
stands between the two is not looked at, so a camera behind a wall counts as seen.

It stands in another's way where their posts come nearer than `APART_M`, or where one
post comes that near to the other's rails.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.length import hypot
from ..frame.projection import (
    Screen,
    Shaking,
    from_lens,
    shaken,
    shaking_of,
    turn_of,
)
from ..take import Take

ABOVE_M = 0.3  # of a camera over its lens, and
BODY_M = 0.45  # half of what stands around it with an operator (our choice)
RAIL_M = 0.4  # half of the gauge of track, and what lies beside it (our choice)
APART_M = 1.2
_CHORD_M = 0.5
_NEAR_M = 0.05


class RollingCamera(NamedTuple):
    """A camera as kernels see it, from both sides of its lens, n samples.

    `cams` (n, 5) has lens [m], pan and tilt [rad]; `posts` (n, 2, 3) feet and tops of
    the post, `rails` (k, 2, 3) the ends of the parts of its rail on the ground, k = 0
    on sticks.
    """

    cams: FloatArray
    roll_rad: float
    screen: Screen
    shaking: Shaking
    posts: FloatArray
    rails: FloatArray


class Clash(NamedTuple):
    """Where two cameras that roll at once are in each other's picture or way.

    Attributes:
        what: `sees`, `seen` by the other, or in the `way`.
        sample: first sample of it.
    """

    what: str
    sample: int


def standing(take: Take, ground_m: float) -> RollingCamera:
    """Return a camera over its take.

    Args:
        take: operated.
        ground_m: height of the ground below it.
    """
    shot, rig = take.shot, take.shot.rig
    posts = np.stack([take.base, take.base], axis=1)
    posts[:, 0, 1] = np.minimum(ground_m, take.base[:, 1])
    posts[:, 1, 1] += ABOVE_M
    rails = np.empty((0, 2, 3))
    if rig.length_m > 0:
        count = max(int(np.ceil(rig.length_m / _CHORD_M)), 1) + 1
        on_ground = rig.places(np.linspace(0.0, rig.length_m, count))
        on_ground[:, 1] = ground_m
        rails = np.stack([on_ground[:-1], on_ground[1:]], axis=1)
    return RollingCamera(
        np.column_stack([take.base, take.pan[:, 0], take.tilt[:, 0]]),
        shot.roll_rad,
        Screen(*shot.tangents, shot.gate.axis_v),
        shaking_of(take.shake),
        posts,
        rails,
    )


def ground_of(take: Take) -> float:
    """Return the lowest ground that anybody of a take stands on [m]."""
    return min(float(one.floor[:, 1].min()) for one in take.shot.subjects)


def clash_of(one: RollingCamera, two: RollingCamera) -> Clash | None:
    """Return how two cameras clash; None where both can roll at once.

    Args:
        one: a camera over the samples of an action.
        two: another over the same samples.
    """
    way = int(first_in_way(one, two))
    if way >= 0:
        return Clash("way", way)
    for what, looks, other in (("sees", one, two), ("seen", two, one)):
        sample = int(first_seen(looks, other))
        if sample >= 0:
            return Clash(what, sample)
    return None


@kernel
def first_seen(looks, other):
    """Return the first sample at which a camera has another in frame, -1 for none."""
    for f in range(looks.cams.shape[0]):
        if part_in_frame(looks, f, other.posts[f], BODY_M):
            return f
        for k in range(other.rails.shape[0]):
            if part_in_frame(looks, f, other.rails[k], RAIL_M):
                return f
    return -1


@kernel
def part_in_frame(looks, f, part, thick):
    """Return whether a line (2, 3) with a thickness [m] meets the frame of a sample."""
    cams = looks.cams
    place = (cams[f, 0], cams[f, 1], cams[f, 2])
    turn = turn_of(cams[f, 3], cams[f, 4], looks.roll_rad)
    a = from_lens((part[0, 0], part[0, 1], part[0, 2]), place, turn)
    b = from_lens((part[1, 0], part[1, 1], part[1, 2]), place, turn)
    a, b = shaken(a, looks.shaking, f), shaken(b, looks.shaking, f)
    tx, ty, axis = looks.screen.tx, looks.screen.ty, looks.screen.axis_v
    # Sides of the frame as x n_x + y n_y + z n_z <= room; z points back.
    low, high = 0.0, 1.0
    for side in range(5):
        if side == 0:
            n_x, n_y, n_z, room = 1.0, 0.0, tx, thick
        elif side == 1:
            n_x, n_y, n_z, room = -1.0, 0.0, tx, thick
        elif side == 2:
            n_x, n_y, n_z, room = 0.0, 1.0, ty * (1.0 - axis), thick
        elif side == 3:
            n_x, n_y, n_z, room = 0.0, -1.0, ty * (1.0 + axis), thick
        else:
            n_x, n_y, n_z, room = 0.0, 0.0, 1.0, thick - _NEAR_M
        far = np.sqrt(n_x * n_x + n_y * n_y + n_z * n_z)
        at_a = (n_x * a[0] + n_y * a[1] + n_z * a[2]) / far - room
        at_b = (n_x * b[0] + n_y * b[1] + n_z * b[2]) / far - room
        if at_a > 0.0 and at_b > 0.0:
            return False
        if at_a > 0.0:
            low = max(low, at_a / (at_a - at_b))
        elif at_b > 0.0:
            high = min(high, at_a / (at_a - at_b))
        if low > high:
            return False
    return True


@kernel
def first_in_way(one, two):
    """Return the first sample at which two cameras are too near, -1 for none."""
    for f in range(one.posts.shape[0]):
        x, z = one.posts[f, 0, 0], one.posts[f, 0, 2]
        to_x, to_z = two.posts[f, 0, 0], two.posts[f, 0, 2]
        if hypot(to_x - x, to_z - z) < APART_M:
            return f
        for k in range(two.rails.shape[0]):
            if from_part(x, z, two.rails[k]) < APART_M:
                return f
        for k in range(one.rails.shape[0]):
            if from_part(to_x, to_z, one.rails[k]) < APART_M:
                return f
    return -1


@kernel
def from_part(x, z, part):
    """Return how far a place is from a part of a rail on the plan [m]."""
    along_x, along_z = part[1, 0] - part[0, 0], part[1, 2] - part[0, 2]
    square = max(along_x * along_x + along_z * along_z, 1e-12)
    share = ((x - part[0, 0]) * along_x + (z - part[0, 2]) * along_z) / square
    share = min(max(share, 0.0), 1.0)
    return hypot(x - part[0, 0] - share * along_x, z - part[0, 2] - share * along_z)
