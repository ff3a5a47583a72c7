"""One tick of a crew that works live: grip, operator and puller, and the pose then."""

import numpy as np

from ..arrays import ONE, ZERO
from ..compiled.borrowed import borrowed
from ..compiled.kernel import kernel
from ..cosines import cosine_sums
from ..crew.grip import GripState, GripTask, start_grip, step_grip
from ..crew.operator import (
    DollyPlans,
    HeadLogs,
    HeadState,
    HeadTask,
    start_operator,
    step_operator,
)
from ..crew.plan import LENGTHS, PLAN_WIDTH
from ..crew.pose import ChannelLogs, base_poses, shake_over
from ..crew.puller import (
    CameraPlans,
    PullerState,
    PullerTask,
    start_puller,
    step_puller,
)
from .given import (
    CLOCK,
    FIRST_FRAME,
    GRIP,
    GRIP_BRAKE,
    GRIP_OWN,
    HEAD_OWN,
    HEAD_WHIP,
    LENS,
    NEAREST,
    OPERATOR,
    PLANNER_ACCEL,
    PLANNER_HORIZON,
    PULLER,
    PULLER_OWN,
    ROLL,
    SHAKE_HZ,
    SHAKE_SHARES,
    SHAKE_SPREAD,
    SHAKE_TURNS,
    asked_in,
    hold_in,
    manner_in,
    planner_in,
    rig_in,
    sight_in,
    tick_time,
)
from .packed import block, line
from .state import (
    ASKED_U,
    ASKED_V,
    BASE,
    DOLLY_PLAN,
    FOCUS,
    FOCUS_PLAN,
    FRAME,
    GRIP_NUMBERS,
    GRIP_TARGET,
    HEAD_CHANNELS,
    HEAD_NUMBERS,
    HEAD_TARGETS,
    PAN,
    PAN_PLAN,
    PLACE,
    PLANS,
    POSE,
    PULLER_NUMBERS,
    PULLER_TARGET,
    RAIL,
    TICKS,
    TILT,
    TILT_PLAN,
    TIME,
    TURN,
)
from .watch import (
    SEEN_WIDTH,
    forget,
    keep_sample,
    member_sees,
    memory_of,
    start_filters,
)


@kernel
def grip_ticks(rig, fixed, memory, state, tick):
    """Let the grip do a tick; where there is no rail the dolly stands."""
    plans = block(state, PLANS)
    if not rig.length > 0.0:
        if tick == 0:
            plans[DOLLY_PLAN, 0] = tick_time(memory.clock, tick)
            plans[DOLLY_PLAN, LENGTHS] = np.inf
        return
    task = GripTask(
        rig,
        planner_in(fixed, GRIP_OWN),
        planner_in(fixed, GRIP_BRAKE),
        hold_in(fixed),
        asked_in(fixed),
        manner_in(fixed, GRIP),
    )
    log = np.empty((2, PLAN_WIDTH))
    at, kept = start_grip(task, ZERO, log)
    n, target = line(state, GRIP_NUMBERS), line(state, GRIP_TARGET)
    if tick > 0:
        log[0], kept.poly[0] = plans[DOLLY_PLAN], target
        at = GripState(
            ZERO,
            int(n[0]),
            int(n[1]),
            n[2],
            n[3],
            n[4],
            n[5],
            n[6] > 0.0,
            n[7],
            n[8],
            1,
            int(n[9]),
        )
    at = step_grip(task, member_sees(fixed, memory, GRIP, tick), ONE, at, kept)
    plans[DOLLY_PLAN], target[:] = log[at.made - 1], kept.poly[0]
    n[0], n[1], n[2], n[3] = at.cue, at.lead, at.heading_x, at.heading_z
    n[4], n[5], n[6] = at.settled, at.furthest, 1.0 if at.hard else 0.0
    n[7], n[8], n[9] = at.span, at.asked_s, at.refused


