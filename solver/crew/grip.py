"""The grip: where the dolly goes on its rail."""

import numpy as np

from ..arrays import ZERO
from ..compiled.kernel import kernel
from ..rigs.rig import abreast_s, bearing_s, distance_s
from .active_set import WORK_ROWS
from .decide import (
    CUE_AIM,
    CUE_DISTANCE,
    CUE_START,
    START_SHARE,
    fill_reaches,
    fit_horizon,
    framed_point,
    horizon,
    primary_subject,
    rests,
    wants_plan,
)
from .plan import evaluate_plan, solve_plan, stays_on_rail, write_plan
from .planner import MOST_ROWS, N_BLOCKS, N_NODES

HOLD_ABREAST, HOLD_SIZE, HOLD_VIEW = 0, 1, 2
HEADING_SPEED = 0.5  # m/s below which the last heading is kept
SOON_S = 0.1  # over which the speed is measured with which the dolly starts


@kernel
def rail_target(rig, hold, point, distance, bearing, offset, follow, present):
    """Return the rail position that the dolly's hold asks for."""
    x, y, z = point
    if hold == HOLD_SIZE:
        return distance_s(rig, x, y, z, distance, present)
    if hold == HOLD_VIEW:
        return bearing_s(rig, x, z, bearing, present)
    return abreast_s(rig, x + offset[0], y + offset[1], z + offset[2], follow)


@kernel
def run_grip(
    rig,
    pl,
    ticks,
    first,
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
    """Fill the dolly's plan log from tick `first` on; return (plans, refusals).

    A refusal is a decision for which no plan existed: the plan in force, which ends in
    a stop on the rail, goes on.
    """
    u = np.zeros(N_BLOCKS)
    work = np.empty((WORK_ROWS, MOST_ROWS))
    target = np.zeros(N_NODES)
    poly = np.zeros((1, N_NODES))
    channel = ZERO
    reaches = np.empty((N_NODES + 1, 3))
    fill_reaches(pl.nodes, fade, ZERO, reaches)
    fill_reaches(np.array([SOON_S]), fade, np.intp(N_NODES), reaches)
    cue = ZERO
    lead = primary_subject(weights, cue)
    heading_x, heading_z = 0.0, -1.0
    count = 0
    refused = 0
    asked = -np.inf
    for k in range(first, ticks.shape[0]):
        now = ticks[k]
        forced = k == first
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            lead = primary_subject(weights, cue)
            forced = True
        vx, vz = w[lead, k, 0, 0], w[lead, k, 0, 2]
        if vx * vx + vz * vz > HEADING_SPEED**2:
            heading_x, heading_z = vx, vz
        if not forced and rests(now - asked, rest):
            continue
        bearing = np.arctan2(-heading_x, -heading_z) + view
        aim, distance = cues[cue, CUE_AIM], cues[cue, CUE_DISTANCE]
        if k == first:
            x, v, a = rig.length / 2, 0.0, 0.0
        else:
            x, v, a = evaluate_plan(log, count - 1, now)
        point = framed_point(p, w, weights, cue, k, aim, reaches, ZERO)
        here = rail_target(rig, hold, point, distance, bearing, offset, follow, x)
        if k == first:
            x = min(max(here, 1e-6), rig.length - 1e-6)
            point = framed_point(p, w, weights, cue, k, aim, reaches, np.intp(N_NODES))
            soon = rail_target(rig, hold, point, distance, bearing, offset, follow, x)
            v = (soon - here) / SOON_S
            v = min(max(v, -START_SHARE * pl.speed), START_SHARE * pl.speed)
            room = rig.length - x if v > 0 else x
            while abs(v) > 1e-6 and (
                v * v / (2 * pl.accel) + abs(v) * pl.accel / pl.jerk > room
            ):
                v /= 2
        elif not forced:
            age = now - log[count - 1, 0]
            changed = abs(here - horizon(poly, channel, pl.horizon, age))
            if not wants_plan(
                age, now - asked, rest, changed, abs(here - x), v, pl.horizon, tolerance
            ):
                continue
        asked = now
        present = x
        for i in range(N_NODES):
            point = framed_point(p, w, weights, cue, k, aim, reaches, i)
            present = rail_target(
                rig, hold, point, distance, bearing, offset, follow, present
            )
            target[i] = present
        steps = solve_plan(pl, x, v, a, target, u, work)
        if steps < 0 and k == first:
            v = 0.0
            steps = solve_plan(pl, x, v, a, target, u, work)
        if steps >= 0:
            write_plan(pl, now, x, v, a, u, log[count])
            if not stays_on_rail(pl, log[count]):
                steps = -1
        if steps < 0 and k > first:
            refused += 1
            continue
        fit_horizon(pl, target, poly, channel)
        count += 1
    return count, refused
