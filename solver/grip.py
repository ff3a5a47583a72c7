"""The grip: where the dolly goes on its rail."""

import numpy as np

from .compiled import kernel
from .decide import (
    CUE_AIM,
    CUE_DISTANCE,
    CUE_START,
    START_SHARE,
    fit_horizon,
    framed_point,
    horizon,
    wants_plan,
)
from .plan import evaluate_plan, solve_plan, stays_on_rail, write_plan
from .planner import N_BLOCKS, N_NODES
from .rig import abreast_s, bearing_s, distance_s

HOLD_ABREAST, HOLD_SIZE, HOLD_VIEW = 0, 1, 2
HEADING_SPEED = 0.5  # m/s below which the last heading is kept


@kernel
def rail_target(rig, hold, point, distance, bearing, offset, follow, present):
    """Return the rail position that the dolly's hold asks for."""
    if hold == HOLD_SIZE:
        return distance_s(rig, point[0], point[1], point[2], distance, present)
    if hold == HOLD_VIEW:
        return bearing_s(rig, point[0], point[2], bearing, present)
    return abreast_s(
        rig, point[0] + offset[0], point[1] + offset[1], point[2] + offset[2], follow
    )


@kernel
def run_grip(
    rig,
    pl,
    ticks,
    p,
    w,
    weights,
    cues,
    hold,
    view,
    offset,
    follow,
    tolerance,
    rest,
    fade,
    log,
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
        here = rail_target(rig, hold, point, distance, bearing, offset, follow, x)
        if k == 0:
            x = min(max(here, 1e-6), rig.length - 1e-6)
            framed_point(p, w, weights[cue], k, aim, 0.1, fade, point)
            soon = rail_target(rig, hold, point, distance, bearing, offset, follow, x)
            v = (soon - here) / 0.1
            v = min(max(v, -START_SHARE * pl.speed), START_SHARE * pl.speed)
            room = rig.length - x if v > 0 else x
            while abs(v) > 1e-6 and (
                v * v / (2 * pl.accel) + abs(v) * pl.accel / pl.jerk > room
            ):
                v /= 2
        elif not forced:
            changed = abs(here - horizon(poly, pl.horizon, now - log[count - 1, 0]))
            age = now - log[count - 1, 0]
            if not wants_plan(
                age, now - asked, rest, changed, abs(here - x), v, pl.horizon, tolerance
            ):
                continue
        asked = now
        present = x
        for i in range(N_NODES):
            framed_point(p, w, weights[cue], k, aim, pl.nodes[i], fade, point)
            present = rail_target(
                rig, hold, point, distance, bearing, offset, follow, present
            )
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
