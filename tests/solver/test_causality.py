"""No pose knows what a subject does later than the crew's reaction lets it know."""

import dataclasses
from fractions import Fraction

import numpy as np
import pytest
from shots import (
    RATE,
    SHOTS,
    acted,
    random_shot,
    round_arc,
    shot,
    shuttle,
    side_track,
    sprint,
    sticks,
    subject,
    walk,
)

from carrellata.solver.presets import Crew
from carrellata.solver.take import operate

CLOCK_S = 2e-9  # samples count as old enough to a nanosecond; times carry rounding
SHOTS_IN_BLOCK = 54  # two of each rig, hold and number of subjects
FUTURES = 4
FINE = Fraction(48)


def reaction_s(crew: Crew) -> float:
    return min(crew.grip.reaction_s, crew.operator.reaction_s)


def first_difference_s(one, other, *, focus=False):
    """Time of the first sample whose pose differs in any bit; inf if none does."""
    assert np.array_equal(one.times_s, other.times_s)
    fields = ["base", "place", "turn", "pan", "tilt", "rail"]
    fields += ["focus_m"] if focus else []
    same = np.ones(len(one.times_s), dtype=bool)
    for name in fields:
        a, b = getattr(one, name), getattr(other, name)
        bits = a.view(np.int64) == b.view(np.int64)
        same &= bits.reshape(len(same), -1).all(axis=1)
    return np.inf if same.all() else one.times_s[np.argmin(same)]


def other_future(person, k, rng):
    """The person with other samples from index k on, in any of several ways."""
    n = len(person.times_s) - k
    floor, eyes = person.floor.copy(), person.eyes.copy()
    facing, times = person.facing_rad.copy(), person.times_s.copy()
    fresh, visible = person.fresh.copy(), person.visible.copy()
    jump = rng.normal(0, 1, 3) * rng.choice([0.01, 1.0, 30.0])
    wander = np.cumsum(rng.normal(0, 0.2, (n, 3)), axis=0) * (rng.random() < 0.7)
    floor[k:] += jump + wander
    eyes[k:] += jump + wander + rng.normal(0, 0.5, (n, 3)) * (rng.random() < 0.5)
    facing[k:] = rng.uniform(-3, 3, n)
    if rng.random() < 0.5:
        fresh[k:] = rng.random(n) < rng.choice([0.0, 0.5, 1.0])
        visible[k:] = fresh[k:] | (rng.random(n) < 0.5)
    if rng.random() < 0.3:  # other times of samples, still after t0
        step = times[k] - times[k - 1]
        times[k:] = np.sort(times[k - 1] + step + rng.uniform(0, n * step, n))
    return dataclasses.replace(
        person,
        times_s=times,
        floor=floor,
        eyes=eyes,
        facing_rad=facing,
        fresh=fresh,
        visible=visible,
    )


def with_other_futures(one, rng):
    """The shot with a changed future; and the time of the first changed sample."""
    people = list(one.subjects)
    changed_s = np.inf
    chosen = rng.permutation(len(people))[: rng.integers(1, len(people) + 1)]
    for i in chosen:
        person = people[i]
        seen = np.flatnonzero(person.fresh)
        if len(seen) < 2 or seen[1] + 1 >= len(person.times_s):
            continue
        k = int(rng.integers(seen[1] + 1, len(person.times_s)))
        people[i] = other_future(person, k, rng)
        changed_s = min(changed_s, person.times_s[k], people[i].times_s[k])
    return dataclasses.replace(one, subjects=tuple(people)), changed_s


@pytest.mark.slow
@pytest.mark.parametrize("block", range(8))
def test_pose_is_the_same_to_the_bit_until_the_reaction_is_over(block):
    # With t0 the last unchanged sample and t1 the first changed one, every pose
    # before t1 + reaction is the same, so every pose up to t0 + reaction is.
    rng = np.random.default_rng([7, block])
    tried, moved, several, fine = 0, 0, 0, 0
    for number in range(SHOTS_IN_BLOCK):
        one = random_shot(rng, SHOTS_IN_BLOCK * block + number)
        take = operate(one)
        for _ in range(FUTURES):
            other, changed_s = with_other_futures(one, rng)
            if not np.isfinite(changed_s):
                continue
            again = operate(other)
            limit_s = changed_s + reaction_s(one.crew) - CLOCK_S
            assert first_difference_s(take, again) >= limit_s
            if one.crew.focus_method == "eye":
                late_s = min(reaction_s(one.crew), one.crew.puller.reaction_s)
                differs_s = first_difference_s(take, again, focus=True)
                assert differs_s >= changed_s + late_s - CLOCK_S
            tried += 1
            moved += np.isfinite(first_difference_s(take, again))
            several += len(one.subjects) > 1
            fine += one.samples_per_frame > 1
    assert tried >= 190  # 8 blocks: more than 1,500 futures
    assert moved > 0.5 * tried
    assert several > 0.4 * tried
    assert fine > 0.2 * tried


