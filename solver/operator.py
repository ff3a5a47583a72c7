"""The operator: pan and tilt that keep the frame, from where the dolly will be."""

import numpy as np

from .compiled import kernel
from .decide import (
    CUE_AIM,
    CUE_LEAD,
    CUE_LOOK,
    CUE_START,
    CUE_U,
    CUE_V,
    CUE_WHIP,
    START_SHARE,
    believed,
    body_point,
    fit_horizon,
    horizon,
    wants_plan,
)
from .plan import evaluate_plan, solve_plan, write_plan
from .planner import N_BLOCKS, N_NODES
from .rig import rig_place

SAFE = 0.93  # action-safe share of the frame: SMPTE ST 2046-1
HOLD_MARGIN = 0.85  # of the half frame, for those who must be held
LEAD_ON, LEAD_OFF = 0.25, 0.10  # half frames/s of believed screen travel
LOOK_ON = 0.35  # sine of the gaze off the lens axis


@kernel
def aim_scalar(dx, dy, dz, u, v, roll, tx, ty):
    """Return the pan and tilt that put direction d at (u, v), up to the pole."""
    length = np.sqrt(dx * dx + dy * dy + dz * dz)
    a, b = u * tx, v * ty
    norm = np.sqrt(a * a + b * b + 1.0)
    cx = (np.cos(roll) * a - np.sin(roll) * b) / norm
    cy = (np.sin(roll) * a + np.cos(roll) * b) / norm
    cz = -1.0 / norm
    rise = dy / length / np.hypot(cy, cz)
    tilt = np.arcsin(min(1.0, max(-1.0, rise))) - np.arctan2(cy, -cz)
    ez = cy * np.sin(tilt) + cz * np.cos(tilt)
    pan = np.arctan2(-dx, -dz) - np.arctan2(-cx, -ez)
    return pan, tilt


@kernel
def turn_near(angle, near):
    """Return `angle` by whole turns nearest to `near`."""
    return angle + 2 * np.pi * np.round((near - angle) / (2 * np.pi))


@kernel
def frame_target(
    p, w, weights, must, tick, ahead, fade, cue, u, cam, near, roll, tx, ty
):
    """Return pan and tilt that frame the believed subjects from place `cam`."""
    total = pan = tilt = 0.0
    low = low_t = -np.inf
    high = high_t = np.inf
    several = 0
    for s in range(weights.shape[0]):
        if weights[s] > 0.0:
            several += 1
    for s in range(weights.shape[0]):
        if weights[s] <= 0.0:
            continue
        aim = cue[CUE_AIM]
        dx = believed(p, w, s, tick, aim, ahead, fade, 0) - cam[0]
        dy = believed(p, w, s, tick, aim, ahead, fade, 1) - cam[1]
        dz = believed(p, w, s, tick, aim, ahead, fade, 2) - cam[2]
        a, b = aim_scalar(dx, dy, dz, u, cue[CUE_V], roll, tx, ty)
        total += weights[s]
        pan += weights[s] * turn_near(a, near)
        tilt += weights[s] * b
        if must[s] and several > 1:
            a, b = aim_scalar(dx, dy, dz, 0.0, 0.0, roll, tx, ty)
            a = turn_near(a, near)
            room, room_t = np.arctan(HOLD_MARGIN * tx), np.arctan(HOLD_MARGIN * ty)
            low, high = max(low, a - room), min(high, a + room)
            low_t, high_t = max(low_t, b - room_t), min(high_t, b + room_t)
    pan /= total
    tilt /= total
    if several > 1:
        pan = (low + high) / 2 if low > high else min(max(pan, low), high)
        tilt = (low_t + high_t) / 2 if low_t > high_t else min(max(tilt, low_t), high_t)
    return pan, tilt


@kernel
def screen_side(lead_state, p, w, facing, lead, tick, cue, cam, pan, tx):
    """Return (lead state, where u moves to): room ahead of travel, else of the gaze."""
    right_x, right_z = np.cos(pan), -np.sin(pan)
    dx = body_point(p, lead, tick, cue[CUE_AIM], 0) - cam[0]
    dz = body_point(p, lead, tick, cue[CUE_AIM], 2) - cam[2]
    speed = w[lead, tick, 0, 0] * right_x + w[lead, tick, 0, 2] * right_z
    rate = speed / (max(np.hypot(dx, dz), 0.1) * tx)
    if abs(rate) > LEAD_ON:
        lead_state = 1.0 if rate > 0 else -1.0
    elif abs(rate) < LEAD_OFF or rate * lead_state < 0:
        lead_state = 0.0
    u = -cue[CUE_LEAD] * lead_state
    gaze = facing[lead, tick]
    if lead_state == 0.0 and not np.isnan(gaze):
        across = -np.sin(gaze) * right_x - np.cos(gaze) * right_z
        if abs(across) > LOOK_ON:
            u = -cue[CUE_LOOK] * (1.0 if across > 0 else -1.0)
    return lead_state, u


