"""The knots of a channel carry its whole path."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from shots import circle_on_arc, hand_over, runner_on_track, walk_on_twos

from carrellata.solver.crew.knots import channel_knots
from carrellata.solver.take import operate


@pytest.mark.parametrize(
    "make", [runner_on_track, circle_on_arc, hand_over, walk_on_twos]
)
def test_cubics_between_knots_are_the_path_at_any_time(make):
    take = operate(make())
    first, last = take.times_s[0], take.times_s[-1]
    times = np.random.default_rng(3).uniform(first, last, 4001)
    for plans in (take.dolly_plans, take.pan_plans, take.tilt_plans):
        knots = channel_knots(plans, first, last)
        path = CubicHermiteSpline(*knots.T)
        exact = plans.at(np.sort(times))
        np.testing.assert_allclose(path(np.sort(times)), exact[:, 0], atol=1e-12)
        np.testing.assert_allclose(path(np.sort(times), 1), exact[:, 1], atol=1e-9)


def test_knots_are_fewer_than_frames_and_ascend_between_the_ends():
    take = operate(runner_on_track())
    knots = channel_knots(take.pan_plans, take.times_s[0], take.times_s[-1])
    assert 2 < len(knots) < len(take.times_s) / 2
    assert (np.diff(knots[:, 0]) > 0).all()
    assert knots[0, 0] == take.times_s[0]
    assert knots[-1, 0] == take.times_s[-1]


def test_one_instant_has_one_knot():
    take = operate(runner_on_track())
    knots = channel_knots(take.pan_plans, 1.0, 1.0)
    assert knots.shape == (1, 3)
    np.testing.assert_array_equal(knots[0, 1:], take.pan_plans.at(np.ones(1))[0, :2])
