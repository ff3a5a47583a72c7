"""The grip: where the dolly goes on its rail."""

from typing import NamedTuple

import numpy as np

from ..arrays import ZERO, FloatArray
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..rigs.rig import abreast_s, bearing_s, distance_s
from ..rigs.shape import RigShape
from .active_set import WORK_ROWS
from .decide import (
    CUE_AIM,
    CUE_DISTANCE,
    CUE_START,
    PLAN_SPENT,
    START_SHARE,
    Asked,
    Manner,
    fit_horizon,
    framed_point,
    horizon,
    only_subject,
    primary_subject,
    rests,
    wants_plan,
)
from .figure import N_FIGURE, NOBODY, figure_of, moved_figure, note_figures, point_of
from .plan import evaluate_plan, solve_plan, stays_on_rail, write_plan
from .planner import MOST_ROWS, N_BLOCKS, N_NODES, Planner

HOLD_ABREAST, HOLD_SIZE, HOLD_VIEW = 0, 1, 2
SETTLE_SPEED = 0.3  # m/s along the rail: slower than this somebody has stopped
SETTLE_BACK_M = 0.5  # who has stopped is followed again when he comes back so far
SETTLE_ACCEL = 0.95  # of the limit, with which a dolly settles
SETTLE_PAST_M = 0.2  # one that would rest further past who has stopped brakes hard
LAG_S, MOST_LAG_M = 0.42, 0.6  # a dolly abreast hangs back, so that it can stop in time
FLAT_OUT = 0.999  # of the speed limit: a new plan goes no faster
HEADING_SPEED = 0.5  # m/s below which the last heading is kept
SOON_S = 0.1  # over which the speed is measured with which the dolly starts


class Hold(NamedTuple):
    """What the dolly keeps; see `shot.Shot`.

    `kind` is HOLD_*, `bearing` [rad] from the subject's travel, `offset` (3,) [m] the
    place beside the subject, `follow` the share of the way that is covered.
    """

    kind: int
    bearing: float
    offset: tuple[float, float, float]
    follow: float


class GripTask(NamedTuple):
    """What a grip is to do in a shot; the planners know how long the rail is.

    `brake` is the planner of somebody who brakes hard, within the limits of `planner`.
    """

    rig: RigShape
    planner: Planner
    brake: Planner
    hold: Hold
    asked: Asked
    manner: Manner


class GripState(NamedTuple):
    """Where a grip is in a shot, between two ticks.

    Attributes:
        tick: the next one.
        cue: number of the cue in force.
        lead: number of its primary subject.
        heading_x, heading_z: last direction of the subject's travel, of any length.
        settled: the way that the dolly ran, +1 or -1, when its subject stopped: it
            comes to rest and waits there, and the pan finishes; 0 while it follows.
        furthest: of the subject since, along the rail [m].
        hard: whether it brakes hard, until it follows again.
        span: horizon of the plan in force [s].
        asked_s: when the grip decided last.
        made: plans made.
        refused: decisions for which no plan existed.
    """

    tick: int
    cue: int
    lead: int
    heading_x: float
    heading_z: float
    settled: float
    furthest: float
    hard: bool
    span: float
    asked_s: float
    made: int
    refused: int


class GripKept(NamedTuple):
    """Arrays that a grip's steps change: the plans, what they were for, and scratch."""

    log: FloatArray
    poly: FloatArray
    target: FloatArray
    u: FloatArray
    work: FloatArray


@kernel
def rail_target(rig, hold, point, distance, bearing, present):
    """Return the rail position that the dolly's hold asks for."""
    x, y, z = point
    if hold.kind == HOLD_SIZE:
        return distance_s(rig, x, y, z, distance, present)
    if hold.kind == HOLD_VIEW:
        return bearing_s(rig, x, z, bearing, present)
    offset = hold.offset
    return abreast_s(rig, x + offset[0], y + offset[1], z + offset[2], hold.follow)


@kernel
def start_grip(task, first, log):
    """Return the state before tick `first`, and what is kept; plans go to `log`."""
    kept = GripKept(
        log,
        np.zeros((1, N_NODES)),
        np.zeros(N_NODES),
        np.zeros(N_BLOCKS),
        np.empty((WORK_ROWS, MOST_ROWS)),
    )
    lead = primary_subject(task.asked.weights, ZERO)
    state = GripState(
        first, ZERO, lead, 0.0, -1.0, 0.0, 0.0, False, 1.0, -np.inf, ZERO, ZERO
    )
    return state, kept