@kernel
def viable(pl, v, a):
    """Tell whether a plan exists from speed v and acceleration a."""
    return abs(a) <= pl.accel and abs(v + a * abs(a) / (2 * pl.jerk)) <= pl.speed


@kernel
def run_operator(
    rig,
    grip_log,
    grip_count,
    own,
    whip,
    ticks,
    p,
    w,
    facing,
    weights,
    must,
    cues,
    tolerance,
    rest,
    fade,
    urgency,
    roll,
    tx,
    ty,
    log,
    whips,
    aims,
):
    """Fill the pan and tilt logs (2, ...); return (pans, tilts, refusals).

    `whips` (2, ...) marks plans made with the whip's limits: from a whip's start until
    the channel is back inside the operator's own. `aims` (n_ticks, 2) is filled with
    the screen point at which the subject was to be held.
    """
    u = np.zeros(N_BLOCKS)
    target = np.zeros((2, N_NODES))
    poly = np.zeros((2, N_NODES))
    span = np.ones(2)
    cam = np.zeros(3)
    half = np.array([np.arctan(tx), np.arctan(ty)])
    here = np.zeros(2)
    soon = np.zeros(2)
    count = np.zeros(2, dtype=np.int64)
    asked = np.full(2, -np.inf)
    fast = np.zeros(2, dtype=np.bool_)
    cue = 0
    dolly = 0
    refused = 0
    lead_state = 0.0
    for k in range(ticks.shape[0]):
        now = ticks[k]
        forced = k == 0
        whipped = False
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            forced = True
            whipped = cues[cue, CUE_WHIP] > 0
        while dolly + 1 < grip_count and grip_log[dolly + 1, 0] <= now:
            dolly += 1
        x, _, _ = evaluate_plan(grip_log[dolly], now)
        cam[0], cam[1], cam[2] = rig_place(rig, x)
        lead = 0
        for s in range(weights.shape[1]):
            if weights[cue, s] > weights[cue, lead]:
                lead = s
        near = evaluate_plan(log[0, count[0] - 1], now)[0] if k > 0 else 0.0
        heading = near
        if k == 0:
            heading, _ = frame_target(
                p,
                w,
                weights[cue],
                must,
                k,
                0.0,
                fade,
                cues[cue],
                0.0,
                cam,
                0.0,
                roll,
                tx,
                ty,
            )
        lead_state, shift = screen_side(
            lead_state, p, w, facing, lead, k, cues[cue], cam, heading, tx
        )
        place = cues[cue, CUE_U] + shift
        aims[k, 0], aims[k, 1] = place, cues[cue, CUE_V]
        here[0], here[1] = frame_target(
            p,
            w,
            weights[cue],
            must,
            k,
            0.0,
            fade,
            cues[cue],
            place,
            cam,
            near,
            roll,
            tx,
            ty,
        )
        for c in range(2):
            if k == 0:
                x, v, a = here[c], 0.0, 0.0
            else:
                x, v, a = evaluate_plan(log[c, count[c] - 1], now)
                made = log[c, count[c] - 1, 0]
                changed = abs(here[c] - horizon(poly[c], span[c], now - made)) / half[c]
                miss = abs(here[c] - x) / half[c]
                room = SAFE - abs(place if c == 0 else cues[cue, CUE_V])
                urgent = miss > urgency * max(room, 0.1)
                share = 0.5 if urgent else 1.0
                if not forced and not wants_plan(
                    now - made,
                    now - asked[c],
                    rest * share,
                    changed,
                    miss,
                    v / half[c],
                    span[c],
                    tolerance * share,
                ):
                    continue
            if fast[c] and viable(own, v, a):
                fast[c] = False
            if whipped:
                fast[c] = True
            pl = whip if fast[c] else own
            aimed = near
            for i in range(N_NODES):
                ahead = pl.nodes[i]
                s, _, _ = evaluate_plan(grip_log[dolly], now + ahead)
                cam[0], cam[1], cam[2] = rig_place(rig, s)
                soon[0], soon[1] = frame_target(
                    p,
                    w,
                    weights[cue],
                    must,
                    k,
                    ahead,
                    fade,
                    cues[cue],
                    place,
                    cam,
                    aimed,
                    roll,
                    tx,
                    ty,
                )
                aimed = soon[0]
                target[c, i] = soon[c]
            if k == 0:
                speed = (target[c, 1] - target[c, 0]) / own.nodes[1]
                v = min(max(speed, -START_SHARE * own.speed), START_SHARE * own.speed)
            asked[c] = now
            steps = solve_plan(pl, x, v, a, target[c], u)
            if steps < 0:
                refused += 1
                if k > 0:
                    continue
            write_plan(pl, now, x, v, a, u, log[c, count[c]])
            fit_horizon(pl, target[c], poly[c])
            span[c] = pl.horizon
            whips[c, count[c]] = fast[c]
            count[c] += 1
    return count[0], count[1], refused
