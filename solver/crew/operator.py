"""The operator: pan and tilt that keep the frame, from where the dolly will be."""

from typing import NamedTuple

import numpy as np

from ..arrays import ZERO, BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan, atan2
from ..elementary.trigonometry import sin_cos
from ..rigs.rig import rig_place
from ..rigs.shape import RigShape
from .active_set import WORK_ROWS
from .decide import (
    CUE_AIM,
    CUE_CROWN,
    CUE_LEAD,
    CUE_LOOK,
    CUE_START,
    CUE_U,
    CUE_V,
    CUE_WHIP,
    PLAN_SPENT,
    START_SHARE,
    Asked,
    Manner,
    fit_horizon,
    horizon,
    only_subject,
    primary_subject,
    rests,
    wants_plan,
)
from .figure import N_FIGURE, NOBODY, BelievedFigure, figure_of, note_figures
from .head_target import (
    Aim,
    Post,
    Sight,
    asked_ray,
    crown_slope,
    frame_target,
    screen_side,
    subject_target,
)
from .plan import PLAN_WIDTH, evaluate_plan, solve_plan, viable, write_plan
from .planner import MOST_ROWS, N_BLOCKS, N_NODES, Planner

SAFE = 0.93  # action-safe share of the frame: SMPTE ST 2046-1
HOLD_MARGIN = 0.85  # of the half frame, for those who must be held
TILT_STALE = 0.5  # of the tolerance: a stale tilt that misses more is renewed
EVEN_CREST_M = 0.002  # if its subject bounces by less
HURRY = 0.5  # of tolerance and rest near the edge of the frame


class HeadTask(NamedTuple):
    """What an operator is to do; `own` and `whip` are planners of either axis."""

    rig: RigShape
    own: Planner
    whip: Planner
    asked: Asked
    manner: Manner
    sight: Sight


class HeadLogs(NamedTuple):
    """What an operator writes.

    Attributes:
        plans: of pan and tilt, (2, most, PLAN_WIDTH).
        whips: plans made with the whip's limits, (2, most): from a whip's start until
            the channel is back inside the operator's own.
        aims: screen point at which the subject was to be held, (n_ticks, 2).
    """

    plans: FloatArray
    whips: BoolArray
    aims: FloatArray


class DollyPlans(NamedTuple):
    """The dolly's plans that an operator knows of: the first `made` rows of `log`.

    A plan ends in a stop after its `horizon` [s], so that it is safe; what the grip
    means is to go on, inside the rail, and to brake at `accel` [m/s^2] before its end.
    """

    log: FloatArray
    made: int
    horizon: float
    accel: float


class HeadState(NamedTuple):
    """Where an operator is in a shot, between two ticks.

    Attributes:
        tick: the next one.
        cue: number of the cue in force.
        lead: number of its primary subject.
        dolly: the dolly's plan in force.
        side: to which side the subject travels on screen, -1 to 1.
        shift: of u, for the room ahead of that travel.
        place: u at which the subject is to be held.
        ray: `asked_ray` of that place.
        high: `crown_slope` of the cue.
        refused: decisions for which no plan existed.
        roomy: whether any cue leaves room ahead of travel or gaze.
    """

    tick: int
    cue: int
    lead: int
    dolly: int
    side: float
    shift: float
    place: float
    ray: tuple[float, float, float]
    high: tuple[float, float]
    refused: int
    roomy: bool


class HeadKept(NamedTuple):
    """Arrays that an operator's steps change, of pan and tilt, and scratch.

    Attributes:
        plans: rows of both channels in one table, (2 * most, PLAN_WIDTH): a view of
            one costs more than reading it.
        whips: as in `HeadLogs`.
        aims: as in `HeadLogs`.
        made: plans made, (2,).
        asked_s: when each was decided on last, (2,).
        fast: whether a channel whips, (2,).
        span: horizon of the plan in force, (2,) [s].
        poly: what the plans in force were made for, (2, N_NODES).
        half: half the angles of view, (2,) [rad].
        room: by how much one who must be held may be off the axis, (2,) [rad].
        target: scratch, the angles asked for at the nodes, (2, N_NODES) [rad].
        u: scratch, the jerks of a plan, (N_BLOCKS,).
        work: scratch of the active-set method.
    """

    plans: FloatArray
    whips: BoolArray
    aims: FloatArray
    made: IntArray
    asked_s: FloatArray
    fast: BoolArray
    span: FloatArray
    poly: FloatArray
    half: FloatArray
    room: FloatArray
    target: FloatArray
    u: FloatArray
    work: FloatArray


