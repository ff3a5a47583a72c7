"""Where pan and tilt have to be for the frame asked, and the room it leaves."""

import numpy as np

from ..compiled.kernel import kernel
from .decide import CUE_AIM, CUE_LEAD, CUE_LOOK, believed, body_point

LEAD_ON, LEAD_OFF = 0.25, 0.10  # half frames/s of believed screen travel
LOOK_ON = 0.35  # sine of the gaze off the lens axis


@kernel
def asked_ray(u, v, roll, tx, ty):
    """Return the ray through (u, v) as side, reach and rise.

    Side is its part across the lens axis, reach the rest of the unit ray, and rise the
    angle of that rest above the axis [rad].
    """
    a, b = u * tx, v * ty
    norm = np.sqrt(a * a + b * b + 1.0)
    side = (np.cos(roll) * a - np.sin(roll) * b) / norm
    up = (np.sin(roll) * a + np.cos(roll) * b) / norm
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
def frame_target(
    p, w, weights, must, room, cue, aim, tick, reaches, ahead, cam, near, ray
):
    """Return pan and tilt that frame a cue's believed subjects from place `cam`.

    `room` is the pan and tilt [rad] by which one who must be held may be off the axis.
    """
    total = pan = tilt = 0.0
    low = low_t = -np.inf
    high = high_t = np.inf
    several = 0
    for s in range(weights.shape[1]):
        if weights[cue, s] > 0.0:
            several += 1
    for s in range(weights.shape[1]):
        share = weights[cue, s]
        if share <= 0.0:
            continue
        x, y, z = believed(p, w, s, tick, aim, reaches, ahead)
        dx, dy, dz = x - cam[0], y - cam[1], z - cam[2]
        a, b = aim_ray(dx, dy, dz, ray)
        a = turn_near(a, near)
        if several == 1:
            return a, b
        total += share
        pan += share * a
        tilt += share * b
        if must[s]:
            if ray[0] == 0.0:  # straight above or below the axis
                b += ray[2]
            else:
                a, b = aim_ray(dx, dy, dz, (0.0, 1.0, 0.0))
                a = turn_near(a, near)
            low, high = max(low, a - room[0]), min(high, a + room[0])
            low_t, high_t = max(low_t, b - room[1]), min(high_t, b + room[1])
    pan /= total
    tilt /= total
    pan = (low + high) / 2 if low > high else min(max(pan, low), high)
    tilt = (low_t + high_t) / 2 if low_t > high_t else min(max(tilt, low_t), high_t)
    return pan, tilt


@kernel
def screen_side(lead_state, p, w, facing, lead, tick, cues, cue, cam, pan, tx):
    """Return (lead state, where u moves to): room ahead of travel, else of the gaze."""
    right_x, right_z = np.cos(pan), -np.sin(pan)
    x, _, z = body_point(p, lead, tick, cues[cue, CUE_AIM])
    dx, dz = x - cam[0], z - cam[2]
    speed = w[lead, tick, 0, 0] * right_x + w[lead, tick, 0, 2] * right_z
    rate = speed / (max(np.sqrt(dx * dx + dz * dz), 0.1) * tx)
    if abs(rate) > LEAD_ON:
        lead_state = 1.0 if rate > 0 else -1.0
    elif abs(rate) < LEAD_OFF or rate * lead_state < 0:
        lead_state = 0.0
    u = -cues[cue, CUE_LEAD] * lead_state
    gaze = facing[lead, tick]
    if lead_state == 0.0 and not np.isnan(gaze):
        across = -np.sin(gaze) * right_x - np.cos(gaze) * right_z
        if abs(across) > LOOK_ON:
            u = -cues[cue, CUE_LOOK] * (1.0 if across > 0 else -1.0)
    return lead_state, u
