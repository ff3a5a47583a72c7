"""A take: its samples, handles and sub-frames, focus, and what it is judged by."""

import dataclasses
import math

import numpy as np
import pytest
from shots import (
    GATE,
    HEIGHT_M,
    LENS_HEIGHT_M,
    SHOTS,
    acted,
    framing,
    hand_over,
    head_on_track,
    lead_room_walk,
    runner_on_track,
    shot,
    sprint,
    sprint_on_sticks,
    sticks,
    walk,
    walk_behind_wall,
    walk_toward,
)

from carrellata.solver.action.body import EYES
from carrellata.solver.measures.measure import measure
from carrellata.solver.optics.camera import rotation
from carrellata.solver.presets import PRESETS
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.shake import LEVELS
from carrellata.solver.take import operate


def seen_at(take, points):
    """u, v and depth of points (n, 3) by rotation matrices, not by `project`."""
    tx, ty = take.shot.tangents
    turn = rotation(take.pan[:, 0], take.tilt[:, 0], take.shot.roll_rad)
    x, y, z = np.einsum("nji,nj->in", turn, points - take.base)
    return x / (-z * tx), y / (-z * ty), -z


def body(take, fraction):
    """The first subject's body point at a fraction of stature, (n, 3)."""
    person = take.shot.subjects[0]
    return person.at(take.times_s, fraction / EYES)


WHILE_SEEN = {
    *("u", "v", "size", "headroom"),
    *("crown_u", "crown_v", "chin_u", "chin_v"),
}


@pytest.mark.parametrize("name", sorted(SHOTS))
def test_every_array_of_a_take_has_a_row_a_sample(name):
    one = dataclasses.replace(SHOTS[name](), samples_per_frame=2)
    take = operate(one)
    n = 2 * (one.last - one.first + 1)
    for field in dataclasses.fields(take):
        value = getattr(take, field.name)
        if isinstance(value, np.ndarray):
            assert len(value) == n, field.name
            unseen = field.name in WHILE_SEEN
            assert np.isfinite(value).all() or unseen or field.name == "far_m"
    assert take.rail.shape == take.pan.shape == take.tilt.shape == (n, 3)
    assert np.allclose(np.linalg.norm(take.turn, axis=1), 1.0, atol=1e-12)
    assert np.all(np.diff(take.times_s) > 0)


def test_handles_lie_before_and_after_the_cut_and_start_no_other_take():
    person = acted(sprint(), 5.0)
    whole = shot(person, sticks())
    cut = dataclasses.replace(
        whole, first=whole.first + 30, last=whole.last - 20, handles=(30, 20)
    )
    one, two = operate(whole), operate(cut)
    assert np.array_equal(one.frame, two.frame)
    assert np.array_equal(one.turn, two.turn)
    assert two.handle.sum() == 50
    assert two.handle[:30].all()
    assert two.handle[-20:].all()
    assert not two.handle[30:-20].any()
    assert measure(two)["frames"] == len(person.times_s) - 50
    assert measure(one)["frames"] == len(person.times_s)


@pytest.mark.parametrize("name", ["sprint_on_sticks", "runner_on_track", "hand_over"])
def test_sub_frames_lie_on_the_same_curves(name):
    one = dataclasses.replace(SHOTS[name](), shake=LEVELS["settled"], seed=4)
    coarse = operate(one)
    fine = operate(dataclasses.replace(one, samples_per_frame=5))
    assert np.array_equal(fine.frame[::5], coarse.frame)
    assert np.array_equal(fine.sub[:5], np.arange(5))
    for field in ("pan", "tilt", "rail", "base", "place", "turn", "focus_m", "u"):
        assert np.array_equal(getattr(fine, field)[::5], getattr(coarse, field))
    # Integrating the speed between whole frames gives the next pose: Simpson's rule
    # is exact for a cubic, and a piece may end inside a step.
    step = np.diff(fine.times_s)
    x, v, _ = fine.pan.T
    trapezoid = (v[1:] + v[:-1]) / 2 * step
    jerk = PRESETS["brisk"].operator.max_jerk * 2.5
    assert np.abs(np.diff(x) - trapezoid).max() <= jerk * step.max() ** 3
    assert np.ptp(x) > 0.3


