"""Works a setup: grip and operator on what they believe, then the judge, in one kernel.

One, because a call from Python costs as much as a hundred frames of a channel: it takes
some fifty arrays out of Python's objects. They are gathered here.
"""

from math import atan, hypot
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..compiled.kernel import kernel
from ..crew.grip import run_grip
from ..crew.member import Crew
from ..crew.observe import carried_back, frames_clear, observe, preroll_length
from ..crew.operator import run_operator
from ..crew.perform import cue_rows, most_plans
from ..crew.plan import LENGTHS, PLAN_WIDTH, evaluate_plan
from ..crew.planner import Planner
from ..frame.tally import starts_within
from ..rigs.clearance import rail_gap
from ..rigs.rig import rig_place
from ..shot import Shot
from .judge import DOLLY_RATE, PAN_RATE, PATH_GAP, REFUSED, judge
from .prospect import frames_may_hold, may_hold
from .setup import Setup, in_setup


class Hands(NamedTuple):
    """What grip and operator are like; see `run_grip` and `run_operator`."""

    grip_tolerance: float
    grip_rest_s: float
    grip_fades_s: FloatArray
    own: Planner
    whip: Planner
    tolerance: float
    rest_s: float
    fades_s: FloatArray
    urgency: float


class Through(NamedTuple):
    """What is asked of the frame through one lens, and how it sees.

    `cues` have a row a framing, `weights` and `must` are of the subjects; `corner_rad`
    is the angle from the optical axis to a corner of the frame, at most.
    """

    cues: FloatArray
    weights: FloatArray
    must: BoolArray
    roll_rad: float
    tx: float
    ty: float
    axis_v: float
    corner_rad: float


class Watched(NamedTuple):
    """What the crew believes at the ticks, and room for the plans made then.

    The ticks begin `most` frames before those that are solved, further back than a rig
    may need that the subjects, `carried` back at the frame `rate`, have to keep clear
    of: see `frames_clear`.
    """

    carried: FloatArray
    rate: float
    most: int
    ticks: FloatArray
    grip_place: FloatArray
    grip_velocity: FloatArray
    place: FloatArray
    velocity: FloatArray
    facing: FloatArray
    rails: FloatArray
    logs: FloatArray
    whips: BoolArray
    aims: FloatArray


def hands_of(crew: Crew) -> Hands:
    """Return what grip and operator of a crew are like."""
    grip, operator = crew.grip, crew.operator
    return Hands(
        grip_tolerance=grip.tolerance,
        grip_rest_s=grip.rest_s,
        grip_fades_s=grip.fades_s,
        own=operator.planner(),
        whip=operator.whip_planner(),
        tolerance=operator.tolerance,
        rest_s=operator.rest_s,
        fades_s=operator.fades_s,
        urgency=operator.urgency,
    )


def through_of(shot: Shot, setup: Setup) -> Through:
    """Return what a shot asks of the frame through the lens of a setup."""
    worked = in_setup(shot, setup)
    cues, weights = cue_rows(worked.framings)
    tx, ty = worked.tangents
    return Through(
        cues=cues,
        weights=weights,
        must=np.array([subject.must_hold for subject in shot.subjects]),
        roll_rad=shot.roll_rad,
        tx=tx,
        ty=ty,
        axis_v=shot.gate.axis_v,
        corner_rad=atan(hypot(tx, ty * (1.0 + abs(shot.gate.axis_v)))),
    )


def watched_of(shot: Shot) -> Watched:
    """Return what is believed in a shot, and room for plans."""
    rate, most = preroll_length(shot)
    # Longer before the cut than any setup needs: beliefs read only what was before.
    seen = observe(shot, most, handle=False)
    ticks, n_cues = seen.ticks, len(shot.framings)
    heads = most_plans(ticks, shot.crew.operator.rest_s, n_cues)
    grips = most_plans(ticks, shot.crew.grip.rest_s, n_cues)
    return Watched(
        carried=carried_back(shot),
        rate=rate,
        most=most,
        ticks=ticks,
        grip_place=seen.grip.place,
        grip_velocity=seen.grip.velocity,
        place=seen.operator.place,
        velocity=seen.operator.velocity,
        facing=seen.facing,
        rails=np.zeros((grips, PLAN_WIDTH)),
        logs=np.zeros((2, heads, PLAN_WIDTH)),
        whips=np.zeros((2, heads), dtype=np.bool_),
        aims=np.zeros((len(ticks), 2)),
    )


@kernel
def work(
    rig,
    held,
    planner,
    hands,
    through,
    watched,
    acted,
    view,
    at_most,
    cams,
    screen,
    out,
):
    """Let grip and operator work a setup, and fill all numbers of the trial.

    Returns False, with nothing judged, as soon as it is certain that what breaks adds
    up to more than `at_most`. `held` is what the dolly keeps: hold, bearing [rad],
    offset (3,) [m] and follow; for `cams`, `screen` and `out` see `judge`.
    """
    on_rail = rig.length > 0.0
    out[PATH_GAP] = rail_gap(rig, acted.bodies) if on_rail else np.inf
    corner, ty = through.corner_rad, through.ty
    if not may_hold(rig, out[PATH_GAP], acted, corner, ty, at_most):
        return False
    clear = frames_clear(rig, watched.carried, watched.rate, watched.most)
    first = watched.most - clear
    hold, bearing, offset, follow = held
    rails, logs = watched.rails, watched.logs
    if on_rail:
        moves, refused = run_grip(
            rig,
            planner,
            watched.ticks,
            first,
            watched.grip_place,
            watched.grip_velocity,
            through.weights,
            through.cues,
            hold,
            bearing,
            offset,
            follow,
            hands.grip_tolerance,
            hands.grip_rest_s,
            hands.grip_fades_s,
            rails,
        )
        travel(rig, rails[:moves], acted.times_s, cams)
        if not frames_may_hold(cams, acted, corner, ty, at_most):
            return False
    else:
        rails[0] = 0.0
        rails[0, 0], rails[0, LENGTHS] = watched.ticks[first], np.inf
        moves, refused = 1, 0
    pans, tilts, lost = run_operator(
        rig,
        rails,
        moves,
        hands.own,
        hands.whip,
        watched.ticks,
        first,
        watched.place,
        watched.velocity,
        watched.facing,
        through.weights,
        through.must,
        through.cues,
        hands.tolerance,
        hands.rest_s,
        hands.fades_s,
        hands.urgency,
        through.roll_rad,
        through.tx,
        through.ty,
        logs,
        watched.whips,
        watched.aims,
    )
    judge(
        rig,
        rails[:moves],
        logs[0, :pans],
        logs[1, :tilts],
        watched.ticks,
        watched.aims,
        acted,
        view,
        through.roll_rad,
        through.tx,
        through.ty,
        through.axis_v,
        cams,
        screen,
        out,
    )
    n = acted.times_s.shape[0]
    first, last = acted.times_s[0], acted.times_s[n - 1]
    span = max(n * (last - first) / max(n - 1, 1), 1e-9)
    out[PAN_RATE] = starts_within(logs[0, :pans, 0], first, last) / span
    out[DOLLY_RATE] = starts_within(rails[:moves, 0], first, last) / span
    out[REFUSED] = refused + lost
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
