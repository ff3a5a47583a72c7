"""The operator: pan and tilt that keep the frame, from where the dolly will be."""

import numpy as np

from ..arrays import ZERO
from ..compiled.kernel import kernel
from ..rigs.rig import rig_place
from .active_set import WORK_ROWS
from .decide import (
    CUE_AIM,
    CUE_LEAD,
    CUE_LOOK,
    CUE_START,
    CUE_U,
    CUE_V,
    CUE_WHIP,
    START_SHARE,
    fill_reaches,
    fit_horizon,
    horizon,
    primary_subject,
    rests,
    wants_plan,
)
from .head_target import asked_ray, frame_target, screen_side
from .plan import PLAN_WIDTH, evaluate_plan, solve_plan, write_plan
from .planner import MOST_ROWS, N_BLOCKS, N_NODES

SAFE = 0.93  # action-safe share of the frame: SMPTE ST 2046-1
HOLD_MARGIN = 0.85  # of the half frame, for those who must be held
HURRY = 0.5  # of tolerance and rest near the edge of the frame


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
    first,
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

    The operator begins at tick `first`.
    `whips` (2, ...) marks plans made with the whip's limits: from a whip's start until
    the channel is back inside the operator's own. `aims` (n_ticks, 2) is filled with
    the screen point at which the subject was to be held.
    """
    u = np.zeros(N_BLOCKS)
    work = np.empty((WORK_ROWS, MOST_ROWS))
    target = np.zeros((2, N_NODES))
    poly = np.zeros((2, N_NODES))
    span = np.ones(2)
    half = (np.arctan(tx), np.arctan(ty))
    room = (np.arctan(HOLD_MARGIN * tx), np.arctan(HOLD_MARGIN * ty))
    reaches = np.empty((2 * N_NODES, 3))
    fill_reaches(own.nodes, fade, ZERO, reaches)
    fill_reaches(whip.nodes, fade, np.intp(N_NODES), reaches)
    # Plans of both channels in one table: a view of one costs more than reading it.
    most = log.shape[1]
    plans = log.reshape(2 * most, PLAN_WIDTH)
    count = np.zeros(2, dtype=np.int64)
    asked = np.full(2, -np.inf)
    fast = np.zeros(2, dtype=np.bool_)
    on_rail = rig.length > 0.0
    cam = rig_place(rig, 0.0)
    cue = ZERO
    lead = primary_subject(weights, cue)
    dolly = 0
    refused = 0
    lead_state = 0.0
    roomy = False
    for i in range(cues.shape[0]):
        roomy = roomy or cues[i, CUE_LEAD] != 0.0 or cues[i, CUE_LOOK] != 0.0
    place = np.nan
    shift = 0.0
    ray = (0.0, 1.0, 0.0)
    for k in range(first, ticks.shape[0]):
        now = ticks[k]
        forced = k == first
        whipped = False
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            lead = primary_subject(weights, cue)
            forced = True
            whipped = cues[cue, CUE_WHIP] > 0
            place = np.nan
        # Not even who is near the edge decides before half the rest is over.
        resting = not forced and rests(now - min(asked[0], asked[1]), rest * HURRY)
        if resting and not roomy:
            aims[k, 0], aims[k, 1] = place, cues[cue, CUE_V]
            continue
        if on_rail:
            while dolly + 1 < grip_count and grip_log[dolly + 1, 0] <= now:
                dolly += 1
            x, _, _ = evaluate_plan(grip_log, dolly, now)
            cam = rig_place(rig, x)
        aim = cues[cue, CUE_AIM]
        near = near_v = near_a = 0.0
        if k > first:
            near, near_v, near_a = evaluate_plan(plans, count[0] - 1, now)
        if roomy:
            heading = near
            if k == first:
                middle = asked_ray(0.0, cues[cue, CUE_V], roll, tx, ty)
                heading, _ = frame_target(
                    p,
                    w,
                    weights,
                    must,
                    room,
                    cue,
                    aim,
                    k,
                    reaches,
                    ZERO,
                    cam,
                    near,
                    middle,
                )
            lead_state, shift = screen_side(
                lead_state, p, w, facing, lead, k, cues, cue, cam, heading, tx
            )
        if place != cues[cue, CUE_U] + shift:
            place = cues[cue, CUE_U] + shift
            ray = asked_ray(place, cues[cue, CUE_V], roll, tx, ty)
        aims[k, 0], aims[k, 1] = place, cues[cue, CUE_V]
        if resting:
            continue
        here = frame_target(
            p, w, weights, must, room, cue, aim, k, reaches, ZERO, cam, near, ray
        )
        walked = -1
        for c in range(2):
            if k == first:
                x, v, a = here[c], 0.0, 0.0
            else:
                if not forced and rests(now - asked[c], rest * HURRY):
                    continue
                x, v, a = near, near_v, near_a
                if c == 1:
                    x, v, a = evaluate_plan(plans, most + count[1] - 1, now)
                miss = abs(here[c] - x) / half[c]
                safe = SAFE - abs(place if c == 0 else cues[cue, CUE_V])
                urgent = miss > urgency * max(safe, 0.1)
                share = HURRY if urgent else 1.0
                if not forced and rests(now - asked[c], rest * share):
                    continue
                made = plans[c * most + count[c] - 1, 0]
                changed = abs(here[c] - horizon(poly, c, span[c], now - made)) / half[c]
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
            if walked != fast[c]:
                walked = fast[c]
                pan, target[0, 0], target[1, 0] = here[0], here[0], here[1]
                for i in range(1, N_NODES):
                    if on_rail:
                        s, _, _ = evaluate_plan(grip_log, dolly, now + pl.nodes[i])
                        cam = rig_place(rig, s)
                    ahead = N_NODES * walked + i
                    pan, tilt = frame_target(
                        p,
                        w,
                        weights,
                        must,
                        room,
                        cue,
                        aim,
                        k,
                        reaches,
                        ahead,
                        cam,
                        pan,
                        ray,
                    )
                    target[0, i], target[1, i] = pan, tilt
            if k == first:
                speed = (target[c, 1] - target[c, 0]) / own.nodes[1]
                v = min(max(speed, -START_SHARE * own.speed), START_SHARE * own.speed)
            asked[c] = now
            steps = solve_plan(pl, x, v, a, target[c], u, work)
            if steps < 0:
                refused += 1
                if k > first:
                    continue
            write_plan(pl, now, x, v, a, u, plans[c * most + count[c]])
            fit_horizon(pl, target[c], poly, c)
            span[c] = pl.horizon
            whips[c, count[c]] = fast[c]
            count[c] += 1
    return count[0], count[1], refused