def test_a_decision_is_marked_where_a_plan_starts():
    take = operate(sprint_on_sticks())
    marks = take.times_s[take.decided(take.pan_plans)]
    starts = take.pan_plans.starts_s
    inside = starts[starts >= take.times_s[0]]
    assert len(inside) > 4
    assert np.array_equal(marks, inside)


def test_shake_moves_the_final_pose_and_never_the_base():
    one = sprint_on_sticks()
    still, shaken = (
        operate(dataclasses.replace(one, shake=LEVELS[level]))
        for level in ("locked", "rough")
    )
    for field in ("pan", "tilt", "rail", "base", "u"):
        assert np.array_equal(getattr(still, field), getattr(shaken, field))
    assert np.abs(still.turn - shaken.turn).max() > 1e-4
    assert np.abs(shaken.place - shaken.base).max() > 1e-4
    assert np.array_equal(still.place, still.base)


def dash_past(method, *, speed=4.0, crew=PRESETS["brisk"], stop=2.8):
    """A run at the camera on a long lens, wide open: focus has work to do."""
    run = acted(lambda t: np.outer(speed * t - 12.0, [0.0, 0.0, 1.0]), 4.0)
    crew = dataclasses.replace(crew, focus_method=method)
    place = make_sticks([0.5, LENS_HEIGHT_M, 8.0])
    return operate(shot(run, place, crew=crew, size="chest", focal_mm=85.0, stop=stop))


def test_focus_by_marks_is_ahead_of_focus_by_eye():
    by_marks, by_eye = dash_past("marks"), dash_past("eye")
    for field in ("pan", "tilt", "turn"):
        assert np.array_equal(getattr(by_marks, field), getattr(by_eye, field))
    _, _, depth = seen_at(by_marks, body(by_marks, EYES))
    off = [np.abs(1 / t.focus_m - 1 / depth).mean() for t in (by_marks, by_eye)]
    print(
        f"focus off by {off[0]:.4f} (marks), {off[1]:.4f} (eye) dioptres, soft "
        f"{by_marks.soft.mean():.2f}, {by_eye.soft.mean():.2f}"
    )
    assert off[0] < 0.5 * off[1]
    assert by_marks.soft.mean() <= by_eye.soft.mean()


def test_a_puller_who_is_too_slow_leaves_soft_frames():
    crew = PRESETS["brisk"]
    slow = dataclasses.replace(
        crew,
        puller=dataclasses.replace(
            crew.puller, max_speed=0.02, max_accel=0.05, max_jerk=0.5
        ),
    )
    quick_take, slow_take = dash_past("marks"), dash_past("marks", crew=slow)
    assert measure(slow_take)["soft"] > 0.3
    assert measure(quick_take)["soft"] < 0.5 * measure(slow_take)["soft"]
    # Stopping down brings them back: depth of field is what they are judged by.
    deep = dash_past("marks", crew=slow, stop=22.0)
    assert measure(deep)["soft"] < measure(slow_take)["soft"]


def test_soft_is_outside_the_depth_of_field():
    # Thin lens: a point at depth d, focus at s, blurs to f^2 |d - s| / (N d (s - f)).
    take = dash_past("eye")
    _, _, depth = seen_at(take, body(take, EYES))
    focal, s = 0.085, take.focus_m
    blur = focal**2 * np.abs(depth - s) / (take.shot.stop * depth * (s - focal))
    sharp = blur <= take.shot.coc_mm * 1e-3
    clear = np.abs(blur / (take.shot.coc_mm * 1e-3) - 1) > 0.01
    assert 0 < take.soft.sum() < len(take.soft)
    assert np.array_equal(take.soft[clear], ~sharp[clear])


def test_focus_stays_at_the_close_focus_of_the_lens():
    run = acted(lambda t: np.outer(np.minimum(2.0 * t, 6.0) - 6.0, [0, 0, 1.0]), 5.0)
    one = shot(run, make_sticks([0.2, 1.6, 0.7]), size="close")
    lens = dataclasses.replace(one.lens, close_focus_m=1.0)
    take = operate(dataclasses.replace(one, lens=lens))
    assert take.focus_m.min() >= 1.0 - 1e-12
    assert take.soft[-1]


