"""Where pan and tilt have to be for the frame asked, and the room it leaves."""

from typing import NamedTuple

import numpy as np

from ..compiled.kernel import kernel
from .decide import CUE_AIM, CUE_LEAD, CUE_LOOK, believed, body_point

LEAD_ON, LEAD_OFF = 0.25, 0.10  # half frames/s of believed screen travel
LOOK_ON = 0.35  # sine of the gaze off the lens axis


class Sight(NamedTuple):
    """How the camera sees: roll of the head [rad], half-frame tangents of the lens."""

    roll: float
    tx: float
    ty: float


class Post(NamedTuple):
    """Where the lens is [m], and the pan [rad] that is at hand there."""

    x: float
    y: float
    z: float
    pan: float


class Aim(NamedTuple):
    """What goes where in the frame: the three numbers of `asked_ray`, and more.

    `point` is the share of floor to eyes that goes there, `only` the one subject that
    is framed, -1 for several; one who must be held may be off the axis by `most_pan`
    and `most_tilt` [rad].
    """

    side: float
    reach: float
    rise: float
    point: float
    only: int
    most_pan: float
    most_tilt: float


@kernel
def asked_ray(u, v, sight):
    """Return the ray through (u, v) as side, reach and rise.

    Side is its part across the lens axis, reach the rest of the unit ray, and rise the
    angle of that rest above the axis [rad].
    """
    a, b = u * sight.tx, v * sight.ty
    norm = np.sqrt(a * a + b * b + 1.0)
    side = (np.cos(sight.roll) * a - np.sin(sight.roll) * b) / norm
    up = (np.sin(sight.roll) * a + np.cos(sight.roll) * b) / norm
    return side, np.sqrt(up * up + 1.0 / (norm * norm)), np.arctan2(up * norm, 1.0)


@kernel
def aim_ray(dx, dy, dz, ray):
    """Return the pan and tilt that put direction d on a ray, up to the pole.

    The closed form of `camera.aim`: the ray's rest has to rise as d does, and what is
    then level of it to turn to where d stands.
    """
    side, reach, rise = ray
    if side == 0.0:  # and the reach is one
        level = np.sqrt(dx * dx + dz * dz)
        return np.arctan2(-dx, -dz), np.arctan2(dy, level) - rise
    up = dy / (np.sqrt(dx * dx + dy * dy + dz * dz) * reach)
    up = min(1.0, max(-1.0, up))
    level = np.sqrt((1.0 - up) * (1.0 + up))
    ahead = reach * level
    pan = np.arctan2(-dx * ahead - dz * side, dx * side - dz * ahead)
    return pan, np.arctan2(up, level) - rise


@kernel
def turn_near(angle, near):
    """Return `angle` by whole turns nearest to `near`."""
    if abs(near - angle) < np.pi:
        return angle
    return angle + 2 * np.pi * np.round((near - angle) / (2 * np.pi))


@kernel
def only_subject(weights, cue):
    """Return the subject that alone is framed in a cue, or -1 if several are."""
    only = -1
    for s in range(weights.shape[1]):
        if weights[cue, s] > 0.0:
            if only >= 0:
                return -1
            only = s
    return only


@kernel
def subject_target(place, velocity, subject, tick, reaches, ahead, post, aim):
    """Return pan and tilt that put one subject where it is asked for."""
    x, y, z = believed(place, velocity, subject, tick, aim.point, reaches, ahead)
    ray = (aim.side, aim.reach, aim.rise)
    a, b = aim_ray(x - post.x, y - post.y, z - post.z, ray)
    return turn_near(a, post.pan), b


@kernel
def frame_target(asked, cue, seen, tick, reaches, ahead, post, aim):
    """Return pan and tilt that frame a cue's believed subjects from a `Post`."""
    place, velocity = seen.place, seen.velocity
    if aim.only >= 0:
        return subject_target(
            place, velocity, aim.only, tick, reaches, ahead, post, aim
        )
    weights, must = asked.weights, asked.must
    ray = (aim.side, aim.reach, aim.rise)
    total = pan = tilt = 0.0
    low = low_t = -np.inf
    high = high_t = np.inf
    for s in range(weights.shape[1]):
        share = weights[cue, s]
        if share <= 0.0:
            continue
        x, y, z = believed(place, velocity, s, tick, aim.point, reaches, ahead)
        dx, dy, dz = x - post.x, y - post.y, z - post.z
        a, b = aim_ray(dx, dy, dz, ray)
        a = turn_near(a, post.pan)
        total += share
        pan += share * a
        tilt += share * b
        if must[s]:
            if aim.side == 0.0:  # straight above or below the axis
                b += aim.rise
            else:
                a, b = aim_ray(dx, dy, dz, (0.0, 1.0, 0.0))
                a = turn_near(a, post.pan)
            low, high = max(low, a - aim.most_pan), min(high, a + aim.most_pan)
            low_t = max(low_t, b - aim.most_tilt)
            high_t = min(high_t, b + aim.most_tilt)
    pan /= total
    tilt /= total
    pan = (low + high) / 2 if low > high else min(max(pan, low), high)
    tilt = (low_t + high_t) / 2 if low_t > high_t else min(max(tilt, low_t), high_t)
    return pan, tilt


@kernel
def screen_side(lead_state, asked, cue, lead, seen, tick, post, tx):
    """Return (lead state, where u moves to): room ahead of travel, else of the gaze."""
    cues = asked.cues
    right_x, right_z = np.cos(post.pan), -np.sin(post.pan)
    x, _, z = body_point(seen.place, lead, tick, cues[cue, CUE_AIM])
    dx, dz = x - post.x, z - post.z
    vx, vz = seen.velocity[lead, tick, 0, 0], seen.velocity[lead, tick, 0, 2]
    speed = vx * right_x + vz * right_z
    rate = speed / (max(np.sqrt(dx * dx + dz * dz), 0.1) * tx)
    if abs(rate) > LEAD_ON:
        lead_state = 1.0 if rate > 0 else -1.0
    elif abs(rate) < LEAD_OFF or rate * lead_state < 0:
        lead_state = 0.0
    u = -cues[cue, CUE_LEAD] * lead_state
    gaze = seen.facing[lead, tick]
    if lead_state == 0.0 and not np.isnan(gaze):
        across = -np.sin(gaze) * right_x - np.cos(gaze) * right_z
        if abs(across) > LOOK_ON:
            u = -cues[cue, CUE_LOOK] * (1.0 if across > 0 else -1.0)
    return lead_state, u
