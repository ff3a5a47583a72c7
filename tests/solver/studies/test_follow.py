"""How a camera was made, told from its curves: the plain ways and their numbers."""

from dataclasses import replace

import numpy as np
import pytest
from studied import camera_of, exactly_aimed, person, staged

from carrellata.solver.studies.camera import lagged, smoothed
from carrellata.solver.studies.follow import REACH, shifted
from carrellata.solver.studies.study import (
    HELD,
    LAGGED,
    NOT_FOLLOWING,
    RIGID,
    SMOOTHED,
    study,
)

CLIPS = ("referee_turns", "sprint_long", "jumps")
SECONDS = 15.0


def made(clip, change, *, still_s=0.0, noise_deg=0.01, hz=None):
    one = staged(person(clip, still_s=still_s), "sticks", SECONDS)
    times, place, angles = exactly_aimed(one)
    camera = camera_of(times, place, change(angles), noise_deg=noise_deg, hz=hz)
    return study(camera, one.subjects[0], rate=one.rate, size="full"), one


@pytest.mark.parametrize("clip", CLIPS)
def test_exact_aim_is_called_rigid_and_on_time(clip):
    found, _ = made(clip, lambda x: x)
    assert found.verdict.kind == RIGID
    assert abs(found.verdict.seconds) < 0.5 / 24
    assert found.verdict.ahead_s == 0


@pytest.mark.parametrize("frames", [-6, -2, 4])
def test_exact_aim_late_or_early_gives_the_frames(frames):
    found, _ = made("referee_turns", lambda x: shifted(x, frames))
    assert found.verdict.kind == RIGID
    assert found.verdict.seconds * 24 == pytest.approx(frames, abs=0.25)
    assert found.verdict.ahead_s * 24 == pytest.approx(max(0, -frames), abs=0.25)


@pytest.mark.parametrize("clip", CLIPS)
@pytest.mark.parametrize("lag_s", [0.15, 0.4])
def test_a_first_order_lag_gives_its_time_constant(clip, lag_s):
    found, _ = made(clip, lambda x: lagged(x, lag_s * 24))
    assert found.verdict.kind == LAGGED
    assert found.verdict.seconds == pytest.approx(lag_s, abs=0.02)


@pytest.mark.parametrize("clip", CLIPS)
@pytest.mark.parametrize("width_s", [0.25, 0.6])
@pytest.mark.parametrize("hz", [None, 30.0])
def test_whole_shot_smoothing_gives_its_reach_within_a_frame(clip, width_s, hz):
    found, _ = made(clip, lambda x: smoothed(x, width_s * 24), hz=hz)
    assert found.verdict.kind == SMOOTHED
    assert found.verdict.ahead_s * 24 == pytest.approx(REACH * width_s * 24, abs=1.0)


def test_reach_leaves_a_twentieth_of_the_weight_further_ahead():
    weights = smoothed(np.eye(1, 2001, 1000)[0], 100.0)
    assert weights[: 1000 - round(REACH * 100)].sum() == pytest.approx(0.05, abs=2e-3)


def test_a_camera_that_does_not_turn_is_held_still():
    found, _ = made("jumps", lambda x: np.repeat(x[:, :1], x.shape[1], 1))
    assert found.verdict.kind == HELD


def test_a_camera_on_someone_else_is_not_following():
    one = staged(person("referee_turns"), "sticks", SECONDS)
    times, place, angles = exactly_aimed(one)
    other = replace(
        one.subjects[0], floor=one.subjects[0].floor[::-1] * [-1.0, 1.0, 0.7]
    )
    found = study(camera_of(times, place, angles), other, rate=one.rate, size="full")
    assert found.verdict.kind == NOT_FOLLOWING


def test_kinds_that_explain_alike_are_named():
    # A subject that never changes speed: a lag is a delay.
    one = staged(person("referee_turns"), "sticks", 8.0)
    times = one.times_of(np.arange(one.first, one.last + 1, dtype=float))
    t = one.subjects[0].times_s
    across = np.column_stack([0.8 * (t - t.mean()), 0 * t, 0 * t])
    walker = replace(one.subjects[0], floor=across, eyes=across + np.array([0, 1.6, 0]))
    even = replace(one, subjects=(walker,))
    _, place, angles = exactly_aimed(even)
    camera = camera_of(times, place, shifted(angles, 3.0))
    verdict = study(camera, walker, rate=one.rate, size="full").verdict
    assert LAGGED in (verdict.kind, *verdict.likewise)
    assert RIGID in (verdict.kind, *verdict.likewise)
