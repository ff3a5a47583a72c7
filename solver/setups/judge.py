"""The judge of a trial: looks at every frame of a camera's plans and counts."""

import numpy as np

from ..compiled.kernel import kernel
from ..crew.operator import SAFE
from ..crew.plan import evaluate_plan
from ..measures.measure import MOVING_M_S, SIZE_KEPT
from ..rigs.rig import rig_place

MUST_IN = 0.99
MUST_SIZE = 0.60
MUST_CLEAR_M = 1.0  # of rail and anyone's path
"""Shares of the frames, and room, that a setup must keep."""
VIEW_KEPT_COS = np.cos(np.radians(35))
BODY_RADIUS_M = 0.25  # of whoever stands in the way; common practice, no source
SIZE_KEPT_LOG2 = float(np.log2(1 + SIZE_KEPT))

(
    IN,
    SAFE_IN,
    HELD_IN,
    SIZED,
    SIZE_RMS,
    VIEWED,
    ANGLED,
    DRIFT,
    CLOSEST,
    TURN,
    SWING,
    REVERSALS,
    BLOCKED,
    RAIL_LOW,
    RAIL_HIGH,
    PATH_GAP,
    PAN_RATE,
    DOLLY_RATE,
    REFUSED,
) = range(19)
N_NUMBERS = 19


@kernel
def screen_point(points, k, cam, turn, tx, ty):
    """Return u, v of point k of (n, 3); both are infinite behind the lens.

    `cam` is the place of the lens, `turn` holds sines and cosines of pan, tilt, roll.
    """
    sp, cp, st, ct, sr, cr = turn
    dx, dy, dz = points[k, 0] - cam[0], points[k, 1] - cam[1], points[k, 2] - cam[2]
    x = dx * cp - dz * sp
    back = dx * sp + dz * cp
    y = dy * ct + back * st
    z = back * ct - dy * st
    if z >= 0.0:
        return np.inf, np.inf
    right = x * cr + y * sr
    up = y * cr - x * sr
    return right / (-z * tx), up / (-z * ty)


@kernel
def stands_between(bodies, k, f, cam, aim):
    """Tell whether body k stands in the line from the lens to the aim of a frame."""
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


@kernel
def body_gap(bodies, k, f, cam):
    """Return the distance of body k from the lens at a frame, nearest at its height."""
    low, high = bodies[k, 0, f, 1], bodies[k, 1, f, 1]
    share = 0.5
    if high - low > 1e-9:
        share = min(max((cam[1] - low) / (high - low), 0.0), 1.0)
    square = 0.0
    for c in range(3):
        foot = bodies[k, 0, f, c]
        off = foot + share * (bodies[k, 1, f, c] - foot) - cam[c]
        square += off * off
    return np.sqrt(square)


