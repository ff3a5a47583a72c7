"""What the frame shows, against `project` and the depth of field, array by array."""

import numpy as np
from shots import SHOTS, random_shot

from carrellata.solver.action.acted import hidden_at
from carrellata.solver.action.body import EYES
from carrellata.solver.action.framing import framing_at, primary_points
from carrellata.solver.crew.operator import SAFE
from carrellata.solver.frame.projection import project
from carrellata.solver.optics.lens import depth_of_field_m
from carrellata.solver.take import operate


def takes():
    for make in SHOTS.values():
        yield operate(make())
    for number in range(20):
        yield operate(random_shot(np.random.default_rng(number), number))


def on_screen(take, fractions):
    """u, v and depth of the primary's body point, (n,)."""
    shot = take.shot
    shares = np.array(fractions) / EYES
    points = primary_points(shot.subjects, shot.framings, take.times_s, shares)
    angles = take.pan[:, 0], take.tilt[:, 0], shot.roll_rad
    u, v, depth = project(points, take.base, *angles, *shot.tangents)
    return u, v + shot.gate.axis_v, depth


def test_a_take_shows_what_the_camera_projects():
    out_of_frame = 0
    for take in takes():
        shot = take.shot
        seen = ~hidden_at(shot.subjects, take.times_s, take.subject)
        seen &= take.hider < 0  # nobody stands before them; see test_head
        u, v, _ = on_screen(take, [f.aim * EYES for f in shot.framings])
        np.testing.assert_array_equal(np.isnan(take.u), ~seen)
        np.testing.assert_allclose(take.u[seen], u[seen], rtol=1e-10, atol=1e-12)
        np.testing.assert_allclose(take.v[seen], v[seen], rtol=1e-10, atol=1e-12)
        top = on_screen(take, [f.top for f in shot.framings])
        low = on_screen(take, [f.bottom for f in shot.framings])
        tx, ty = shot.tangents
        ahead = seen & (top[2] > 0) & (low[2] > 0)
        size = np.hypot((top[0] - low[0])[ahead] * tx / ty, (top[1] - low[1])[ahead])
        np.testing.assert_array_equal(np.isfinite(take.size), ahead)
        np.testing.assert_allclose(take.size[ahead], size / 2, rtol=1e-9)
        off = np.maximum(np.abs(u), np.abs(v))
        ends = np.abs([*top[:2], *low[:2]]).max(axis=0)
        np.testing.assert_array_equal(take.in_frame, seen & (off <= 1))
        np.testing.assert_array_equal(take.in_safe, seen & (off <= SAFE))
        np.testing.assert_array_equal(
            take.body_in_frame, seen & (off <= 1) & (ends <= 1)
        )
        out_of_frame += np.count_nonzero(seen & ~take.in_frame)
    assert out_of_frame > 100


def test_sharpness_has_the_limits_of_the_lens():
    soft = 0
    for take in takes():
        shot = take.shot
        near, far = depth_of_field_m(
            shot.lens.focal_mm, shot.stop, shot.coc_mm, take.focus_m
        )
        np.testing.assert_allclose(take.near_m, near, rtol=1e-15)
        np.testing.assert_allclose(take.far_m, far, rtol=1e-15)
        _, _, depth = on_screen(take, [EYES] * len(shot.framings))
        seen = ~hidden_at(shot.subjects, take.times_s, take.subject)
        seen &= take.hider < 0  # nobody stands before them; see test_head
        np.testing.assert_array_equal(
            take.soft, seen & ((depth < near) | (depth > far))
        )
        soft += np.count_nonzero(take.soft)
    assert soft > 10


def test_hidden_is_what_the_nearest_data_at_or_before_says():
    for number in range(12):
        shot = random_shot(np.random.default_rng(number), number)
        first, last = shot.first - 3, shot.last + 9
        times_s = shot.times_of(np.arange(first, last, 0.25))
        framing = framing_at(shot.framings, times_s)
        weights = np.array([f.weights for f in shot.framings])
        primary = weights.argmax(axis=1)[framing]
        found = hidden_at(shot.subjects, times_s, primary)
        for k in range(len(times_s)):
            one = shot.subjects[primary[k]]
            before = np.flatnonzero(one.times_s <= times_s[k] + 1e-9)
            step = np.median(np.diff(one.times_s))
            shown = (
                len(before) > 0
                and one.visible[before[-1]]
                and times_s[k] - one.times_s[before[-1]] <= 2 * step
            )
            assert found[k] != shown
