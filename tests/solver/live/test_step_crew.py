"""A crew that works live: the bits of the whole shot at once, a tick at a time."""

from dataclasses import replace
from fractions import Fraction

import motion
import numpy as np
import pytest
from shots import (
    RATE,
    SHOTS,
    acted,
    random_shot,
    runner_on_track,
    shot,
    sticks,
    subject,
    walk,
)

from carrellata.solver.action.subject import Subject
from carrellata.solver.errors import SolverError
from carrellata.solver.live.crew import StepCrew, StepState
from carrellata.solver.live.state import (
    ASKED_U,
    ASKED_V,
    BASE,
    FOCUS,
    PAN,
    PLACE,
    RAIL,
    TILT,
    TIME,
    TURN,
)
from carrellata.solver.live.watch import SEEN_WIDTH
from carrellata.solver.shot import Shot
from carrellata.solver.take import Take, operate

SAME_S = 1e-9


def given(subjects: tuple[Subject, ...], time_s: float) -> list[float]:
    """What there is to be seen at a time."""
    out: list[float] = []
    for one in subjects:
        at = np.flatnonzero(np.abs(one.times_s - time_s) < SAME_S)
        if not len(at):
            out += [0.0] * SEEN_WIDTH
            continue
        i = int(at[0])
        head = 1.0, one.times_s[i], one.fresh[i], one.facing_rad[i]
        out += [*map(float, head), *one.floor[i].tolist(), *one.eyes[i].tolist()]
    return out


def stepped(done: Shot) -> np.ndarray:
    """Poses at the whole frames of a take, from samples as they come."""
    crew = StepCrew(done)
    state = crew.start()
    poses = []
    for frame in range(done.first - done.handles[0], done.last + done.handles[1] + 1):
        state = crew.step(state, given(done.subjects, done.times_of(float(frame))))
        poses.append(state.pose)
    return np.array(poses)


def assert_same(poses: np.ndarray, take: Take) -> None:
    rows = np.flatnonzero(take.sub == 0)
    for at, whole in (
        (TIME, take.times_s[:, None]),
        (RAIL, take.rail),
        (PAN, take.pan),
        (TILT, take.tilt),
        (BASE, take.base),
        (PLACE, take.place),
        (TURN, take.turn),
        (FOCUS, take.focus_m[:, None]),
        (ASKED_U, take.aim_u[:, None]),
        (ASKED_V, (take.aim_v - take.shot.gate.axis_v)[:, None]),
    ):
        one = poses[:, at : at + whole.shape[1]]
        if at == ASKED_V:  # one sum more was made of it
            assert one == pytest.approx(whole[rows], abs=1e-15)
        else:
            assert np.array_equal(one, whole[rows])


def by_eye(done: Shot, variability: float) -> Shot:
    crew = replace(done.crew, focus_method="eye", variability=variability)
    return replace(done, crew=crew)


@pytest.mark.parametrize("name", SHOTS)
def test_steps_are_the_whole_shot_to_the_bit(name: str) -> None:
    done = by_eye(SHOTS[name](), 1.0)
    poses = stepped(done)
    assert np.ptp(poses[:, PAN]) > 0.0 or np.ptp(poses[:, RAIL]) > 0.0
    assert_same(poses, operate(done))


@pytest.mark.parametrize("preset", ["steady", "sharp", "heavy_head"])
def test_steps_of_every_crew_are_the_whole_shot(preset: str) -> None:
    done = by_eye(runner_on_track(preset), 0.5)
    assert_same(stepped(done), operate(done))


@pytest.mark.parametrize("number", range(0, 36, 2))
def test_steps_of_any_rig_hold_and_cue_are_the_whole_shot(number: int) -> None:
    done = random_shot(np.random.default_rng(number), number)
    done = by_eye(done, number % 3 / 2)
    assert_same(stepped(done), operate(done))


@pytest.mark.parametrize("name", ["walk", "run", "spinkick"])
def test_steps_on_recorded_motion_are_the_whole_shot(name: str) -> None:
    rate_hz, hips = motion.deepmimic(name)
    rate = Fraction(round(rate_hz))
    person = subject(hips - [0.0, 0.9, 0.0], rate)
    middle = hips.mean(axis=0)
    done = by_eye(shot(person, sticks(float(middle[2]) + 6.0), rate=rate), 1.0)
    assert len(hips) > 20
    assert_same(stepped(done), operate(done))


def test_a_step_leaves_the_state_before_as_it_is() -> None:
    done = by_eye(runner_on_track(), 1.0)
    crew = StepCrew(done)
    state = crew.start()
    kept = state.numbers.tobytes()
    seen = given(done.subjects, done.times_of(float(done.first)))
    one, other = crew.step(state, seen), crew.step(state, seen)
    assert state.numbers.tobytes() == kept
    assert one.numbers.tobytes() == other.numbers.tobytes() != kept
    with pytest.raises(ValueError, match="read-only"):
        one.numbers[0] = 1.0


def test_samples_between_two_ticks_are_seen_as_in_the_whole_shot() -> None:
    whole = acted(walk(), 4.0)
    finer = acted(walk(), 4.0, rate=2 * RATE, first=2002)
    done = by_eye(replace(shot(whole, sticks()), subjects=(finer,)), 1.0)
    crew = StepCrew(done, samples_per_tick=2)
    state, poses = crew.start(), []
    for frame in range(done.first, done.last + 1):
        between = done.times_of(frame - 0.5)
        if frame > done.first:
            state = crew.see(state, given(done.subjects, between))
        state = crew.step(state, given(done.subjects, done.times_of(float(frame))))
        poses.append(state.pose)
    assert_same(np.array(poses), operate(done))


def test_more_samples_than_there_is_room_for_are_refused() -> None:
    done = by_eye(runner_on_track(), 0.0)
    crew = StepCrew(done)
    state = crew.start()
    seen = given(done.subjects, done.times_of(float(done.first + 2)))
    for _ in range(3):  # what is kept for the reaction is more than a tick's
        seen[1] += 1e-3
        state = crew.see(state, seen)
    with pytest.raises(SolverError, match="a: more than 1 samples from one tick"):
        _see_many(crew, state, seen)


def _see_many(crew: StepCrew, state: StepState, seen: list[float]) -> None:
    for _ in range(200):
        seen[1] += 1e-3
        state = crew.see(state, seen)
