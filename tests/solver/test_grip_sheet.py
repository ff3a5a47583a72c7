"""The grip's sheet against shots whose needs are known by hand."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from shots import (
    HEIGHT_M,
    LENS_HEIGHT_M,
    SHOTS,
    acted,
    hand_over,
    shot,
    side_track,
    sticks,
    walk,
)

from carrellata.solver.grip_sheet import (
    SECTION_M,
    WORKING_MARGIN_M,
    GripSheet,
    grip_sheet,
)
from carrellata.solver.presets import GRIP
from carrellata.solver.rigs.arc import arc as make_arc
from carrellata.solver.rigs.laid import stop_distance_m
from carrellata.solver.rigs.shape import Rig
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.rigs.track import track as make_track
from carrellata.solver.take import Take, operate

FloatArray = NDArray[np.float64]
RATE = 24.0


def stepwise_stop(speed: float, accel: float, most: float, jerk: float) -> float:
    """Integrate a stop: the pull let go, then a brake put on, held and let go."""
    ease = max(accel, 0.0) / jerk
    turned = speed + max(accel, 0.0) * ease / 2
    peak = min(most, np.sqrt(turned * jerk))
    held = turned / peak - peak / jerk
    n_steps = 200_000
    total = ease + 2 * peak / jerk + held
    dt = total / n_steps
    t = (np.arange(n_steps) + 0.5) * dt
    braked = np.interp(
        t,
        ease + np.cumsum([0.0, peak / jerk, held, peak / jerk]),
        [0.0, -peak, -peak, 0.0],
    )
    pulled = np.interp(t, [0.0, ease], [max(accel, 0.0), 0.0]) * (t < ease)
    speeds = speed + np.cumsum(braked + pulled) * dt
    assert abs(speeds[-1]) < 1e-4
    return float(speeds.sum() * dt)


@pytest.mark.parametrize("speed", [0.05, 0.3, 1.5, 6.0])
@pytest.mark.parametrize("accel", [-0.5, 0.0, 0.2, 0.6])
@pytest.mark.parametrize(("most", "jerk"), [(0.6, 2.0), (2.0, 1.0)])
def test_stopping_takes_what_stepwise_integration_says(
    speed: float, accel: float, most: float, jerk: float
) -> None:
    stopped = stop_distance_m(speed, accel, max_accel=most, max_jerk=jerk)
    assert stopped == pytest.approx(stepwise_stop(speed, accel, most, jerk), rel=1e-4)


def test_a_stop_without_limits_on_jerk_is_the_textbook_one() -> None:
    stopped = stop_distance_m(1.5, 0.0, max_accel=0.6, max_jerk=1e9)
    assert stopped == pytest.approx(1.5**2 / (2 * 0.6))
    assert stop_distance_m(0.0, 0.3, max_accel=0.6, max_jerk=2.0) == 0.0


def driven(rig: Rig, s: FloatArray, v: FloatArray, a: FloatArray) -> Take:
    """A take whose dolly is driven by hand; the rest is operated."""
    count = len(s)
    person = acted(walk(0.0, start=(2.0, 0.0, 0.0)), (count - 1) / RATE)
    take = operate(shot(person, rig))
    return replace(take, rail=np.column_stack([s, v, a]), base=rig.places(s))


def smooth(length: float, seconds: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rest to rest over `length`: minimum-jerk place, speed and acceleration."""
    t = np.linspace(0.0, 1.0, round(seconds * RATE) + 1)
    return (
        length * (10 * t**3 - 15 * t**4 + 6 * t**5),
        length * (30 * t**2 - 60 * t**3 + 30 * t**4) / seconds,
        length * (60 * t - 180 * t**2 + 120 * t**3) / seconds**2,
    )


def steady(start: float, speed: float, seconds: float) -> tuple[FloatArray, ...]:
    t = np.arange(round(seconds * RATE) + 1) / RATE
    return start + speed * t, np.full(len(t), speed), np.zeros(len(t))


def four_metres(rig: Rig) -> GripSheet:
    return grip_sheet(driven(rig, *smooth(4.0, 6.0)))


def test_four_metres_from_rest_to_rest_need_four_metres() -> None:
    sheet = four_metres(make_track([0.0, 1.5, 8.0], [4.0, 1.5, 8.0]))
    assert (sheet.rig, sheet.laid_m, sheet.laid) == ("track", 4.0, (0.0, 4.0))
    assert sheet.rail_m == sheet.used_m == pytest.approx(4.0)
    assert (sheet.run_up_m, sheet.run_out_m) == (0.0, 0.0)
    assert (sheet.sections, sheet.section_m) == (2, SECTION_M)
    assert sheet.beyond_m == (0.0, 0.0)
    assert (sheet.rise_m, sheet.radius_m, sheet.sweep_rad) == (0.0, 0.0, 0.0)
    np.testing.assert_allclose(sheet.ends, [[0, 1.5, 8], [4, 1.5, 8]])
    assert sheet.space_m == pytest.approx((6.0, 2.0))
    # The peaks of a minimum-jerk move: 15/8 of the mean speed, 10/sqrt(3) L/T^2.
    assert sheet.max_speed_m_s == pytest.approx(1.25, rel=1e-3)
    assert sheet.max_accel_m_s2 == pytest.approx(10 / 3**0.5 * 4 / 36, rel=1e-3)


