"""Works a setup: grip and operator on what they believe, then the judge, in one kernel.

One, because a call from Python costs as much as a hundred frames of a channel: it takes
some fifty arrays out of Python's objects. They are gathered here.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..crew.decide import Asked, Manner, Seen
from ..crew.grip import GripTask, Hold, run_grip
from ..crew.head_target import Sight
from ..crew.observe import (
    Observed,
    carried_back,
    frames_clear,
    observe,
    preroll_length,
)
from ..crew.operator import (
    DollyPlans,
    HeadLogs,
    HeadTask,
    start_operator,
    step_operator,
)
from ..crew.perform import asked_of, head_logs, manner_of, most_plans
from ..crew.plan import LENGTHS, PLAN_WIDTH, evaluate_plan
from ..crew.planner import Planner, planner_of, whip_planner_of
from ..elementary.arctangent import atan
from ..elementary.length import hypot
from ..frame.projection import Screen, shaking_of
from ..frame.tally import starts_within
from ..presets import Crew
from ..rigs.clearance import rail_gap
from ..rigs.rig import rig_place
from ..rigs.shape import RigShape
from ..shake import shake_layer
from ..shot import Shot
from .judge import (
    DOLLY_RATE,
    PAN_RATE,
    PATH_GAP,
    REFUSED,
    TILT_RATE,
    Lensed,
    PlanLogs,
    judge,
    must_hold,
)
from .losing import NOTHING_LOST, Operated, broken_by, lost_until
from .prospect import ROUNDING, Bound, frames_may_hold, may_hold, too_near
from .setup import Setup, in_setup

TICKS_A_LOOK = 12  # of the operator, after which heads are looked for


class Hands(NamedTuple):
    """What grip and operator are like: how they decide, and the operator's planners."""

    grip: Manner
    operator: Manner
    own: Planner
    whip: Planner


class Through(NamedTuple):
    """What is asked of the frame through one lens, how it sees, and its bounds."""

    asked: Asked
    sight: Sight
    lensed: Lensed
    bound: Bound


class Watched(NamedTuple):
    """What the crew believes at the ticks, and room for the plans made then.

    The ticks begin `most` frames before those that are solved: the most that
    `frames_clear` may add for a rig that the subjects, `carried` back at the frame
    `rate` [frames/s], have to keep clear of.
    """

    carried: FloatArray
    rate: float
    most: int
    grip: Seen
    operator: Seen
    rails: FloatArray
    heads: HeadLogs


def hands_of(crew: Crew) -> Hands:
    """Return what grip and operator of a crew are like."""
    operator = crew.operator
    return Hands(
        grip=manner_of(crew.grip),
        operator=manner_of(operator),
        own=planner_of(operator),
        whip=whip_planner_of(operator),
    )


def through_of(shot: Shot, setup: Setup) -> Through:
    """Return what a shot asks of the frame through the lens of a setup."""
    worked = in_setup(shot, setup)
    tx, ty = worked.tangents
    frames = np.arange(shot.first, shot.last + 1, dtype=np.float64)
    shake = shake_layer(
        shot.shake,
        times_s=shot.times_of(frames),
        seed=shot.seed,
        focal_mm=setup.lens.focal_mm,
        gate=shot.gate,
    )
    return Through(
        asked=asked_of(worked),
        sight=Sight(shot.roll_rad, tx, ty),
        lensed=Lensed(
            Screen(tx, ty, shot.gate.axis_v), shot.roll_rad, shaking_of(shake)
        ),
        bound=Bound(
            corner_rad=atan(hypot(tx, ty * (1.0 + abs(shot.gate.axis_v)))),
            ty=ty,
            shift_m=float(np.linalg.norm(shake.xyz, axis=1).max()),
            turn_rad=float((np.abs(shake.pan) + np.abs(shake.tilt)).max()),
            may_be_out=1.0 - must_hold(shot.framings),
        ),
    )


def watched(shot: Shot) -> Observed:
    """Return what grip and operator believe in a shot, whatever its setup.

    It is the same for every lens, rig and framing of one action and one crew.
    """
    # Longer before the cut than any setup needs: beliefs read only what was before.
    return observe(shot, preroll_length(shot)[1], handle=False)


def watched_of(shot: Shot, seen: Observed) -> Watched:
    """Return what is believed in a shot, and room for plans.

    Args:
        shot: whatever its setup.
        seen: of `watched`.
    """
    rate, most = preroll_length(shot)
    ticks, n_cues = seen.ticks, len(shot.framings)
    grips = most_plans(ticks, shot.crew.grip.rest_s, n_cues)
    heads = most_plans(ticks, shot.crew.operator.rest_s, n_cues)
    return Watched(
        carried=carried_back(shot),
        rate=rate,
        most=most,
        grip=seen.grip,
        operator=seen.operator,
        rails=np.zeros((grips, PLAN_WIDTH)),
        heads=head_logs(len(ticks), heads),
    )


