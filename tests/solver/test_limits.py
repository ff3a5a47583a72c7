"""Speed, acceleration and jerk keep their limits between samples; rails keep ends."""

import dataclasses
from fractions import Fraction

import motion
import numpy as np
import pytest
from shots import (
    SHOTS,
    acted,
    circle,
    hand_over,
    random_shot,
    shot,
    shuttle,
    sprint,
    subject,
    zigzag,
)

from carrellata.solver.crew.plan import (
    LENGTHS,
    N_BLOCKS,
    PLAN_WIDTH,
    evaluate_plan,
    write_plan,
)
from carrellata.solver.crew.planner import WHIP, build_planner
from carrellata.solver.presets import PRESETS, Crew
from carrellata.solver.rigs.arc import arc as make_arc
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.rigs.track import track as make_track
from carrellata.solver.take import operate

SUB = 20  # evaluations a frame
# Rounding of v and a over a plan; 1e-9 of a limit is 1e-7 deg/s.
SLACK = 1e-9
# A difference of accelerations over 2 ms carries their rounding over 2 ms.
JERK_SLACK = 1e-6
ON_RAIL_M = 1e-9


def fine_times(take):
    first, last = take.frame[0], take.frame[-1]
    frames = first + np.arange((last - first) * SUB + 1) / SUB
    return take.shot.times_of(frames)


def worst_shares(take):
    """Peak speed, acceleration and jerk over their limits, for each channel."""
    times = fine_times(take)
    crew = take.shot.crew
    channels = {
        "dolly": (take.dolly_plans, crew.grip),
        "pan": (take.pan_plans, crew.operator),
        "tilt": (take.tilt_plans, crew.operator),
        "focus": (take.focus_plans, crew.puller),
    }
    shares = {}
    for name, (plans, member) in channels.items():
        _, v, a = plans.at(times).T
        at = np.searchsorted(plans.starts_s, times, "right") - 1
        faster = np.where(plans.whips[at], WHIP, 1.0)
        jerk = np.abs(np.diff(a) / np.diff(times))
        # Between two samples either plan's limit may hold: the wider one.
        wider = np.maximum(faster[1:], faster[:-1])
        shares[name] = (
            np.max(np.abs(v) / (member.max_speed * faster)),
            np.max(np.abs(a) / (member.max_accel * faster)),
            np.max(jerk / (member.max_jerk * wider)),
        )
    return shares


def off_rail_m(take):
    """Farthest that the lens is off its line or circle, or past its ends [m]."""
    shape = take.shot.rig.shape
    s = take.dolly_plans.at(fine_times(take))[:, 0]
    ends = max(0.0, float(np.max(-s)), float(np.max(s - shape.length)))
    d = take.base - shape.origin
    if take.shot.rig.kind == "sticks":
        return float(np.abs(d).max())
    if take.shot.rig.kind == "track":
        along = d @ shape.direction
        return max(ends, np.abs(d - np.outer(along, shape.direction)).max())
    flat = np.hypot(d[:, 0], d[:, 2])
    return max(ends, np.abs(flat - shape.radius).max(), np.abs(d[:, 1]).max())


def check(take):
    shares = worst_shares(take)
    for name, (speed, accel, jerk) in shares.items():
        assert speed <= 1 + SLACK, (name, speed)
        assert accel <= 1 + SLACK, (name, accel)
        assert jerk <= 1 + JERK_SLACK, (name, jerk)
    assert off_rail_m(take) <= ON_RAIL_M
    return shares


def tight(crew: Crew, share: float) -> Crew:
    """The crew with every limit cut to a share."""
    members = {}
    for name in ("operator", "grip", "puller"):
        member = getattr(crew, name)
        members[name] = dataclasses.replace(
            member,
            max_speed=member.max_speed * share,
            max_accel=member.max_accel * share,
            max_jerk=member.max_jerk * share,
        )
    return dataclasses.replace(crew, **members)


def cut_track(points):
    """A track beside the path, over its middle 70 %: the ends bind."""
    low, high = points.min(axis=0), points.max(axis=0)
    middle, reach = (low + high) / 2, np.maximum((high - low) * 0.35, 0.5)
    z = high[2] + 7.0
    height = low[1] + 1.5
    return make_track(
        [middle[0] - reach[0], height, z], [middle[0] + reach[0], height, z]
    )


def cut_arc(points):
    """An arc round the path's middle, over 70 % of the angle that the path covers."""
    centre = (points.min(axis=0) + points.max(axis=0)) / 2 * [1.0, 0.0, 1.0]
    d = points - centre
    radius = float(np.hypot(d[:, 0], d[:, 2]).max()) + 6.0
    return make_arc(
        np.add(centre, [0.0, 1.5, 0.0]), radius=radius, start=2.0, sweep=1.4
    )


def synthetic():
    """Points and rate of hard synthetic runs, named."""
    paths = {
        "sprint": sprint(rest_s=0.5),
        "reversals": shuttle(period_s=2.0),
        "zigzag": zigzag(),
        "circle": circle(radius=4.0, speed=6.0),
    }
    times = np.arange(24 * 5 + 1) / 24
    return {name: (24.0, path(times)) for name, path in paths.items()}


def real(longest_s):
    """Points and rate of recorded motion, named, cut to a length."""
    tracks = {"cmu_jumps": motion.cmu_jumps(), "run": motion.deepmimic("run", cycles=6)}
    tracks |= motion.football_stretches()
    cut = {}
    for name, (rate, points) in tracks.items():
        if name in ("cmu_jumps", "run"):
            points = points - [0.0, 0.9, 0.0]  # hips to floor, about
        cut[name] = (rate, points[: int(longest_s * rate)])
    return cut