@pytest.mark.parametrize("name", sorted(set(SHOTS) - {"hand_over"}))
def test_screen_positions_and_flags_are_those_of_the_pose(name):
    take = operate(SHOTS[name]())
    asked = take.shot.framings[0]
    seen = ~np.isnan(take.u)
    u, v, _ = seen_at(take, body(take, asked.aim * EYES))
    assert np.abs((take.u - u)[seen]).max() < 1e-12
    assert np.abs((take.v - v)[seen]).max() < 1e-12
    inside = (np.abs(u) <= 1) & (np.abs(v) <= 1)
    ends = [seen_at(take, body(take, f))[:2] for f in (asked.top, asked.bottom)]
    whole = inside & np.all(np.abs(np.array(ends)) <= 1, axis=(0, 1))
    found = measure(take)
    assert np.array_equal(take.in_frame, inside & seen)
    assert np.array_equal(take.body_in_frame, whole & seen)
    assert found["in_frame"] == pytest.approx(inside[seen].mean())
    assert found["body_in_frame"] == pytest.approx(whole[seen].mean())
    assert found["seen"] == pytest.approx(seen.mean())
    miss = np.hypot(u - take.aim_u, v - take.aim_v)[seen]
    assert found["drift_rms"] == pytest.approx(math.sqrt(np.mean(miss**2)))


def test_size_is_the_share_of_the_frame_height_that_the_span_takes():
    # Held at its own distance, level with the lens, the span has the size asked for.
    person = acted(walk(0.0, start=(0, 0, 0)), 2.0)
    asked = framing("chest")
    middle = (asked.top + asked.bottom) / 2 * HEIGHT_M
    one = shot(person, make_sticks([0, middle, asked.distance_m]), size="chest")
    take = operate(one)
    # Headroom takes 8 % of the frame height; the tilt foreshortens by its cosine.
    assert np.abs(take.size - 0.92).max() < 0.02
    assert measure(take)["size_kept"] == 1.0
    near = operate(dataclasses.replace(one, rig=sticks(asked.distance_m / 1.5)))
    assert measure(near)["size_kept"] == 0.0


def test_flags_fail_behind_the_lens_and_drift_means_nothing_there():
    away = acted(lambda t: np.outer(80.0 * t - 8.0, [0.0, 0.0, 1.0]), 2.0)
    take = operate(shot(away, make_sticks([0.3, 1.5, 8.0])))
    found = measure(take)
    assert np.isinf(take.u).any()
    assert np.isnan(take.size[np.isinf(take.u)]).all()
    assert not take.in_frame[np.isinf(take.u)].any()
    assert found["in_frame"] < 1.0
    assert found["drift_rms"] is None
    assert found["drift_max"] is None


def test_hidden_samples_are_not_judged():
    take = operate(walk_behind_wall())
    hidden = ~take.shot.subjects[0].visible
    assert np.array_equal(np.isnan(take.u), hidden)
    assert not take.soft[hidden].any()
    assert measure(take)["seen"] == pytest.approx(1 - hidden.mean())


def test_lead_room_stands_ahead_of_the_travel():
    take = operate(lead_room_walk())
    tail = take.u[72:]
    assert np.all(take.aim_u[24:] == -0.33)
    assert np.abs(tail + 0.33).max() < 0.15


def test_room_moves_to_the_side_of_the_gaze():
    take = operate(SHOTS["look_room_turn"]())
    assert take.aim_u[40] == pytest.approx(-0.3)
    assert take.aim_u[-1] == pytest.approx(0.3)
    assert take.u[-1] == pytest.approx(0.3, abs=0.15)


def test_measures_of_the_hand_over_follow_the_primary_subject():
    take = operate(hand_over())
    assert np.array_equal(take.subject, (take.times_s >= take.times_s[48]).astype(int))
    assert measure(take)["whip_plans"] > 0
    assert measure(take)["closest_m"] == pytest.approx(
        np.hypot(np.hypot(3.5, 12.0), LENS_HEIGHT_M - EYES * HEIGHT_M), rel=1e-9
    )


def pure_delay(delay_s):
    """A take whose pan repeats, after a delay, the bearing of one who stops."""

    def path(t):
        return np.outer(1.4 * np.minimum(t, 6.0) - 6.0, [1, 0, 0])

    take = operate(shot(acted(path, 12.0), sticks()))
    t = take.times_s - take.times_s[0] - delay_s
    x = path(t)[:, 0]
    pan = take.pan.copy()
    pan[:, 0] = np.arctan2(-x, 12.0)
    pan[:, 1] = -12.0 * np.where(t < 6.0, 1.4, 0.0) / (144.0 + x**2)
    return dataclasses.replace(take, pan=pan)