@kernel
def step_grip(task, seen, until, state, kept):
    """Do the ticks from `state.tick` up to `until`, and return the state after them."""
    rig, own, brake, hold, asked, manner = task
    (
        tick,
        cue,
        lead,
        heading_x,
        heading_z,
        settled,
        furthest,
        hard,
        span,
        asked_s,
        count,
        refused,
    ) = state
    cues, weights, log, poly = asked.cues, asked.weights, kept.log, kept.poly
    figures = np.empty((weights.shape[1], N_FIGURE))
    target, u, work = kept.target, kept.u, kept.work
    ticks, velocity = seen.ticks, seen.velocity
    aim, only = cues[cue, CUE_AIM], only_subject(asked.weights, cue)
    abreast = hold.kind == HOLD_ABREAST
    figure = NOBODY
    for k in range(tick, until):
        now = ticks[k]
        starts = count == 0
        forced = starts
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            lead = primary_subject(asked.weights, cue)
            aim, only = cues[cue, CUE_AIM], only_subject(asked.weights, cue)
            forced = True
        vx, vz = velocity[lead, k, 0, 0], velocity[lead, k, 0, 2]
        if vx * vx + vz * vz > HEADING_SPEED**2:
            heading_x, heading_z = vx, vz
        if not forced and rests(now - asked_s, manner.rest):
            continue
        bearing = atan2(-heading_x, -heading_z) + hold.bearing
        distance = cues[cue, CUE_DISTANCE]
        lag = 0.0
        if abreast:
            lag = min(LAG_S, MOST_LAG_M / max(np.sqrt(vx * vx + vz * vz), 1e-3))
        x, v, a = rig.length / 2, 0.0, 0.0
        if not starts:
            x, v, a = evaluate_plan(log, count - 1, now)
        if only >= 0:
            figure = figure_of(seen, only, k)
            point = point_of(moved_figure(figure, -lag), aim)
        else:
            note_figures(seen, k, figures)
            point = framed_point(figures, weights, cue, aim, -lag)
        here = rail_target(rig, hold, point, distance, bearing, x)
        if starts:
            x = min(max(here, 1e-6), rig.length - 1e-6)
        if starts or abreast:
            if only >= 0:
                point = point_of(moved_figure(figure, SOON_S - lag), aim)
            else:
                point = framed_point(figures, weights, cue, aim, SOON_S - lag)
            soon = rail_target(rig, hold, point, distance, bearing, x)
            speed = (soon - here) / SOON_S
            if starts:
                v = started_speed(own, x, speed)
            else:
                followed = settled == 0.0
                rest = x + v * abs(v) / (2 * own.accel)
                settled, furthest = settles(settled, furthest, rest, v, here, speed)
                if settled != 0.0:
                    if followed:
                        forced = True
                        past = settled * (rest - here) + abs(v) * own.accel / own.jerk
                        hard = hard or past > SETTLE_PAST_M
                    here = settled * max(settled * here, settled * x)
        if not starts and not forced:
            age = now - log[count - 1, 0]
            flat_out = v * (here - x) > 0.0 and abs(v) > FLAT_OUT * own.speed
            if not wants_plan(
                age,
                now - asked_s,
                manner.rest,
                abs(here - horizon(poly, ZERO, span, age)),
                0.0 if flat_out else abs(here - x),
                v,
                PLAN_SPENT * span,
                manner.tolerance,
            ):
                continue
        asked_s = now
        hard = hard and settled != 0.0
        pl = brake if hard else own
        present = x
        for i in range(N_NODES):
            ahead = pl.nodes[i] - lag
            if only >= 0:
                point = point_of(moved_figure(figure, ahead), aim)
            else:
                point = framed_point(figures, weights, cue, aim, ahead)
            present = rail_target(rig, hold, point, distance, bearing, present)
            target[i] = present
            if settled != 0.0:
                rest = braked(pl, x, v, pl.nodes[i])
                target[i] = settled * max(settled * present, settled * rest)
        steps = solve_plan(pl, x, v, a, target, u, work)
        if steps < 0 and starts:
            v = 0.0
            steps = solve_plan(pl, x, v, a, target, u, work)
        if steps >= 0:
            write_plan(pl, now, x, v, a, u, log[count])
            if not stays_on_rail(pl, log[count]):
                steps = -1
        if steps < 0 and not starts:
            refused += 1
            continue
        fit_horizon(pl, target, poly, ZERO)
        span = pl.horizon
        count += 1
    return GripState(
        until,
        cue,
        lead,
        heading_x,
        heading_z,
        settled,
        furthest,
        hard,
        span,
        asked_s,
        count,
        refused,
    )


@kernel
def settles(settled, furthest, rest, v, here, speed):
    """Return (settled, furthest) of a dolly with speed v; see `GripState`.

    `rest` is where it comes to rest if it brakes, `here` where the subject asks for it,
    and `speed` that place's [m/s].
    """
    if settled == 0.0:
        way = 1.0 if v > 0.0 else -1.0
        stopped = abs(v) > SETTLE_SPEED and abs(speed) < SETTLE_SPEED
        if stopped and way * (rest - here) > 0:
            return way, here
        return 0.0, 0.0
    furthest = settled * max(settled * furthest, settled * here)
    comes_back = settled * (furthest - here) > SETTLE_BACK_M
    walks_on = settled * speed > 2 * SETTLE_SPEED
    if comes_back or walks_on or settled * (here - rest) >= 0.0:
        return 0.0, 0.0
    return settled, furthest


@kernel
def braked(pl, x, v, ahead):
    """Return where a dolly at x with speed v is when it has braked for a time [s]."""
    accel = SETTLE_ACCEL * pl.accel
    ramp = min(ahead, pl.accel / (2 * pl.jerk))  # as far as if it braked at once then
    lasts = min(ahead - ramp, abs(v) / accel)
    way = 1.0 if v > 0.0 else -1.0
    return x + v * (ramp + lasts) - way * accel * lasts * lasts / 2


@kernel
def started_speed(pl, x, wanted):
    """Return the speed with which a dolly starts at x: one that it can stop from."""
    v = min(max(wanted, -START_SHARE * pl.speed), START_SHARE * pl.speed)
    room = pl.length - x if v > 0 else x
    while abs(v) > 1e-6 and (
        v * v / (2 * pl.accel) + abs(v) * pl.accel / pl.jerk > room
    ):
        v /= 2
    return v


@kernel
def run_grip(task, seen, first, log):
    """Fill the dolly's plan log from tick `first` on; return (plans, refusals).

    A refusal is a decision for which no plan existed: the plan in force, which ends in
    a stop on the rail, goes on.
    """
    state, kept = start_grip(task, first, log)
    state = step_grip(task, seen, seen.ticks.shape[0], state, kept)
    return state.made, state.refused