@kernel
def operator_ticks(rig, fixed, memory, state, tick):
    """Let the operator do a tick; return where in the frame the subject is to be."""
    plans, channels = block(state, PLANS), block(state, HEAD_CHANNELS)
    n, targets = line(state, HEAD_NUMBERS), block(state, HEAD_TARGETS)
    task = HeadTask(
        rig,
        planner_in(fixed, HEAD_OWN),
        planner_in(fixed, HEAD_WHIP),
        asked_in(fixed),
        manner_in(fixed, OPERATOR),
        sight_in(fixed),
    )
    grip = line(fixed, GRIP_OWN)
    horizon, accel = grip[PLANNER_HORIZON], grip[PLANNER_ACCEL]
    dolly = DollyPlans(plans[: DOLLY_PLAN + 1], 1, horizon, accel)
    logs = HeadLogs(
        np.empty((2, 2, PLAN_WIDTH)), np.empty((2, 2), np.bool_), np.empty((1, 2))
    )
    at, kept = start_operator(task, ZERO, logs)
    if tick > 0:
        for c in range(2):
            kept.made[c] = 1
            kept.plans[2 * c], kept.poly[c] = plans[PAN_PLAN + c], targets[c]
            kept.asked_s[c], kept.span[c] = channels[0, c], channels[1, c]
            kept.fast[c] = channels[2, c] > 0.0
        at = HeadState(
            ZERO,
            int(n[0]),
            int(n[1]),
            ZERO,
            n[2],
            n[3],
            n[4],
            (n[5], n[6], n[7]),
            (n[8], n[9]),
            int(n[10]),
            at.roomy,
        )
    seen = member_sees(fixed, memory, OPERATOR, tick)
    at = step_operator(task, dolly, seen, ONE, at, kept)
    for c in range(2):
        plans[PAN_PLAN + c] = kept.plans[2 * c + kept.made[c] - 1]
        targets[c] = kept.poly[c]
        channels[0, c], channels[1, c] = kept.asked_s[c], kept.span[c]
        channels[2, c] = 1.0 if kept.fast[c] else 0.0
    n[0], n[1], n[2], n[3], n[4] = at.cue, at.lead, at.side, at.shift, at.place
    n[5], n[6], n[7] = at.ray
    n[8], n[9] = at.high
    n[10] = at.refused
    return kept.aims[0, 0], kept.aims[0, 1]


@kernel
def puller_ticks(rig, fixed, memory, state, tick):
    """Let the puller, who pulls by eye, do a tick."""
    plans, n = block(state, PLANS), line(state, PULLER_NUMBERS)
    target = line(state, PULLER_TARGET)
    task = PullerTask(
        rig,
        planner_in(fixed, PULLER_OWN),
        asked_in(fixed),
        manner_in(fixed, PULLER),
        False,
        np.empty(0),
        line(fixed, LENS)[NEAREST],
    )
    camera = CameraPlans(
        plans[DOLLY_PLAN : DOLLY_PLAN + 1],
        plans[PAN_PLAN : PAN_PLAN + 1],
        plans[TILT_PLAN : TILT_PLAN + 1],
    )
    log = np.empty((2, PLAN_WIDTH))
    at, kept = start_puller(task, ZERO, log)
    if tick > 0:
        log[0], kept.poly[0] = plans[FOCUS_PLAN], target
        at = PullerState(ZERO, int(n[0]), (ZERO, ZERO, ZERO), n[1], 1, int(n[2]))
    seen = member_sees(fixed, memory, PULLER, tick)
    at = step_puller(task, camera, seen, ONE, at, kept)
    plans[FOCUS_PLAN], target[:] = log[at.made - 1], kept.poly[0]
    n[0], n[1], n[2] = at.cue, at.asked_s, at.refused