def _steady_shots():
    """Shots in which a leap of the subject is seen at once; four samples a frame.

    Acted at 24, operated at 48. The reaction is a whole number of frames, so that what
    is seen a frame early also shows a frame early.
    """
    runs = (acted(sprint(), 4.0), acted(walk(), 4.0), acted(shuttle(), 4.0))
    places = (sticks(), side_track(), round_arc(start=-2.0, sweep=4.0))
    shots = [
        shot(run, place, rate=FINE, preset=preset, samples_per_frame=4, hold=hold)
        for run in runs
        for place, hold in zip(places, ("abreast", "abreast", "size"), strict=True)
        for preset in ("brisk", "sharp")
    ]
    return [_with_reaction(one, lambda _: 8 / 48) for one in shots]


def _leaping(one, k, step=(2.0, 1.0, 1.0)):
    """The shot whose subject stands elsewhere from sample k on."""
    person = one.subjects[0]
    floor, eyes = person.floor.copy(), person.eyes.copy()
    floor[k:] += step
    eyes[k:] += step
    leapt = dataclasses.replace(person, floor=floor, eyes=eyes)
    return dataclasses.replace(one, subjects=(leapt,))


def _with_reaction(one, change):
    """The shot with the reaction of grip and operator put through `change`."""
    crew = one.crew
    grip, operator = (
        dataclasses.replace(member, reaction_s=change(member.reaction_s))
        for member in (crew.grip, crew.operator)
    )
    return dataclasses.replace(
        one, crew=dataclasses.replace(crew, grip=grip, operator=operator)
    )


def _earliness_s(one, k, honest, prepare=lambda shot: shot):
    """How long before t1 + reaction of `honest` the take first differs; < 0: after."""
    take, again = operate(prepare(one)), operate(prepare(_leaping(one, k)))
    allowed_s = one.subjects[0].times_s[k] + reaction_s(honest) - CLOCK_S
    return allowed_s - first_difference_s(take, again)


def test_camera_moves_right_after_the_reaction_is_over():
    # The first decision waits for a tick and at most for the operator's rest; what it
    # changes shows a sample later.
    late = []
    for one in _steady_shots():
        for k in (20, 41, 62):
            delay_s = -_earliness_s(one, k, one.crew)
            frame_s = 1 / float(one.rate)
            assert 0 <= delay_s <= one.crew.operator.rest_s + 2 * frame_s
            late.append(delay_s / frame_s)
    print(f"frames after the reaction: {min(late):.2f} to {max(late):.2f}")
    # A crew that decided just before the leap still rests (bound above); most don't.
    assert np.median(late) < 1.0
    assert np.mean(np.array(late) < 1.0) > 0.8


def _violations(prepare):
    return sum(
        _earliness_s(one, k, one.crew, prepare) > 0
        for one in _steady_shots()
        for k in (20, 41, 62)
    )


def test_the_check_passes_as_the_crew_is():
    assert _violations(lambda one: one) == 0


def test_the_check_fails_without_the_delay():
    assert _violations(lambda one: _with_reaction(one, lambda _: 0.0)) == 54


def test_the_check_fails_when_the_belief_reads_one_sample_too_many():
    # Not in every shot: a decision that rests hides the sample that was read.
    early = _violations(
        lambda one: _with_reaction(one, lambda s: s - 1 / float(one.rate))
    )
    print(f"a frame too early: {early} of 54 seen")
    assert early >= 45


def _resampled(one, rate):
    """The shot whose subject was interpolated to `rate` before the crew sees it."""
    person = one.subjects[0]
    count = round((person.times_s[-1] - person.times_s[0]) * float(rate)) + 1
    times = person.times_s[0] + np.arange(count) / float(rate)
    finer = subject(
        np.column_stack(
            [np.interp(times, person.times_s, person.floor[:, c]) for c in range(3)]
        ),
        rate,
        times_s=times,
    )
    return dataclasses.replace(one, subjects=(finer,))


def test_the_check_fails_when_the_input_was_interpolated_ahead():
    early = _violations(lambda one: _resampled(one, FINE))
    print(f"interpolated to 48: {early} of 54 seen")
    # A crew that follows evenly decides less often, and rests hide more of them.
    assert early >= 40


def test_the_check_fails_for_one_bit_of_one_pose():
    take = operate(SHOTS["sprint_on_sticks"]())
    pan = take.pan.copy()
    pan[30, 0] = np.nextafter(pan[30, 0], 1.0)
    touched = dataclasses.replace(take, pan=pan)
    assert first_difference_s(take, touched) == take.times_s[30]


def test_only_the_first_two_samples_reach_before_the_reaction():
    # They start the belief: the pre-roll reads them, whatever the reaction.
    one = SHOTS["lead_room_walk"]()
    start_s = one.subjects[0].times_s[0]
    take = operate(one)
    early = operate(_leaping(one, 1))
    late = operate(_leaping(one, 2))
    assert first_difference_s(take, early) == start_s
    assert first_difference_s(take, late) > start_s + reaction_s(one.crew)


def test_a_head_that_turns_later_moves_nothing_earlier():
    one = SHOTS["look_room_turn"]()
    person = one.subjects[0]
    facing = person.facing_rad.copy()
    facing[60:] = facing[0]
    stays = dataclasses.replace(
        one, subjects=(dataclasses.replace(person, facing_rad=facing),)
    )
    differs_s = first_difference_s(operate(one), operate(stays))
    seen_s = person.times_s[60] + reaction_s(one.crew)
    assert seen_s - CLOCK_S <= differs_s <= seen_s + 3 / float(RATE)
