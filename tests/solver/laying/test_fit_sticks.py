import numpy as np
import pytest
from scipy.optimize import minimize

from carrellata.solver.laying.fit_sticks import fit_sticks


def cost(place, subject, distance, azimuth, weight):
    """Objective written plainly."""
    off = place - subject
    ratio = np.log(np.hypot(off[:, 0], off[:, 1]) / distance)
    turn = np.arctan2(-off[:, 0], -off[:, 1]) - azimuth
    turn = np.angle(np.exp(1j * turn))
    return np.sum(ratio**2) + weight * np.sum(turn**2)


@pytest.mark.parametrize(
    ("azimuth", "place"),
    [(0.0, (2, -4)), (np.pi / 2, (-3, 1)), (np.pi, (2, 6)), (-np.pi / 2, (7, 1))],
)
def test_who_stands_is_seen_from_the_asked_distance_and_bearing(azimuth, place) -> None:
    subject = np.tile((2.0, 1.0), (10, 1))
    found = fit_sticks(subject, 5.0, azimuth)
    assert found == pytest.approx(place, abs=1e-5)


def test_sticks_stand_in_the_middle_of_a_circle_that_is_walked_round_them() -> None:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    circle = np.array((3.0, 2.0)) + 4 * np.column_stack((np.sin(angle), np.cos(angle)))
    assert fit_sticks(circle, 4.0, 0.3, 0.0) == pytest.approx((3.0, 2.0), abs=1e-4)


def test_no_step_lowers_the_cost() -> None:
    rng = np.random.default_rng(2)
    for _ in range(30):
        way = rng.uniform(0, 2 * np.pi)
        along = np.array((np.cos(way), np.sin(way)))
        subject = np.linspace(0, rng.uniform(1, 8), 40)[:, None] * along
        subject += rng.normal(0, 0.2, subject.shape)
        rest = (rng.uniform(3, 12), rng.uniform(-3, 3), 0.5)
        found = fit_sticks(subject, *rest)
        here = cost(found, subject, *rest)
        better = minimize(cost, found, args=(subject, *rest), method="Nelder-Mead")
        assert better.fun >= here * (1 - 1e-6) - 1e-9


def test_distances_and_bearings_may_differ_from_sample_to_sample() -> None:
    place = np.array((1.0, -6.0))
    subject = np.random.default_rng(5).uniform(-2, 2, (20, 2))
    off = place - subject
    distance = np.hypot(off[:, 0], off[:, 1])
    azimuth = np.arctan2(-off[:, 0], -off[:, 1])
    assert fit_sticks(subject, distance, azimuth) == pytest.approx(place, abs=1e-5)


def test_a_bearing_that_counts_more_is_kept_better() -> None:
    subject = np.column_stack((np.zeros(60), np.linspace(-6, 6, 60)))
    places = [fit_sticks(subject, 5.0, 0.4, weight) for weight in (0.05, 0.5, 5.0)]
    turns = [
        cost(p, subject, 5.0, 0.4, 1.0) - cost(p, subject, 5.0, 0.4, 0.0)
        for p in places
    ]
    assert turns[0] > 1.05 * turns[1] > 1.05**2 * turns[2] > 0.0
