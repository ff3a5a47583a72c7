"""One tick of the crew at a time: the same bits as a whole shot at once."""

import numpy as np
import pytest
from shots import random_shot

from carrellata.solver.arrays import ZERO
from carrellata.solver.crew.grip import GripTask, run_grip, start_grip, step_grip
from carrellata.solver.crew.head_target import Sight
from carrellata.solver.crew.observe import believe, observe
from carrellata.solver.crew.operator import (
    DollyPlans,
    HeadTask,
    run_operator,
    start_operator,
    step_operator,
)
from carrellata.solver.crew.perform import (
    asked_of,
    head_logs,
    hold_of,
    manner_of,
    most_plans,
)
from carrellata.solver.crew.plan import PLAN_WIDTH
from carrellata.solver.crew.planner import brake_planner_of, planner_of, whip_planner_of
from carrellata.solver.crew.puller import (
    CameraPlans,
    PullerTask,
    run_puller,
    start_puller,
    step_puller,
)


def up_to(seen, tick):
    """What is seen up to a tick; what is believed later is not a number."""
    later = np.arange(len(seen.ticks)) > tick
    place, velocity = seen.place.copy(), seen.velocity.copy()
    fades = seen.fades.copy()
    place[:, later] = velocity[:, later] = fades[:, :, later] = np.nan
    facing = seen.facing.copy()
    if facing.size:
        facing[:, later] = np.nan
    return seen._replace(place=place, velocity=velocity, fades=fades, facing=facing)


def logs_of(shot, member, ticks, n=1):
    most = most_plans(ticks, member.rest_s, len(shot.framings))
    return [np.zeros((most, PLAN_WIDTH)) for _ in range(n)]


@pytest.mark.parametrize("number", [3, 7, 12, 16, 23])
def test_tick_by_tick_is_the_whole_shot_to_the_bit(number):
    shot = random_shot(np.random.default_rng(number), number)
    crew, rig = shot.crew, shot.rig.shape
    seen = observe(shot)
    ticks, n = seen.ticks, len(seen.ticks)
    asked = asked_of(shot)

    whole, stepped = logs_of(shot, crew.grip, ticks, 2)
    task = GripTask(
        rig=rig,
        planner=planner_of(crew.grip, length_m=shot.rig.length_m),
        brake=brake_planner_of(crew.grip, length_m=shot.rig.length_m),
        hold=hold_of(shot),
        asked=asked,
        manner=manner_of(crew.grip),
    )
    counted = run_grip(task, seen.grip, ZERO, whole)
    state, kept = start_grip(task, ZERO, stepped)
    for tick in range(n):
        state = step_grip(task, up_to(seen.grip, tick), tick + 1, state, kept)
    assert (state.made, state.refused) == counted
    assert state.made > 2
    assert np.array_equal(stepped, whole)

    head = HeadTask(
        rig=rig,
        own=planner_of(crew.operator),
        whip=whip_planner_of(crew.operator),
        asked=asked,
        manner=manner_of(crew.operator),
        sight=Sight(shot.roll_rad, *shot.tangents),
    )
    most = most_plans(ticks, crew.operator.rest_s, len(shot.framings))
    one, other = head_logs(n, most), head_logs(n, most)
    every = DollyPlans(whole, counted[0], task.planner.horizon, task.planner.accel)
    *counts, refused = run_operator(head, every, seen.operator, ZERO, one)
    state, kept = start_operator(head, ZERO, other)
    for tick in range(n):
        known = every._replace(made=int(np.sum(whole[: counted[0], 0] <= ticks[tick])))
        state = step_operator(
            head, known, up_to(seen.operator, tick), tick + 1, state, kept
        )
    assert kept.made.tolist() == counts
    assert state.refused == refused
    assert all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))

    puller = PullerTask(
        rig=rig,
        planner=planner_of(crew.puller),
        asked=asked,
        manner=manner_of(crew.puller, 0.05),
        marks=False,
        truth=np.empty(0),
        nearest=2.0,
    )
    camera = CameraPlans(
        whole[: counted[0]], *(one.plans[c, : counts[c]].copy() for c in range(2))
    )
    eyes = believe(crew.puller, shot.subjects, ticks)
    whole, stepped = logs_of(shot, crew.puller, ticks, 2)
    counted = run_puller(puller, camera, eyes, whole)
    state, kept = start_puller(puller, ZERO, stepped)
    for tick in range(n):
        state = step_puller(puller, camera, up_to(eyes, tick), tick + 1, state, kept)
    assert (state.made, state.refused) == counted
    assert state.made > 2
    assert np.array_equal(stepped, whole)


def test_a_tick_needs_no_more_than_what_is_seen_then():
    shot = random_shot(np.random.default_rng(4), 4)
    seen = observe(shot).grip
    task = GripTask(
        rig=shot.rig.shape,
        planner=planner_of(shot.crew.grip, length_m=shot.rig.length_m),
        brake=brake_planner_of(shot.crew.grip, length_m=shot.rig.length_m),
        hold=hold_of(shot),
        asked=asked_of(shot),
        manner=manner_of(shot.crew.grip),
    )
    whole, stepped = logs_of(shot, shot.crew.grip, seen.ticks, 2)
    counted = run_grip(task, seen, ZERO, whole)
    state, kept = start_grip(task, ZERO, stepped)
    for k in range(len(seen.ticks)):
        now = type(seen)(
            ticks=seen.ticks[k : k + 1],
            place=np.ascontiguousarray(seen.place[:, k : k + 1]),
            velocity=np.ascontiguousarray(seen.velocity[:, k : k + 1]),
            crest=np.ascontiguousarray(seen.crest[:, k : k + 1]),
            fades=np.ascontiguousarray(seen.fades[:, :, k : k + 1]),
            facing=seen.facing,
        )
        state = step_grip(task, now, 1, state._replace(tick=0), kept)
    assert (state.made, state.refused) == counted
    assert np.array_equal(stepped, whole)
