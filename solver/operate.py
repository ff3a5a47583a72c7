"""The crew at work: grip, then operator, then focus puller, decision by decision.

Each channel follows its plan until what is newly believed differs from what the plan
expected by more than the tolerance and the rest is over (event-driven intermittent
control: Gawthrop, Loram, Lakie & Gollee 2011, Biol Cybern 104:31-51), or the plan is
stale and its own expected miss exceeds the tolerance, or a cue starts. Decisions fall
on ticks (frames); a plan starts from the state in which the last one left the channel.
The operator knows the dolly's plan in force at the tick, the puller all three.

Kernel notation: `log` (rows of PLAN_WIDTH) holds a channel's plans; `poly` the target
polynomial that the plan in force was made for; `p`, `w` believed places and velocities
(n_subjects, n_ticks, 2 [floor, eyes], 3); `cues` rows of framing numbers (CUE_*).
"""

import numpy as np

from .compiled import kernel
from .crew import PLAN_STALE_S
from .plan import (
    N_BLOCKS,
    N_NODES,
    evaluate_plan,
    solve_plan,
    stays_on_rail,
    write_plan,
)
from .rig import bearing_s, distance_s, nearest_s, rig_place

CUE_START, CUE_AIM, CUE_U, CUE_V, CUE_LEAD, CUE_LOOK, CUE_DISTANCE, CUE_WHIP = range(8)
HOLD_ABREAST, HOLD_SIZE, HOLD_VIEW = 0, 1, 2

SAFE = 0.93  # action-safe share of the frame: SMPTE ST 2046-1
HOLD_MARGIN = 0.85  # of the half frame, for those who must be held
LEAD_ON, LEAD_OFF = 0.25, 0.10  # half frames/s of believed screen travel
LOOK_ON = 0.35  # sine of the gaze off the lens axis
HEADING_SPEED = 0.5  # m/s below which the last heading is kept
START_SHARE = 0.9  # of a limit that a channel may use as the shot starts


@kernel
def horizon(poly, span, age):  # type: ignore[no-untyped-def]
    """Return the target that a plan was made for, straight on after its horizon."""
    x = min(age / span, 1.0)
    value = 0.0
    slope = 0.0
    for i in range(N_NODES - 1, -1, -1):
        slope = slope * x + value
        value = value * x + poly[i]
    return value + slope * max(0.0, age / span - 1.0)


@kernel
def fit_horizon(pl, target, poly):  # type: ignore[no-untyped-def]
    """Fill the polynomial coefficients of node targets."""
    for i in range(N_NODES):
        s = 0.0
        for k in range(N_NODES):
            s += pl.poly[i, k] * target[k]
        poly[i] = s


@kernel
def wants_plan(now, made, asked, rest, changed, miss, tolerance, urgent):  # type: ignore[no-untyped-def]
    """Tell whether a channel decides now."""
    share = 0.5 if urgent else 1.0
    if now - asked < rest * share - 1e-9:
        return False
    if changed > tolerance * share:
        return True
    return now - made >= PLAN_STALE_S and miss > tolerance * share


@kernel
def body_point(p, subject, tick, aim, c):  # type: ignore[no-untyped-def]
    """Return coordinate c of the believed point at `aim` of floor to eyes."""
    floor = p[subject, tick, 0, c]
    return floor + (p[subject, tick, 1, c] - floor) * aim


@kernel
def framed_point(p, w, weights, tick, aim, ahead, fade, out):  # type: ignore[no-untyped-def]
    """Fill `out` (3,) with the weighted aim point believed `ahead` seconds later."""
    reach = -fade * np.expm1(-ahead / fade)
    total = 0.0
    for c in range(3):
        out[c] = 0.0
    for s in range(weights.shape[0]):
        if weights[s] > 0.0:
            total += weights[s]
            for c in range(3):
                out[c] += weights[s] * (
                    body_point(p, s, tick, aim, c)
                    + reach * body_point(w, s, tick, aim, c)
                )
    for c in range(3):
        out[c] /= total


@kernel
def aim_scalar(dx, dy, dz, u, v, roll, tx, ty):  # type: ignore[no-untyped-def]
    """Return the pan and tilt that put direction d at (u, v); tilt stops at the pole."""
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
def turn_near(angle, near):  # type: ignore[no-untyped-def]
    """Return `angle` by whole turns nearest to `near`."""
    return angle + 2 * np.pi * np.round((near - angle) / (2 * np.pi))