@kernel
def judge(
    rig,
    rails,
    pans,
    tilts,
    ticks,
    aims,
    action,
    view,
    roll,
    tx,
    ty,
    axis_v,
    cams,
    screen,
    out,
):
    """Fill numbers IN to RAIL_HIGH of a trial, and camera and screen place a frame.

    `cams` (n, 5) is filled with place, pan and tilt, `screen` (n, 3) with u, v and the
    size, a share of the frame height.
    """
    times, aim, eyes, seen, bodies = (
        action.times_s,
        action.aim,
        action.eyes,
        action.seen,
        action.bodies,
    )
    top, low, held, rise = action.top, action.low, action.held, action.rise
    n = times.shape[0]
    sr, cr = np.sin(roll), np.cos(roll)
    view_x, view_z = np.sin(view), np.cos(view)
    on_rail = rig.length > 0.0
    s = speed = 0.0
    cam = rig_place(rig, s)
    r = p = t = 0
    tick = 0
    good = np.zeros(N_NUMBERS)
    shown = 0
    size_square = 0.0
    drift = 0.0
    closest = np.inf
    turn = 0.0
    pan_low, pan_high = np.inf, -np.inf
    rail_low, rail_high = np.inf, -np.inf
    direction = 0.0
    reversals = 0
    for f in range(n):
        now = times[f]
        while r + 1 < rails.shape[0] and rails[r + 1, 0] <= now:
            r += 1
        while p + 1 < pans.shape[0] and pans[p + 1, 0] <= now:
            p += 1
        while t + 1 < tilts.shape[0] and tilts[t + 1, 0] <= now:
            t += 1
        while tick + 1 < ticks.shape[0] and ticks[tick + 1] <= now + 1e-9:
            tick += 1
        if on_rail:
            s, speed, _ = evaluate_plan(rails, r, now)
            cam = rig_place(rig, s)
        pan, pan_speed, _ = evaluate_plan(pans, p, now)
        tilt, _, _ = evaluate_plan(tilts, t, now)
        cams[f, 0], cams[f, 1], cams[f, 2] = cam[0], cam[1], cam[2]
        cams[f, 3], cams[f, 4] = pan, tilt
        rail_low, rail_high = min(rail_low, s), max(rail_high, s)
        pan_low, pan_high = min(pan_low, pan), max(pan_high, pan)
        turn = max(turn, abs(pan_speed))
        if abs(speed) > MOVING_M_S:
            sign = 1.0 if speed > 0 else -1.0
            if direction * sign < 0:
                reversals += 1
            direction = sign
        for k in range(bodies.shape[0]):
            closest = min(closest, body_gap(bodies, k, f, cam))
        if not seen[f]:
            screen[f, 0] = screen[f, 1] = screen[f, 2] = np.nan
            continue
        shown += 1
        turned = (np.sin(pan), np.cos(pan), np.sin(tilt), np.cos(tilt), sr, cr)
        u, v = screen_point(aim, f, cam, turned, tx, ty)
        v += axis_v
        screen[f, 0], screen[f, 1] = u, v
        if abs(u) <= 1 and abs(v) <= 1:
            good[IN] += 1
        if abs(u) <= SAFE and abs(v) <= SAFE:
            good[SAFE_IN] += 1
        miss = max(abs(u - aims[tick, 0]), abs(v - aims[tick, 1] - axis_v))
        drift = max(drift, min(miss, 9.0))
        others = True
        for k in range(held.shape[0]):
            if np.isnan(held[k, f, 0]):
                continue
            hu, hv = screen_point(held[k], f, cam, turned, tx, ty)
            others = others and abs(hu) <= 1 and abs(hv + axis_v) <= 1
        if others:
            good[HELD_IN] += 1
        for k in range(bodies.shape[0]):
            if k != action.primary[f] and stands_between(bodies, k, f, cam, aim):
                good[BLOCKED] += 1
                break
        tu, tv = screen_point(top, f, cam, turned, tx, ty)
        lu, lv = screen_point(low, f, cam, turned, tx, ty)
        wide, high = (tu - lu) * tx / ty, tv - lv
        size = np.sqrt(wide * wide + high * high) / 2
        screen[f, 2] = size
        off = 9.0
        if size > 0.0 and np.isfinite(size):
            off = min(9.0, abs(np.log2(size) - action.asked_log2[f]))
        size_square += off * off
        if off <= SIZE_KEPT_LOG2:
            good[SIZED] += 1
        dx, dz = cam[0] - eyes[f, 0], cam[2] - eyes[f, 2]
        level = np.sqrt(dx * dx + dz * dz)
        ahead_x, ahead_z = action.ahead[f, 0], action.ahead[f, 1]
        asked_x = ahead_x * view_z + ahead_z * view_x
        asked_z = ahead_z * view_z - ahead_x * view_x
        if -(dx * asked_x + dz * asked_z) >= VIEW_KEPT_COS * level:
            good[VIEWED] += 1
        if rise[f, 0] * level <= cam[1] - eyes[f, 1] <= rise[f, 1] * level:
            good[ANGLED] += 1
    least = max(shown, 1)
    for k in range(RAIL_HIGH):
        out[k] = good[k] / least
    out[SIZE_RMS] = np.sqrt(size_square / least)
    out[DRIFT] = drift
    out[CLOSEST] = closest
    out[TURN] = turn
    out[SWING] = pan_high - pan_low
    out[REVERSALS] = reversals
    out[RAIL_LOW] = rail_low
    out[RAIL_HIGH] = rail_high