@kernel
def pose_now(rig, fixed, state, tick, asked):
    """Fill the pose of a tick from the plans in force."""
    plans, pose = block(state, PLANS), line(state, POSE)
    times = np.empty(1)
    clock = line(fixed, CLOCK)
    times[0] = tick_time(clock, tick)
    tracks, base, focus = np.empty((3, 1, 3)), np.empty((1, 3)), np.empty(1)
    logs = ChannelLogs(
        plans[DOLLY_PLAN : DOLLY_PLAN + 1],
        plans[PAN_PLAN : PAN_PLAN + 1],
        plans[TILT_PLAN : TILT_PLAN + 1],
        plans[FOCUS_PLAN : FOCUS_PLAN + 1],
    )
    lens = line(fixed, LENS)
    base_poses(rig, times, logs, lens[NEAREST], tracks, base, focus)
    layer = np.zeros((6, 1))
    shares = line(fixed, SHAKE_SHARES)
    if shares.shape[0] > 0:
        hertz, turns = block(fixed, SHAKE_HZ), block(fixed, SHAKE_TURNS)
        cosine_sums(times, hertz, turns, shares, line(fixed, SHAKE_SPREAD), layer)
    place, turn = np.empty((1, 3)), np.empty((1, 4))
    shake = layer[0], layer[1], layer[2], layer[3], layer[4], layer[5]
    shake_over(base, tracks[1], tracks[2], lens[ROLL], shake, place, turn)
    last = pose[TURN : TURN + 4]
    turn = turn[0]
    dot = turn[0] * last[0] + turn[1] * last[1] + turn[2] * last[2] + turn[3] * last[3]
    way = -1.0 if dot < 0.0 else 1.0  # into the hemisphere of the one before
    for c in range(3):
        pose[RAIL + c], pose[PAN + c] = tracks[0, 0, c], tracks[1, 0, c]
        pose[TILT + c] = tracks[2, 0, c]
        pose[BASE + c], pose[PLACE + c] = base[0, c], place[0, c]
    for c in range(4):
        pose[TURN + c] = way * turn[c]
    pose[TICKS], pose[TIME] = tick, times[0]
    pose[FRAME] = clock[FIRST_FRAME] + tick
    pose[FOCUS], pose[ASKED_U], pose[ASKED_V] = focus[0], asked[0], asked[1]


@kernel
def keep_all(fixed, memory, given):
    """Keep what was seen of all subjects; return the first for whom there is no room.

    -1 says that there was for everybody. `given` has SEEN_WIDTH
    numbers a subject.
    """
    for s in range(memory.counts.shape[0]):
        if given[SEEN_WIDTH * s] > 0.0 and not keep_sample(fixed, memory, s, given):
            return s
    return -1


@kernel
def see_crew(fixed, state, given):
    """Keep what was seen; return as `keep_all` does."""
    fixed, state = borrowed(fixed), borrowed(state)
    return keep_all(fixed, memory_of(fixed, state), given)


@kernel
def start_crew(fixed, state):
    """Start every filter with the first samples, which are kept."""
    start_filters(memory_of(borrowed(fixed), borrowed(state)))


@kernel
def step_crew(origin, direction, table, fixed, state, given, shown):
    """Keep what was seen, and do the next tick in place; return as `keep_all` does.

    A pose is made of it where it is to be shown. The arrays of the rig stand apart: a
    tuple with them takes longer than they do.
    """
    fixed, state = borrowed(fixed), borrowed(state)
    memory = memory_of(fixed, state)
    full = keep_all(fixed, memory, given)
    if full >= 0:
        return full
    rig = rig_in(fixed, origin, direction, table)
    tick = int(line(state, POSE)[TICKS]) + 1
    grip_ticks(rig, fixed, memory, state, tick)
    asked = operator_ticks(rig, fixed, memory, state, tick)
    puller_ticks(rig, fixed, memory, state, tick)
    if shown:
        pose_now(rig, fixed, state, tick, asked)
    line(state, POSE)[TICKS] = tick
    forget(memory, tick_time(memory.clock, tick))
    return full