@pytest.mark.parametrize("delay_s", [0.0, 0.125, 0.31, 0.6])
def test_onset_lag_of_a_pure_delay_is_that_delay(delay_s):
    found = measure(pure_delay(delay_s))["onset_lag_s"]
    assert found == pytest.approx(delay_s, abs=0.07)


def test_onset_lag_is_none_for_one_who_stands():
    take = operate(shot(acted(walk(0.0, start=(0, 0, 0)), 4.0), sticks()))
    assert measure(take)["onset_lag_s"] is None
    assert measure(take)["moving_axes"] == 0


def test_counts_of_moves_are_those_of_the_take():
    take = operate(runner_on_track())
    found = measure(take)
    moving = take.rail[np.abs(take.rail[:, 1]) > 0.02, 1]
    turns = np.count_nonzero(np.sign(moving[1:]) != np.sign(moving[:-1]))
    assert found["reversals"] == turns
    assert found["dolly_m"] == pytest.approx(np.ptp(take.rail[:, 0]))
    assert found["dolly_m"] > 1.0
    starts = take.pan_plans.starts_s
    inside = (starts >= take.times_s[0]) & (starts <= take.times_s[-1])
    assert found["pan_decisions_per_s"] == pytest.approx(
        inside.sum() / found["seconds"]
    )
    limit = take.shot.crew.operator.max_speed
    assert found["pan_speed_used"] == pytest.approx(
        np.abs(take.pan[:, 1]).max() / limit
    )
    assert found["pan_max_speed_deg_s"] == pytest.approx(
        np.degrees(np.abs(take.pan[:, 1]).max())
    )


@pytest.mark.parametrize(
    ("height_m", "angle", "kept"),
    [
        (EYES * HEIGHT_M, "level", 1.0),
        (0.3, "level", 0.0),
        (0.3, "below", 1.0),
        (3.0, "above", 1.0),
        (3.0, "below", 0.0),
        (3.0, 15.0, 1.0),
        (3.0, 40.0, 0.0),
    ],
)
def test_angle_is_judged_from_the_eye_line(height_m, angle, kept):
    # The lens stands 5 m off: 3.0 m high it is 15.3 degrees above the eyes.
    person = acted(walk(0.0, start=(0, 0, 0)), 2.0)
    asked = framing("medium", angle=angle)
    one = shot(person, make_sticks([0, height_m, 5.0]), framings=(asked,))
    assert measure(operate(one))["angle_kept"] == kept


def test_frames_beyond_the_data_show_nobody():
    one = lead_room_walk()
    take = operate(dataclasses.replace(one, last=one.last + 12, handles=(12, 0)))
    assert np.isnan(take.u[:12]).all()
    assert np.isnan(take.u[-9:]).all()
    assert np.isfinite(take.u[12:-12]).all()
    assert np.isfinite(take.pan).all()


def test_common_top_extraction_shifts_the_frame_not_the_request():
    # The axis lies under the delivered frame's middle; v counts in the frame.
    person = acted(walk(0.0, start=(0, 0, 0)), 2.0)
    one = shot(person, sticks(10.0))
    top = dataclasses.replace(GATE, axis_v=-0.2)
    asked = one.framings[0]
    shifted = framing(v=asked.v + 0.2, crown_v=asked.crown_v + 0.2)
    take = operate(dataclasses.replace(one, gate=top, framings=(shifted,)))
    plain = operate(one)
    # The line of heads is kept in angles, which differ a little off the axis.
    assert take.v[-1] == pytest.approx(plain.v[-1], abs=0.005)
    assert take.aim_v[-1] == pytest.approx(plain.aim_v[-1])
    assert abs(take.tilt[-1, 0] - plain.tilt[-1, 0]) > 0.01


def test_dolly_backs_off_to_keep_the_size():
    held = measure(operate(walk_toward()))
    still = dataclasses.replace(walk_toward(), rig=sticks(10.0))
    assert held["size_kept"] == 1.0
    assert measure(operate(still))["size_kept"] < 0.5
    assert head_on_track().length_m > held["dolly_m"] > 5.0