@kernel
def dolly_ahead(dolly, k, time, length):
    """Return where on its rail the dolly of plan k is expected to be at a time [s]."""
    beyond = time - dolly.log[k, 0] - dolly.horizon
    if not beyond > 0.0:
        s, _, _ = evaluate_plan(dolly.log, k, time)
        return s
    s, v = dolly.log[k, 1 + 3 * N_BLOCKS], dolly.log[k, 2 + 3 * N_BLOCKS]
    speed = abs(v)
    if speed == 0.0:
        return s
    way = 1.0 if v > 0.0 else -1.0
    room = length - s if v > 0.0 else s
    free = max(0.0, room / speed - speed / (2 * dolly.accel))
    brakes = min(max(beyond - free, 0.0), speed / dolly.accel)
    return s + way * min(
        room,
        speed * min(beyond, free) + brakes * (speed - dolly.accel * brakes / 2),
    )


@kernel
def start_operator(task, first, logs):
    """Return the state before tick `first`, and what is kept; plans go to `logs`."""
    tx, ty = task.sight.tx, task.sight.ty
    kept = HeadKept(
        logs.plans.reshape(2 * logs.plans.shape[1], PLAN_WIDTH),
        logs.whips,
        logs.aims,
        np.zeros(2, dtype=np.int64),
        np.full(2, -np.inf),
        np.zeros(2, dtype=np.bool_),
        np.ones(2),
        np.zeros((2, N_NODES)),
        np.array([atan(tx), atan(ty)]),
        np.array([atan(HOLD_MARGIN * tx), atan(HOLD_MARGIN * ty)]),
        np.zeros((2, N_NODES)),
        np.zeros(N_BLOCKS),
        np.empty((WORK_ROWS, MOST_ROWS)),
    )
    lead = primary_subject(task.asked.weights, ZERO)
    ray, high = (0.0, 1.0, 0.0), (np.inf, np.inf)
    roomy = wants_room(task.asked)
    state = HeadState(first, ZERO, lead, ZERO, 0.0, 0.0, np.nan, ray, high, ZERO, roomy)
    return state, kept


@kernel
def wants_room(asked):
    """Tell whether any cue leaves room ahead of travel or gaze."""
    for i in range(asked.cues.shape[0]):
        if asked.cues[i, CUE_LEAD] != 0.0 or asked.cues[i, CUE_LOOK] != 0.0:
            return True
    return False


