"""The focus puller: dioptres, by rehearsed marks or by eye."""

import numpy as np

from ..arrays import ZERO
from ..compiled.kernel import kernel
from ..rigs.rig import rig_place
from .active_set import WORK_ROWS
from .decide import (
    CUE_START,
    believed,
    fill_reaches,
    fit_horizon,
    horizon,
    primary_subject,
    rests,
    wants_plan,
)
from .plan import evaluate_plan, in_force, solve_plan, write_plan
from .planner import MOST_ROWS, N_BLOCKS, N_NODES

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
    depth = (
        -(point[0] - cam[0]) * np.sin(pan) * np.cos(tilt)
        + (point[1] - cam[1]) * np.sin(tilt)
        - (point[2] - cam[2]) * np.cos(pan) * np.cos(tilt)
    )
    return min(nearest, 1.0 / max(depth, LEAST_DEPTH_M))


@kernel
def focus_target(
    marks,
    ticks,
    truth,
    p,
    w,
    lead,
    tick,
    reaches,
    i,
    ahead,
    rig,
    dolly,
    pans,
    tilts,
    at,
    nearest,
):
    """Return the dioptres that are asked for `ahead` seconds, reach `i`, after a tick.

    `at` are the plans of dolly, pan and tilt that the puller knows of.
    """
    if marks:
        return marked_focus(ticks, truth, tick, ahead)
    then = ticks[tick] + ahead
    point = believed(p, w, lead, tick, 1.0, reaches, i)
    s, _, _ = evaluate_plan(dolly, at[0], then)
    pan, _, _ = evaluate_plan(pans, at[1], then)
    tilt, _, _ = evaluate_plan(tilts, at[2], then)
    return focus_on(point, rig_place(rig, s), pan, tilt, nearest)


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
    dolly,
    pans,
    tilts,
    marks,
    tolerance,
    rest,
    fade,
    nearest,
    log,
):
    """Fill the focus log in dioptres; return (plans, refusals).

    `truth` (n,) is the rehearsed focus at the ticks, read ahead when `marks`; else the
    puller reacts to what is believed, along the camera of the logs `dolly`, `pans` and
    `tilts`. `nearest` is the close focus in dioptres.
    """
    u = np.zeros(N_BLOCKS)
    work = np.empty((WORK_ROWS, MOST_ROWS))
    target = np.zeros(N_NODES)
    poly = np.zeros((1, N_NODES))
    channel = ZERO
    reaches = np.empty((N_NODES, 3))
    fill_reaches(pl.nodes, fade, ZERO, reaches)
    at = (ZERO, ZERO, ZERO)
    cue = ZERO
    count = 0
    refused = 0
    asked = -np.inf
    for k in range(ticks.shape[0]):
        now = ticks[k]
        forced = k == 0
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            forced = True
        if not forced and rests(now - asked, rest):
            continue
        lead = primary_subject(weights, cue)
        at = (
            in_force(dolly, at[0], now),
            in_force(pans, at[1], now),
            in_force(tilts, at[2], now),
        )
        here = focus_target(
            marks,
            ticks,
            truth,
            p,
            w,
            lead,
            k,
            reaches,
            ZERO,
            pl.nodes[0],
            rig,
            dolly,
            pans,
            tilts,
            at,
            nearest,
        )
        x, v, a = here, 0.0, 0.0
        if k > 0:
            x, v, a = evaluate_plan(log, count - 1, now)
            made = log[count - 1, 0]
            changed = abs(here - horizon(poly, channel, pl.horizon, now - made))
            if not forced and not wants_plan(
                now - made,
                now - asked,
                rest,
                changed,
                abs(here - x),
                v,
                pl.horizon,
                tolerance,
            ):
                continue
        asked = now
        target[0] = here
        for i in range(1, N_NODES):
            target[i] = focus_target(
                marks,
                ticks,
                truth,
                p,
                w,
                lead,
                k,
                reaches,
                i,
                pl.nodes[i],
                rig,
                dolly,
                pans,
                tilts,
                at,
                nearest,
            )
        steps = solve_plan(pl, x, v, a, target, u, work)
        if steps < 0:
            refused += 1
            if k > 0:
                continue
        write_plan(pl, now, x, v, a, u, log[count])
        fit_horizon(pl, target, poly, channel)
        count += 1
    return count, refused