def takes_of(rate, points, crew):
    """Takes of one motion from the side on sticks, a cut track and a cut arc."""
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    fraction = Fraction(rate).limit_denominator(1001)
    person = subject(points - middle * [1.0, 0.0, 1.0], fraction, first=0)
    placed = np.array(person.floor)
    n_frames = int(person.times_s[-1] * 24)
    for rig, hold in (
        (make_sticks([1.0, 1.5, placed[:, 2].max() + 6.0]), "abreast"),
        (cut_track(placed), "abreast"),
        (cut_track(placed), "size"),
        (cut_arc(placed), "abreast"),
        (cut_arc(placed), "view"),
    ):
        one = shot(person, rig, hold=hold, view_rad=1.0, crew=crew, focal_mm=35.0)
        yield operate(dataclasses.replace(one, first=0, last=n_frames))


@pytest.mark.parametrize("preset", sorted(PRESETS))
@pytest.mark.parametrize("name", sorted(synthetic()))
def test_limits_and_rail_hold_on_hard_synthetic_runs(name, preset):
    rate, points = synthetic()[name]
    bound, touched = [], []
    for share in (1.0, 0.4):
        for take in takes_of(rate, points, tight(PRESETS[preset], share)):
            shares = check(take)
            bound.append(max(map(max, shares.values())))
            s = take.dolly_plans.at(fine_times(take))[:, 0]
            length = take.shot.rig.length_m
            touched.append(length > 0 and min(s.min(), length - s.max()) < 0.01)
    assert max(bound) > 0.99  # the limits are reached, so that the test says something
    assert any(touched)


@pytest.mark.slow
@pytest.mark.parametrize("share", [1.0, 0.4])
def test_limits_and_rail_hold_on_recorded_motion(share):
    bound, refused, plans = [], 0, 0
    for rate, points in real(longest_s=12.0).values():
        for preset in ("brisk", "sharp"):
            for take in takes_of(rate, points, tight(PRESETS[preset], share)):
                bound.append(max(map(max, check(take).values())))
                refused += take.pan_plans.refused + take.focus_plans.refused
                refused += take.dolly_plans.refused
                plans += len(take.dolly_plans.log)
    print(f"{len(bound)} takes, {refused} plans refused of {plans} of the dolly")
    assert np.mean(np.array(bound) > 0.99) > 0.5


@pytest.mark.long
@pytest.mark.parametrize("preset", sorted(PRESETS))
@pytest.mark.parametrize("share", [1.0, 0.4, 0.2])
def test_limits_and_rail_hold_on_all_recorded_motion(preset, share):
    for rate, points in real(longest_s=60.0).values():
        for take in takes_of(rate, points, tight(PRESETS[preset], share)):
            check(take)


@pytest.mark.parametrize("preset", sorted(PRESETS))
def test_a_whip_keeps_its_own_limits_and_nothing_else_does(preset):
    take = operate(hand_over(preset=preset))
    check(take)
    assert take.pan_plans.whips.any()
    # Judged by the operator's own limits the whip is too fast: the marks matter.
    plain = dataclasses.replace(
        take.pan_plans, whips=np.zeros_like(take.pan_plans.whips)
    )
    unmarked = worst_shares(dataclasses.replace(take, pan_plans=plain))
    assert max(unmarked["pan"]) > 1.2
    calm = operate(hand_over(preset=preset, whip=False))
    check(calm)
    assert not calm.pan_plans.whips.any()


@pytest.mark.parametrize("name", sorted(SHOTS))
def test_limits_and_rail_hold_on_the_named_shots(name):
    check(operate(SHOTS[name]()))


def test_limits_and_rail_hold_on_random_shots():
    rng = np.random.default_rng(11)
    for number in range(108):
        check(operate(random_shot(rng, number)))


def test_the_stop_that_follows_a_plan_ends_at_rest():
    # Regression: accel / jerk * jerk may round below accel, and the stop then lost its
    # middle piece, coasted on and left the rail.
    rng = np.random.default_rng(5)
    late, rounded = [], 0
    for _ in range(200):
        accel, jerk = np.round(rng.uniform(0.1, 1.0), 2), np.round(rng.uniform(1, 4), 1)
        planner = build_planner(
            max_speed=1.5,
            max_accel=accel,
            max_jerk=jerk,
            stiffness=3.5,
            speed_weight=0.07,
            length=20.0,
        )
        rounded += planner.accel / planner.jerk * planner.jerk < planner.accel
        row = np.zeros(PLAN_WIDTH)
        speed = rng.uniform(-1.4, 1.4)
        write_plan(planner, 0.0, 10.0, speed, 0.0, np.zeros(N_BLOCKS), row)
        late.append(evaluate_plan(row[None], 0, 60.0)[1])
    assert rounded > 10
    assert np.abs(late).max() < 1e-12


def test_the_check_sees_a_limit_broken_by_a_hair():
    take = operate(shot(acted(shuttle(), 4.0), make_sticks([0.0, 1.5, 6.0])))
    log = take.pan_plans.log.copy()
    log[:, 1:LENGTHS] *= 1.001  # every state and jerk
    faster = dataclasses.replace(take.pan_plans, log=log)
    assert max(worst_shares(take)["pan"]) <= 1 + JERK_SLACK
    broken = worst_shares(dataclasses.replace(take, pan_plans=faster))
    assert max(broken["pan"]) > 1 + 1e-4