@kernel
def frame_target(  # type: ignore[no-untyped-def]
    p, w, weights, must, tick, ahead, fade, cue, u, cam, near, roll, tx, ty
):
    """Return pan and tilt that frame the believed subjects from place `cam`."""
    reach = -fade * np.expm1(-ahead / fade)
    total = pan = tilt = 0.0
    low = low_t = -np.inf
    high = high_t = np.inf
    several = 0
    for s in range(weights.shape[0]):
        if weights[s] <= 0.0:
            continue
        several += 1
        aim = cue[CUE_AIM]
        dx = body_point(p, s, tick, aim, 0) + reach * body_point(w, s, tick, aim, 0)
        dy = body_point(p, s, tick, aim, 1) + reach * body_point(w, s, tick, aim, 1)
        dz = body_point(p, s, tick, aim, 2) + reach * body_point(w, s, tick, aim, 2)
        dx, dy, dz = dx - cam[0], dy - cam[1], dz - cam[2]
        a, b = aim_scalar(dx, dy, dz, u, cue[CUE_V], roll, tx, ty)
        total += weights[s]
        pan += weights[s] * turn_near(a, near)
        tilt += weights[s] * b
        if must[s]:
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
def rail_target(rig, hold, point, distance, bearing, offset, present):  # type: ignore[no-untyped-def]
    """Return the rail position that the dolly's hold asks for."""
    if hold == HOLD_SIZE:
        return distance_s(rig, point[0], point[1], point[2], distance, present)
    if hold == HOLD_VIEW:
        return bearing_s(rig, point[0], point[2], bearing, present)
    return nearest_s(
        rig, point[0] + offset[0], point[1] + offset[1], point[2] + offset[2]
    )


@kernel
def run_grip(  # type: ignore[no-untyped-def]
    rig, pl, ticks, p, w, weights, cues, hold, view, offset, tolerance, rest, fade, log
):
    """Fill the dolly's plan log; return (plans, refusals).

    A refusal is a decision for which no plan existed: the plan in force, which ends in
    a stop on the rail, goes on.
    """
    n = ticks.shape[0]
    u = np.zeros(N_BLOCKS)
    target = np.zeros(N_NODES)
    poly = np.zeros(N_NODES)
    point = np.zeros(3)
    cue = 0
    heading = 0.0
    count = 0
    refused = 0
    asked = -np.inf
    for k in range(n):
        now = ticks[k]
        forced = k == 0
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            forced = True
        lead = 0
        for s in range(weights.shape[1]):
            if weights[cue, s] > weights[cue, lead]:
                lead = s
        vx, vz = w[lead, k, 0, 0], w[lead, k, 0, 2]
        if np.hypot(vx, vz) > HEADING_SPEED:
            heading = np.arctan2(-vx, -vz)
        bearing = heading + view
        aim, distance = cues[cue, CUE_AIM], cues[cue, CUE_DISTANCE]
        if k == 0:
            x, v, a = rig.length / 2, 0.0, 0.0
        else:
            x, v, a = evaluate_plan(log[count - 1], now)
        framed_point(p, w, weights[cue], k, aim, 0.0, fade, point)
        here = rail_target(rig, hold, point, distance, bearing, offset, x)
        if k == 0:
            x = min(max(here, 1e-6), rig.length - 1e-6)
            framed_point(p, w, weights[cue], k, aim, 0.1, fade, point)
            soon = rail_target(rig, hold, point, distance, bearing, offset, x)
            v = (soon - here) / 0.1
            v = min(max(v, -START_SHARE * pl.speed), START_SHARE * pl.speed)
            room = rig.length - x if v > 0 else x
            while abs(v) > 1e-6 and (
                v * v / (2 * pl.accel) + abs(v) * pl.accel / pl.jerk > room
            ):
                v /= 2
        elif not forced:
            changed = abs(here - horizon(poly, pl.horizon, now - log[count - 1, 0]))
            made = log[count - 1, 0]
            if not wants_plan(
                now, made, asked, rest, changed, abs(here - x), tolerance, False
            ):
                continue
        asked = now
        present = x
        for i in range(N_NODES):
            framed_point(p, w, weights[cue], k, aim, pl.nodes[i], fade, point)
            present = rail_target(rig, hold, point, distance, bearing, offset, present)
            target[i] = present
        steps = solve_plan(pl, x, v, a, target, u)
        if steps < 0 and k == 0:
            v = 0.0
            steps = solve_plan(pl, x, v, a, target, u)
        if steps >= 0:
            write_plan(pl, now, x, v, a, u, log[count])
            if not stays_on_rail(pl, log[count]):
                steps = -1
        if steps < 0 and k > 0:
            refused += 1
            continue
        fit_horizon(pl, target, poly)
        count += 1
    return count, refused


