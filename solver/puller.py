"""The focus puller: dioptres, by rehearsed marks or by eye."""

import numpy as np

from .compiled import kernel
from .decide import CUE_START, believed, fit_horizon, horizon, wants_plan
from .plan import evaluate_plan, solve_plan, write_plan
from .planner import N_BLOCKS, N_NODES
from .rig import rig_place


@kernel
def focus_target(
    ahead, tick, ticks, truth, p, w, weights, rig, logs, at, marks, fade, nearest, point
):
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
    for c in range(3):
        point[c] = believed(p, w, lead, tick, 1.0, ahead, fade, c)
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
):
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