@pytest.mark.parametrize(
    ("section_m", "sections"), [(4.0, 1), (3.99, 2), (2.0, 2), (1.83, 3), (0.5, 8)]
)
def test_sections_are_whole_and_cover_the_track(
    section_m: float, sections: int
) -> None:
    take = driven(make_track([0.0, 1.5, 8.0], [4.0, 1.5, 8.0]), *smooth(4.0, 6.0))
    assert grip_sheet(take, section_m=section_m).sections == sections


def test_a_moving_dolly_gets_its_run_up_and_run_out() -> None:
    rail = make_track([0.0, 1.5, 8.0], [20.0, 1.5, 8.0])
    there = grip_sheet(driven(rail, *steady(0.5, 1.0, 4.0)))
    back = grip_sheet(driven(rail, *steady(4.5, -1.0, 4.0)))
    # 1 m/s at 1 m/s2 and 2.5 m/s3: (1 / 1 + 1 / 2.5) / 2 m.
    assert (GRIP.max_accel, GRIP.max_jerk) == (1.0, 2.5)
    stop = (1 / 1 + 1 / 2.5) / 2
    for sheet in (there, back):
        assert sheet.run_up_m == sheet.run_out_m == pytest.approx(stop)
        assert sheet.used_m == pytest.approx(4.0)
        assert sheet.laid == pytest.approx((-0.2, 5.2))
        assert sheet.laid_m == pytest.approx(5.4)
        assert sheet.beyond_m == pytest.approx((0.2, 0.0))
        assert sheet.sections == 3
        assert sheet.space_m == pytest.approx((7.4, 2.0))
    assert [mark.rail_m for mark in there.marks] == pytest.approx([0.7, 4.7])
    assert [mark.rail_m for mark in back.marks] == pytest.approx([4.7, 0.7])


def test_a_sloping_track_is_measured_along_its_slope() -> None:
    rail = make_track([0.0, 1.0, 0.0], [4.0, 4.0, 0.0])
    sheet = grip_sheet(driven(rail, *smooth(5.0, 8.0)), ground_m=0.25)
    assert (sheet.laid_m, sheet.sections) == (5.0, 3)
    assert sheet.rise_m == pytest.approx(3.0)
    assert sheet.heights_m == pytest.approx((0.75, 3.75))
    ends = (sheet.marks[0].height_m, sheet.marks[-1].height_m)
    assert ends == pytest.approx((0.75, 3.75))
    assert sheet.space_m == pytest.approx((6.0, 2.0))


@pytest.mark.parametrize("sweep", [np.pi / 2, -np.pi / 2])
def test_a_quarter_of_an_arc_needs_its_chord_and_its_height(sweep: float) -> None:
    rail = make_arc([5.0, 1.5, 1.0], radius=3.0, start=0.7, sweep=sweep)
    length = 3.0 * np.pi / 2
    sheet = grip_sheet(driven(rail, *smooth(length, 8.0)))
    assert sheet.radius_m == 3.0
    assert sheet.laid_m == 4.72
    assert sheet.sweep_rad == pytest.approx(4.72 / 3.0)
    assert sheet.beyond_m == (0.0, 0.0)
    assert sheet.sections == 0
    half = 4.72 / 6.0
    room = (6 * np.sin(half) + 2, 3 * (1 - np.cos(half)) + 2)
    assert sheet.space_m == pytest.approx(room, abs=1e-4)


def test_room_does_not_depend_on_how_the_track_lies_in_the_scene() -> None:
    turned = four_metres(make_track([1.0, 1.5, 8.0], [3.4, 1.5, 11.2]))
    assert turned.space_m == pytest.approx((6.0, 2.0))