@kernel
def screen_side(lead_state, p, w, facing, lead, tick, cue, cam, pan, tx):  # type: ignore[no-untyped-def]
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
def viable(pl, v, a):  # type: ignore[no-untyped-def]
    """Tell whether a plan exists from speed v and acceleration a."""
    return abs(a) <= pl.accel and abs(v + a * abs(a) / (2 * pl.jerk)) <= pl.speed


@kernel
def run_operator(  # type: ignore[no-untyped-def]
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
                if not forced and not wants_plan(
                    now, made, asked[c], rest, changed, miss, tolerance, urgent
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


@kernel
def run_puller(
    pl,
    ticks,
    truth,
    p,
    w,
    weights,
    cues,
    rig,
    logs,
    counts,
    marks,
    tolerance,
    rest,
    fade,
    nearest,
    log,
):  # type: ignore[no-untyped-def]
    """Fill the focus log in dioptres; return (plans, refusals).

    `truth` (n,) is the rehearsed focus at the ticks, read ahead when `marks`; else the
    puller reacts to what is believed, along the planned camera. `nearest` is the close
    focus in dioptres.
    """
    n = ticks.shape[0]
    u = np.zeros(N_BLOCKS)
    target = np.zeros(N_NODES)
    poly = np.zeros(N_NODES)
    point = np.zeros(3)
    at = np.zeros(3, dtype=np.int64)
    cue = 0
    count = 0
    refused = 0
    asked = -np.inf
    for k in range(n):
        now = ticks[k]
        forced = k == 0
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            forced = True
        for c in range(3):
            while at[c] + 1 < counts[c] and logs[c, at[c] + 1, 0] <= now:
                at[c] += 1
        here = focus_target(
            0.0,
            k,
            ticks,
            truth,
            p,
            w,
            weights[cue],
            rig,
            logs,
            at,
            marks,
            fade,
            nearest,
            point,
        )
        x, v, a = here, 0.0, 0.0
        if k > 0:
            x, v, a = evaluate_plan(log[count - 1], now)
            made = log[count - 1, 0]
            changed = abs(here - horizon(poly, pl.horizon, now - made))
            if not forced and not wants_plan(
                now, made, asked, rest, changed, abs(here - x), tolerance, False
            ):
                continue
        asked = now
        for i in range(N_NODES):
            target[i] = focus_target(
                pl.nodes[i],
                k,
                ticks,
                truth,
                p,
                w,
                weights[cue],
                rig,
                logs,
                at,
                marks,
                fade,
                nearest,
                point,
            )
        steps = solve_plan(pl, x, v, a, target, u)
        if steps < 0:
            refused += 1
            if k > 0:
                continue
        write_plan(pl, now, x, v, a, u, log[count])
        fit_horizon(pl, target, poly)
        count += 1
    return count, refused


@kernel
def focus_target(
    ahead, tick, ticks, truth, p, w, weights, rig, logs, at, marks, fade, nearest, point
):  # type: ignore[no-untyped-def]
    """Return the dioptres that are asked for `ahead` seconds after a tick."""
    n = ticks.shape[0]
    if marks:
        now = ticks[tick] + ahead
        k = tick
        while k + 1 < n and ticks[k + 1] < now:
            k += 1
        if k + 1 >= n:
            return truth[n - 1]
        share = min(1.0, max(0.0, (now - ticks[k]) / (ticks[k + 1] - ticks[k])))
        return truth[k] + share * (truth[k + 1] - truth[k])
    lead = 0
    for s in range(weights.shape[0]):
        if weights[s] > weights[lead]:
            lead = s
    reach = -fade * np.expm1(-ahead / fade)
    for c in range(3):
        point[c] = body_point(p, lead, tick, 1.0, c) + reach * body_point(
            w, lead, tick, 1.0, c
        )
    now = ticks[tick] + ahead
    s, _, _ = evaluate_plan(logs[0, at[0]], now)
    pan, _, _ = evaluate_plan(logs[1, at[1]], now)
    tilt, _, _ = evaluate_plan(logs[2, at[2]], now)
    x, y, z = rig_place(rig, s)
    depth = (
        -(point[0] - x) * np.sin(pan) * np.cos(tilt)
        + (point[1] - y) * np.sin(tilt)
        - (point[2] - z) * np.cos(pan) * np.cos(tilt)
    )
    return min(nearest, 1.0 / max(depth, 1e-3))
