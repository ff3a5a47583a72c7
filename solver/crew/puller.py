"""The focus puller: dioptres, by rehearsed marks or by eye."""

from typing import NamedTuple

import numpy as np

from ..arrays import ZERO, FloatArray
from ..compiled.kernel import kernel
from ..elementary.trigonometry import sin_cos
from ..rigs.rig import rig_place
from ..rigs.shape import RigShape
from .active_set import WORK_ROWS
from .decide import (
    CUE_START,
    PLAN_SPENT,
    Asked,
    Manner,
    fit_horizon,
    horizon,
    primary_subject,
    rests,
    wants_plan,
)
from .figure import NOBODY, figure_of, moved_figure, point_of
from .plan import evaluate_plan, in_force, solve_plan, write_plan
from .planner import MOST_ROWS, N_BLOCKS, N_NODES, Planner

LEAST_DEPTH_M = 1e-3


@kernel
def marked_focus(ticks, truth, tick, ahead):
    """Return the rehearsed focus (n,) at the ticks, `ahead` seconds after one."""
    n = ticks.shape[0]
    now = ticks[tick] + ahead
    k = tick
    while k + 1 < n and ticks[k + 1] < now:
        k += 1
    if k + 1 >= n:
        return truth[n - 1]
    share = min(1.0, max(0.0, (now - ticks[k]) / (ticks[k + 1] - ticks[k])))
    return truth[k] + share * (truth[k + 1] - truth[k])


@kernel
def focus_on(point, cam, pan, tilt, nearest):
    """Return the dioptres that hold a point sharp, at most `nearest`."""
    sp, cp = sin_cos(pan)
    st, ct = sin_cos(tilt)
    depth = (
        -(point[0] - cam[0]) * sp * ct
        + (point[1] - cam[1]) * st
        - (point[2] - cam[2]) * cp * ct
    )
    return min(nearest, 1.0 / max(depth, LEAST_DEPTH_M))


class PullerTask(NamedTuple):
    """What a focus puller is to do in a shot.

    Attributes:
        rig: shape of the rig.
        planner: of the focus, in dioptres.
        asked: of the frame.
        manner: with the tolerance in dioptres.
        marks: whether the focus was rehearsed, and is read ahead from `truth`.
        truth: the rehearsed focus at the ticks, (n_ticks,) [dioptres].
        nearest: close focus [dioptres].
    """

    rig: RigShape
    planner: Planner
    asked: Asked
    manner: Manner
    marks: bool
    truth: FloatArray
    nearest: float


class CameraPlans(NamedTuple):
    """Logs of the plans of dolly, pan and tilt."""

    dolly: FloatArray
    pan: FloatArray
    tilt: FloatArray


class PullerState(NamedTuple):
    """Where a puller is in a shot, between two ticks.

    Attributes:
        tick: the next one.
        cue: in force.
        at: plans of dolly, pan and tilt in force.
        asked_s: when the puller decided last.
        made: plans made.
        refused: decisions for which no plan existed.
    """

    tick: int
    cue: int
    at: tuple[int, int, int]
    asked_s: float
    made: int
    refused: int


class PullerKept(NamedTuple):
    """Arrays that a puller's steps change: the plans, what they were for, scratch."""

    log: FloatArray
    poly: FloatArray
    target: FloatArray
    u: FloatArray
    work: FloatArray


@kernel
def plans_in_force(dolly, pan, tilt, at, now):
    """Return the plans of a camera in force at a time, at or after the plans `at`."""
    return (
        in_force(dolly, at[0], now),
        in_force(pan, at[1], now),
        in_force(tilt, at[2], now),
    )


@kernel
def focus_through(rig, dolly, pan, tilt, at, time, point, nearest):
    """Return the dioptres that hold a point sharp at a time of the plans `at`."""
    s, _, _ = evaluate_plan(dolly, at[0], time)
    turned, _, _ = evaluate_plan(pan, at[1], time)
    tilted, _, _ = evaluate_plan(tilt, at[2], time)
    return focus_on(point, rig_place(rig, s), turned, tilted, nearest)


@kernel
def start_puller(task, first, log):
    """Return the state before tick `first`, and what is kept; plans go to `log`."""
    kept = PullerKept(
        log,
        np.zeros((1, N_NODES)),
        np.zeros(N_NODES),
        np.zeros(N_BLOCKS),
        np.empty((WORK_ROWS, MOST_ROWS)),
    )
    return PullerState(first, ZERO, (ZERO, ZERO, ZERO), -np.inf, ZERO, ZERO), kept


@kernel
def step_puller(task, camera, seen, until, state, kept):
    """Do the ticks from `state.tick` up to `until`, and return the state after them."""
    rig, pl, asked, manner, marks, truth, nearest = task
    cues, nodes = asked.cues, pl.nodes
    ticks = seen.ticks
    dolly, pan, tilt = camera
    tick, cue, at, asked_s, count, refused = state
    log, poly, target, u, work = kept
    for k in range(tick, until):
        now = ticks[k]
        starts = count == 0
        forced = starts
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            forced = True
        if not forced and rests(now - asked_s, manner.rest):
            continue
        lead = primary_subject(asked.weights, cue)
        at = plans_in_force(dolly, pan, tilt, at, now)
        figure = NOBODY
        if marks:
            here = marked_focus(ticks, truth, k, nodes[0])
        else:
            figure = figure_of(seen, lead, k)
            eyes = point_of(figure, 1.0)
            here = focus_through(rig, dolly, pan, tilt, at, now, eyes, nearest)
        x, v, a = here, 0.0, 0.0
        if not starts:
            x, v, a = evaluate_plan(log, count - 1, now)
            age = now - log[count - 1, 0]
            if not forced and not wants_plan(
                age,
                now - asked_s,
                manner.rest,
                abs(here - horizon(poly, ZERO, pl.horizon, age)),
                abs(here - x),
                v,
                PLAN_SPENT * pl.horizon,
                manner.tolerance,
            ):
                continue
        asked_s = now
        target[0] = here
        for i in range(1, N_NODES):
            if marks:
                target[i] = marked_focus(ticks, truth, k, nodes[i])
                continue
            then = now + nodes[i]
            eyes = point_of(moved_figure(figure, nodes[i]), 1.0)
            target[i] = focus_through(rig, dolly, pan, tilt, at, then, eyes, nearest)
        steps = solve_plan(pl, x, v, a, target, u, work)
        if steps < 0:
            refused += 1
            if not starts:
                continue
        write_plan(pl, now, x, v, a, u, log[count])
        fit_horizon(pl, target, poly, ZERO)
        count += 1
    return PullerState(until, cue, at, asked_s, count, refused)


@kernel
def run_puller(task, camera, seen, log):
    """Fill the focus log in dioptres; return (plans, refusals).

    By marks the puller goes by the rehearsal; else by what is believed, along the
    camera's plans.
    """
    state, kept = start_puller(task, ZERO, log)
    state = step_puller(task, camera, seen, seen.ticks.shape[0], state, kept)
    return state.made, state.refused