class Rigged(NamedTuple):
    """A rig as it is operated: shape, what the dolly keeps, planners and view.

    `view_rad` is the asked bearing of the lens, from the heading.
    """

    rig: RigShape
    hold: Hold
    planner: Planner
    brake: Planner
    view_rad: float


@kernel
def work(rigged, hands, through, watched, action, within, verdict):
    """Let grip and operator work a setup, and fill all numbers of the trial.

    Returns False, with nothing judged, as soon as it is certain that what breaks adds
    up to more than the `Within` allows. For `verdict` see `judge`.
    """
    rig = rigged.rig
    cams, out = verdict.cams, verdict.numbers
    on_rail = rig.length > 0.0
    out[PATH_GAP] = rail_gap(rig, action.bodies) if on_rail else np.inf
    at_most, bounded = within.at_most, within.at_most < np.inf
    if bounded:
        if on_rail:
            if within.clear_m > 0.0:
                at_most -= max(0.0, 1.0 - out[PATH_GAP] / within.clear_m - ROUNDING)
            if not may_hold(rig, action, through.bound, at_most):
                return False
        else:
            cams[0, 0], cams[0, 1], cams[0, 2] = rig_place(rig, 0.0)
            at_most -= too_near(cams[:1], action.bodies, within.least_m)
            if not frames_may_hold(cams[:1], action, through.bound, at_most):
                return False
    clear = frames_clear(rig, watched.carried, watched.rate, watched.most)
    first = watched.most - clear
    asked = through.asked
    rails, logs = watched.rails, watched.heads.plans
    ticks = watched.operator.ticks
    if on_rail:
        task = GripTask(
            rig, rigged.planner, rigged.brake, rigged.hold, asked, hands.grip
        )
        moves, refused = run_grip(task, watched.grip, first, rails)
        if bounded:
            travel(rig, rails[:moves], action.times_s, cams)
            at_most -= too_near(cams, action.bodies, within.least_m)
            if not frames_may_hold(cams, action, through.bound, at_most):
                return False
    else:
        rails[0] = 0.0
        rails[0, 0], rails[0, LENGTHS] = ticks[first], np.inf
        moves, refused = 1, 0
    head = HeadTask(
        rig, hands.own, hands.whip, through.asked, hands.operator, through.sight
    )
    dolly = DollyPlans(rails, moves, rigged.planner.horizon, rigged.planner.accel)
    state, kept = start_operator(head, first, watched.heads)
    n_ticks = ticks.shape[0]
    lost, shown = NOTHING_LOST, action.seen.sum()
    may_be_out = through.bound.may_be_out + ROUNDING
    while state.tick < n_ticks:
        until = n_ticks
        if bounded:
            until = min(max(state.tick, watched.most) + TICKS_A_LOOK, n_ticks)
        state = step_operator(head, dolly, watched.operator, until, state, kept)
        if until < n_ticks:
            operated = Operated(rails[:moves], kept.plans, kept.made)
            lost = lost_until(lost, ticks[until], rig, operated, action, through.lensed)
            if broken_by(lost, shown, may_be_out) > at_most:
                return False
    pans, tilts = kept.made[0], kept.made[1]
    aims = watched.heads.aims
    plans = PlanLogs(rails[:moves], logs[0, :pans], logs[1, :tilts], ticks, aims)
    judge(rig, plans, action, rigged.view_rad, through.lensed, verdict)
    n = action.times_s.shape[0]
    first, last = action.times_s[0], action.times_s[n - 1]
    span = max(n * (last - first) / max(n - 1, 1), 1e-9)
    out[PAN_RATE] = starts_within(logs[0, :pans, 0], first, last) / span
    out[TILT_RATE] = starts_within(logs[1, :tilts, 0], first, last) / span
    out[DOLLY_RATE] = starts_within(rails[:moves, 0], first, last) / span
    out[REFUSED] = refused + state.refused
    return True


@kernel
def travel(rig, rails, times, cams):
    """Fill the first three of `cams` (n, 5) with the places of the lens [m]."""
    now = 0
    for f in range(times.shape[0]):
        while now + 1 < rails.shape[0] and rails[now + 1, 0] <= times[f]:
            now += 1
        s, _, _ = evaluate_plan(rails, now, times[f])
        cams[f, 0], cams[f, 1], cams[f, 2] = rig_place(rig, s)