def test_marks_are_the_cut_its_cues_and_where_the_dolly_halts() -> None:
    out, fast, hard = smooth(2.0, 3.0)
    rest = np.full(24, 2.0), np.zeros(24), np.zeros(24)
    s = np.concatenate([out, rest[0], out[::-1][1:]])
    v = np.concatenate([fast, rest[1], -fast[::-1][1:]])
    a = np.concatenate([hard, rest[2], hard[::-1][1:]])
    take = driven(make_track([0.0, 1.5, 8.0], [4.0, 1.5, 8.0]), s, v, a)
    first = int(take.frame[0])
    inner = replace(take.shot, first=first + 5, last=first + 150)
    marks = grip_sheet(replace(take, shot=inner)).marks
    assert [mark.what for mark in marks] == ["cut in", "turns", "cut out", "stops"]
    assert [mark.frame - first for mark in marks][::2] == [5, 150]
    # A minimum-jerk move of 2 m in 3 s is slower than 2 cm/s in its last 4 frames.
    assert 67 <= marks[1].frame - first <= 72
    assert marks[1].rail_m == pytest.approx(2.0, abs=0.01)
    assert marks[3].rail_m == pytest.approx(0.0, abs=0.01)
    cued = grip_sheet(operate(hand_over())).marks
    assert [(mark.what, mark.frame) for mark in cued] == [
        ("cut in", 1001),
        ("cue", 1049),
        ("cut out", 1121),
    ]
    assert [mark.height_m for mark in cued] == [LENS_HEIGHT_M] * 3
    # Two people 3.5 m aside of a lens 12 m off; the puller stands on each in turn.
    assert cued[0].focus_m == pytest.approx(12.0, abs=0.5)


def test_sticks_need_two_metres_by_two_and_no_track() -> None:
    sheet = grip_sheet(operate(shot(acted(walk(), 5.0), sticks())))
    assert (sheet.rig, sheet.rail_m, sheet.laid_m, sheet.sections) == (
        "sticks",
        0.0,
        0.0,
        0,
    )
    assert sheet.space_m == (2 * WORKING_MARGIN_M, 2 * WORKING_MARGIN_M)
    assert sheet.max_speed_m_s == sheet.max_accel_m_s2 == 0.0


def test_closest_is_the_lens_to_the_body_at_its_own_height() -> None:
    # The walk crosses x = 0 after 4 / 1.4 s, 12 m from the lens.
    walker = acted(walk(), 6.0, name="walker")
    level = grip_sheet(operate(shot(walker, sticks()))).closest
    assert level.subject == "walker"
    assert level.distance_m == pytest.approx(12.0, abs=1e-3)
    assert level.frame == 1001 + round(4 / 1.4 * 24)
    high = grip_sheet(operate(shot(walker, make_sticks([0.0, 5.0, 12.0])))).closest
    assert high.distance_m == pytest.approx(np.hypot(12, 5 - HEIGHT_M), abs=0.02)


def test_nearest_of_several_people_is_named() -> None:
    near = acted(walk(0.0, start=(1.0, 0.0, 4.0)), 3.0, name="near")
    far = acted(walk(0.0, start=(0.0, 0.0, 0.0)), 3.0, name="far")
    sheet = grip_sheet(operate(shot((far, near), sticks())))
    assert sheet.closest.subject == "near"
    assert sheet.closest.distance_m == pytest.approx(np.hypot(1, 8))


def test_pan_covers_the_angle_of_the_walk() -> None:
    # From x = -4 to 4.4 m, 12 m off; the first frame looks where the walk starts.
    sheet = grip_sheet(operate(shot(acted(walk(), 6.0), sticks())))
    low, high = np.degrees(sheet.pan_rad)
    turned = np.degrees(np.arctan(4 / 12) + np.arctan(4.4 / 12))
    assert high == pytest.approx(0.0, abs=0.5)
    assert low == pytest.approx(-turned, abs=3)
    assert np.ptp(np.degrees(sheet.tilt_rad)) < 2


@pytest.mark.parametrize("name", SHOTS)
def test_what_is_laid_carries_the_take(name: str) -> None:
    take = operate(SHOTS[name]())
    sheet = grip_sheet(take)
    low, high = sheet.laid
    assert low <= take.rail[:, 0].min()
    assert take.rail[:, 0].max() <= high
    assert sheet.laid_m + 1e-9 >= sheet.used_m
    if sheet.rig == "track":
        assert (sheet.sections - 1) * SECTION_M < sheet.laid_m
        assert sheet.laid_m <= sheet.sections * SECTION_M
    frames = [mark.frame for mark in sheet.marks]
    assert frames == sorted(set(frames))
    assert {take.shot.first, take.shot.last} <= set(frames)
    assert sheet.max_accel_m_s2 <= take.shot.crew.grip.max_accel + 1e-9


def test_a_dolly_that_follows_a_runner_uses_what_the_take_says() -> None:
    take = operate(SHOTS["runner_on_track"]())
    sheet = grip_sheet(take)
    assert sheet.used_m == pytest.approx(np.ptp(take.rail[:, 0]))
    assert sheet.used_m > 2.0
    assert sheet.run_out_m > 0.5
    assert side_track().length_m == sheet.rail_m