@kernel
def step_operator(task, dolly, seen, until, state, kept):
    """Do the ticks from `state.tick` up to `until`, and return the state after them.

    `dolly` are its plans made up to the last of them, at least.
    """
    rig, own, whip, asked, manner, sight = task
    tick, cue, lead, rides, side, shift, place, ray, high, refused, roomy = state
    cues, weights, must, rest = asked.cues, asked.weights, asked.must, manner.rest
    figures = np.empty((weights.shape[1], N_FIGURE))
    plans, count, asked_s, fast = kept.plans, kept.made, kept.asked_s, kept.fast
    span, poly, half, room = kept.span, kept.poly, kept.half, kept.room
    target, u, aims = kept.target, kept.u, kept.aims
    ticks, rail, whips, work = seen.ticks, dolly.log, kept.whips, kept.work
    most = whips.shape[1]
    on_rail = rig.length > 0.0
    cam = rig_place(rig, 0.0)
    at, flow, fades, crest = seen.place, seen.velocity, seen.fades, seen.crest
    facing, figure = seen.facing, NOBODY
    sine, cosine = sin_cos(sight.roll)
    point, only = cues[cue, CUE_AIM], only_subject(asked.weights, cue)
    for k in range(tick, until):
        now = ticks[k]
        starts = count[0] == 0
        forced = starts
        whipped = False
        while cue + 1 < cues.shape[0] and cues[cue + 1, CUE_START] <= now + 1e-9:
            cue += 1
            lead = primary_subject(asked.weights, cue)
            point, only = cues[cue, CUE_AIM], only_subject(asked.weights, cue)
            forced = True
            whipped = cues[cue, CUE_WHIP] > 0
            place = np.nan
        # Not even who is near the edge decides before half the rest is over.
        resting = not forced and rests(now - min(asked_s[0], asked_s[1]), rest * HURRY)
        if resting and not roomy:
            aims[k, 0], aims[k, 1] = place, cues[cue, CUE_V]
            continue
        if on_rail:
            while rides + 1 < dolly.made and rail[rides + 1, 0] <= now:
                rides += 1
            x, _, _ = evaluate_plan(rail, rides, now)
            cam = rig_place(rig, x)
        near = near_v = near_a = 0.0
        if not starts:
            near, near_v, near_a = evaluate_plan(plans, count[0] - 1, now)
        if only >= 0:  # `figure_of`, without what it costs to call it
            x, y, z = at[only, k, 0, 0], at[only, k, 0, 1], at[only, k, 0, 2]
            vx, vy, vz = flow[only, k, 0, 0], flow[only, k, 0, 1], flow[only, k, 0, 2]
            figure = BelievedFigure(
                x,
                y,
                z,
                at[only, k, 1, 0] - x,
                at[only, k, 1, 1] - y,
                at[only, k, 1, 2] - z,
                vx,
                vy,
                vz,
                flow[only, k, 1, 0] - vx,
                flow[only, k, 1, 1] - vy,
                flow[only, k, 1, 2] - vz,
                fades[only, 0, k],
                fades[only, 1, k],
                crest[only, k],
            )
        if roomy:
            if only < 0:
                figure = figure_of(seen, lead, k)
            heading = near
            if starts:
                heading = atan2(cam[0] - figure.x, cam[2] - figure.z)
            side, shift = screen_side(
                side,
                (point, cues[cue, CUE_LEAD], cues[cue, CUE_LOOK]),
                figure,
                facing[lead, k],
                Post(cam[0], cam[1], cam[2], heading),
                sight.tx,
            )
        if place != cues[cue, CUE_U] + shift:
            place = cues[cue, CUE_U] + shift
            ray = asked_ray(place, cues[cue, CUE_V], sight)
            high = crown_slope(cues[cue, CUE_CROWN], sight)
        aims[k, 0], aims[k, 1] = place, cues[cue, CUE_V]
        if resting:
            continue
        aim = Aim(
            ray[0],
            ray[1],
            ray[2],
            high[0],
            high[1],
            sine,
            cosine,
            point,
            only,
            room[0],
            room[1],
        )
        post = Post(cam[0], cam[1], cam[2], near)
        framed = (weights, cue, lead, must)
        if only >= 0:
            here = subject_target(figure, 0.0, post, aim)
        else:
            note_figures(seen, k, figures)
            here = frame_target(figures, framed, 0.0, post, aim)
        walked = -1
        for c in range(2):
            if starts:
                x, v, a = here[c], 0.0, 0.0
            else:
                if not forced and rests(now - asked_s[c], rest * HURRY):
                    continue
                x, v, a = near, near_v, near_a
                if c == 1:
                    x, v, a = evaluate_plan(plans, most + count[1] - 1, now)
                miss = abs(here[c] - x) / half[c]
                safe = SAFE - abs(place if c == 0 else cues[cue, CUE_V])
                if c == 1 and here[1] > x and not np.isnan(cues[cue, CUE_CROWN]):
                    safe = min(safe, 1.0 - cues[cue, CUE_CROWN])
                urgent = miss > manner.urgency * max(safe, 0.1)
                share = HURRY if urgent else 1.0
                if not forced and rests(now - asked_s[c], rest * share):
                    continue
                finely = c == 1 and only >= 0 and figure.crest < EVEN_CREST_M
                made = plans[c * most + count[c] - 1, 0]
                changed = abs(here[c] - horizon(poly, c, span[c], now - made)) / half[c]
                if not forced and not wants_plan(
                    now - made,
                    now - asked_s[c],
                    rest * share,
                    changed,
                    miss / TILT_STALE if finely else miss,
                    v / half[c],
                    PLAN_SPENT * span[c],
                    manner.tolerance * share,
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
                        s = dolly_ahead(dolly, rides, now + pl.nodes[i], rig.length)
                        cam = rig_place(rig, s)
                    post = Post(cam[0], cam[1], cam[2], pan)
                    ahead = pl.nodes[i]
                    if only >= 0:
                        pan, tilt = subject_target(figure, ahead, post, aim)
                    else:
                        pan, tilt = frame_target(figures, framed, ahead, post, aim)
                    target[0, i], target[1, i] = pan, tilt
            if starts:
                speed = (target[c, 1] - target[c, 0]) / own.nodes[1]
                v = min(max(speed, -START_SHARE * own.speed), START_SHARE * own.speed)
            asked_s[c] = now
            steps = solve_plan(pl, x, v, a, target[c], u, work)
            if steps < 0:
                refused += 1
                if not starts:
                    continue
            write_plan(pl, now, x, v, a, u, plans[c * most + count[c]])
            fit_horizon(pl, target[c], poly, c)
            span[c] = pl.horizon
            whips[c, count[c]] = fast[c]
            count[c] += 1
    return HeadState(
        until, cue, lead, rides, side, shift, place, ray, high, refused, roomy
    )


@kernel
def run_operator(task, dolly, seen, first, logs):
    """Fill the pan and tilt logs from tick `first` on.

    Returns (pans, tilts, refusals).
    """
    state, kept = start_operator(task, first, logs)
    state = step_operator(task, dolly, seen, seen.ticks.shape[0], state, kept)
    return kept.made[0], kept.made[1], state.refused
