"""The pose kernels give what the camera's definitions give."""

import numpy as np
import pytest
from shaken import shaken
from shots import SHOTS, random_shot

from carrellata.solver.crew.pose import LEAST_DIOPTRES, shake_over
from carrellata.solver.optics.camera import quaternion
from carrellata.solver.take import operate


def test_shake_lies_over_a_base_as_the_camera_defines_it():
    rng = np.random.default_rng(5)
    n, roll = 400, 0.2
    base, shift = rng.normal(size=(n, 3)), 0.01 * rng.normal(size=(n, 3))
    pan, tilt = (np.cumsum(rng.normal(0, 0.5, (n, 3)), axis=0) for _ in range(2))
    shakes = 0.3 * rng.normal(size=(3, n))
    layer = (*np.ascontiguousarray(shift.T), *shakes)
    place, turn = np.full((n, 3), np.nan), np.full((n, 4), np.nan)
    shake_over(base, pan, tilt, roll, layer, place, turn)
    angles = np.stack((pan[:, 0], tilt[:, 0], np.full(n, roll)))
    moved, turned = shaken(base, angles, shift, shakes)
    np.testing.assert_allclose(place, moved, atol=1e-14)
    np.testing.assert_allclose(turn, turned, atol=1e-14)
    assert (np.sum(turn[1:] * turn[:-1], axis=1) >= 0).all()
    assert turn[0, 3] >= 0


def test_no_shake_leaves_the_base_to_the_bit():
    rng = np.random.default_rng(8)
    base, still = rng.normal(size=(50, 3)), np.zeros(50)
    pan, tilt = rng.normal(size=(2, 50, 3))
    place, turn = np.full((50, 3), np.nan), np.full((50, 4), np.nan)
    shake_over(base, pan, tilt, 0.1, (still,) * 6, place, turn)
    np.testing.assert_array_equal(place, base)
    pose = quaternion(pan[:, 0], tilt[:, 0], 0.1)
    np.testing.assert_allclose(turn, pose, atol=1e-15)


@pytest.mark.parametrize("name", sorted(SHOTS))
def test_tracks_of_a_take_are_its_plans_at_the_samples(name):
    take = operate(SHOTS[name]())
    for track, plans in (
        (take.rail, take.dolly_plans),
        (take.pan, take.pan_plans),
        (take.tilt, take.tilt_plans),
    ):
        np.testing.assert_array_equal(track, plans.at(take.times_s))
    np.testing.assert_allclose(
        take.base, take.shot.rig.places(take.rail[:, 0]), atol=1e-12
    )


def test_focus_stays_between_the_close_focus_and_far_away():
    for number in range(6):
        take = operate(random_shot(np.random.default_rng(number), number))
        nearest = 1.0 / take.shot.lens.close_focus_m
        dioptres = np.clip(
            take.focus_plans.at(take.times_s)[:, 0], LEAST_DIOPTRES, nearest
        )
        np.testing.assert_array_equal(take.focus_m, 1.0 / dioptres)
