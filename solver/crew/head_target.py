"""Where pan and tilt have to be for the frame asked, and the room it leaves."""

from typing import NamedTuple

import numpy as np

from ..action.body import EYES
from ..compiled.kernel import kernel
from .decide import (
    CUE_AIM,
    CUE_LEAD,
    CUE_LOOK,
    believed,
    body_point,
    primary_subject,
)

LEAD_ON, LEAD_OFF = 0.25, 0.10  # half frames/s of believed screen travel
LOOK_ON = 0.35  # sine of the gaze off the lens axis
CROWN, CHIN = 1.0 / EYES, 0.866 / EYES  # of floor to eyes; chin: `body.LANDMARKS`
HALF_HEAD_M = 0.076  # half a head's breadth: ANSUR II, from memory
MOST_CREST = 0.5  # of the half frame that is left over a crown for its bounce
CRESTS = 1.3  # heights of the believed bounce that are kept over the crown


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

    The crown goes no higher than the ray `crown`, whose rise is infinite where nothing
    is asked of it. `point` is the share of floor to eyes that goes to the asked ray,
    `only` the one subject that is framed, -1 for several; one who must be held may be
    off the axis by `most_pan` and `most_tilt` [rad].
    """

    side: float
    reach: float
    rise: float
    crown: tuple[float, float, float]
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
def crown_ray(u, v, sight):
    """Return the ray of the highest that a crown goes; v is NaN where it may be cut."""
    if np.isnan(v):
        return 0.0, 1.0, np.inf
    return asked_ray(u, v, sight)


@kernel
def crest_over(crest, far, aim):
    """Return how far over a crown the frame reaches for its bounce [m].

    No more than leaves the chin in the frame as the head comes down again.
    """
    return min(CRESTS * crest, MOST_CREST * aim.most_tilt * far)


@kernel
def subject_target(seen, subject, tick, ahead, post, aim):
    """Return pan and tilt that put one subject where it is asked for.

    While the figure is larger than asked the crown decides on the tilt, else the point.
    """
    place, velocity, fades = seen.place, seen.velocity, seen.fades
    x, y, z = believed(place, velocity, fades, subject, tick, aim.point, ahead)
    dx, dy, dz = x - post.x, y - post.y, z - post.z
    pan, tilt = aim_ray(dx, dy, dz, (aim.side, aim.reach, aim.rise))
    if aim.crown[2] < np.inf:
        x, y, z = believed(place, velocity, fades, subject, tick, CROWN, ahead)
        dx, dz = x - post.x, z - post.z
        y += crest_over(seen.crest[subject, tick], np.sqrt(dx * dx + dz * dz), aim)
        _, crown = aim_ray(dx, y - post.y, dz, aim.crown)
        tilt = max(tilt, crown)
    return turn_near(pan, post.pan), tilt


@kernel
def head_room(seen, subject, tick, ahead, post, aim):
    """Return the least and most pan, and tilt, that hold a head in the frame."""
    place, velocity, fades = seen.place, seen.velocity, seen.fades
    x, y, z = believed(place, velocity, fades, subject, tick, CROWN, ahead)
    dx, dz = x - post.x, z - post.z
    far = np.sqrt(dx * dx + dz * dz)
    dy = y - post.y + crest_over(seen.crest[subject, tick], far, aim)
    pan = turn_near(np.arctan2(-dx, -dz), post.pan)
    side = max(0.0, aim.most_pan - np.arctan2(HALF_HEAD_M, far))
    crown = np.arctan2(dy, far)
    x, y, z = believed(place, velocity, fades, subject, tick, CHIN, ahead)
    chin = np.arctan2(y - post.y, far)
    return pan - side, pan + side, crown - aim.most_tilt, chin + aim.most_tilt


@kernel
def frame_target(asked, cue, seen, tick, ahead, post, aim):
    """Return pan and tilt that frame a cue's believed subjects from a `Post`.

    Of several, all who must be held are, head and all, while they fit; when they don't,
    the primary stays, and the frame goes over to the primary alone.
    """
    if aim.only >= 0:
        return subject_target(seen, aim.only, tick, ahead, post, aim)
    weights, must = asked.weights, asked.must
    lead = primary_subject(weights, cue)
    own_pan, own_tilt = subject_target(seen, lead, tick, ahead, post, aim)
    total = pan = tilt = 0.0
    low = low_t = -np.inf
    high = high_t = np.inf
    for s in range(weights.shape[1]):
        share = weights[cue, s]
        if share <= 0.0:
            continue
        a, b = subject_target(seen, s, tick, ahead, post, aim)
        total += share
        pan += share * a
        tilt += share * b
        if must[s]:
            left, right, down, up = head_room(seen, s, tick, ahead, post, aim)
            low, high = max(low, left), min(high, right)
            low_t, high_t = max(low_t, down), min(high_t, up)
    pan = held(pan / total, low, high, own_pan, aim.most_pan)
    tilt = held(tilt / total, low_t, high_t, own_tilt, aim.most_tilt)
    return pan, tilt


@kernel
def held(angle, low, high, own, room):
    """Return an angle between limits; as far as they contradict, the primary's own."""
    if low <= high:
        return min(max(angle, low), high)
    share = min(1.0, (low - high) / room)
    return (1.0 - share) * (low + high) / 2 + share * own


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
