"""Outside figures for stops, regulators and steady filters.

Values marked "closed form" are evaluated by hand from the formula that is named.
"""

import numpy as np
import pytest
from scipy.linalg import solve_continuous_are
from scipy.optimize import brentq

from carrellata.solver.crew.belief import Watch
from carrellata.solver.crew.gains import SETTLE, step_within, transition
from carrellata.solver.crew.plan import (
    LENGTHS,
    PLAN_WIDTH,
    evaluate_plan,
    write_plan,
)
from carrellata.solver.crew.planner import N_BLOCKS, build_planner, stop_distance

# The S-curve, rest to rest: distance, speed, acceleration, jerk -> time. Closed forms:
# T = D/v + v/a + a/j with cruise, a/j + sqrt((a/j)^2 + 4 D/a) where only the
# acceleration is reached, (32 D/j)^(1/3) where neither is.
S_CURVES = [
    (10.0, 2.0, 1.0, 2.0, 7.5),
    (1.0, 2.0, 1.0, 2.0, 2.561553),
    (0.2, 2.0, 1.0, 2.0, 1.473613),
    (5.0, 1.0, 1.0, 1.0, 7.0),
    (0.5, 10.0, 10.0, 1.0, 2.519842),
]
# Kalata 1984, IEEE Trans. AES 20(2) 174-182: tracking index -> alpha, beta, from his
# closed form; 0.1 and 1 give round numbers.
ALPHA_BETA = [
    (0.01, 0.13185099, 0.00931745),
    (0.1, 0.36, 0.08),
    (0.5, 0.62837346, 0.30480590),
    (1.0, 0.75, 0.5),
    (2.0, 0.85410197, 0.76393202),
]


def stop_of(speed, accel, jerk):
    """Written plan row that coasts for an instant and then stops from `speed`."""
    planner = build_planner(
        max_speed=2 * speed + 1,
        max_accel=accel,
        max_jerk=jerk,
        stiffness=4.0,
        speed_weight=0.05,
        length=1e6,
    )
    row = np.zeros(PLAN_WIDTH)
    write_plan(planner, 0.0, 0.0, speed, 0.0, np.zeros(N_BLOCKS), row)
    return row, planner.horizon


def stop_time(speed, accel, jerk):
    row, _ = stop_of(speed, accel, jerk)
    return row[LENGTHS + N_BLOCKS :].sum()


@pytest.mark.parametrize(("distance", "speed", "accel", "jerk", "expected"), S_CURVES)
def test_two_stops_and_a_cruise_take_the_time_of_the_s_curve(
    distance, speed, accel, jerk, expected
):
    # Rest to rest is a stop run backwards, a cruise, and a stop.
    top = speed
    if 2 * stop_distance(speed, accel, jerk) > distance:
        top = brentq(
            lambda v: 2 * stop_distance(v, accel, jerk) - distance, 1e-6, speed
        )
    cruise = (distance - 2 * stop_distance(top, accel, jerk)) / top
    total = 2 * stop_time(top, accel, jerk) + cruise
    assert total == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("distance", "speed", "accel", "jerk", "expected"), S_CURVES)
def test_no_stop_beats_the_time_optimum_without_a_jerk_limit(
    distance, speed, accel, jerk, expected
):
    # Bryson & Ho; Athans & Falb 1966: rest to rest in 2 sqrt(D / a), from memory.
    assert expected >= 2 * np.sqrt(distance / accel)
    assert stop_time(speed, accel, jerk) >= speed / accel
    assert stop_distance(speed, accel, jerk) >= speed**2 / (2 * accel)
    # Nothing is gained by the jerk limit going away but what the optimum allows.
    assert stop_time(speed, accel, 1e7) == pytest.approx(speed / accel, rel=1e-4)


@pytest.mark.parametrize("speed", [0.05, 0.4, 1.5, 3.0])
def test_written_stop_covers_the_stop_distance_and_stands(speed):
    accel, jerk = 0.6, 2.0
    row, coast = stop_of(speed, accel, jerk)
    end = coast + stop_time(speed, accel, jerk)
    before, _, _ = evaluate_plan(row[None], 0, coast)
    after, v, a = evaluate_plan(row[None], 0, end)
    assert after - before == pytest.approx(stop_distance(speed, accel, jerk), rel=1e-8)
    assert abs(v) < 1e-12
    assert abs(a) < 1e-12


@pytest.mark.parametrize(("index", "alpha", "beta"), ALPHA_BETA)
def test_step_withins_settle_at_the_alpha_beta_gains(index, alpha, beta):
    # Kalata's model: acceleration constant over a step of 1 s, measured with variance
    # one. Not the noise that beliefs use; it is the recursion that is held here.
    f = np.zeros((4, 4))
    f[:2, :2] = [[1.0, 1.0], [0.0, 1.0]]
    q = np.zeros((4, 4))
    q[:2, :2] = index**2 * np.array([[0.25, 0.5], [0.5, 1.0]])
    p, gain = np.zeros((4, 4)), np.empty(4)
    p[0, 0] = p[1, 1] = 1.0
    for _ in range(3 * SETTLE):
        step_within(p, f, q, 1.0, gain, *np.empty((2, 4, 4)))
    assert gain[:2] == pytest.approx([alpha, beta], abs=1e-8)


def test_belief_gains_tend_to_the_continuous_regulators():
    # The regulator of a double integrator with Q = diag(1, 0), R = 1 has the gains
    # 1 and sqrt 2 (textbook, from memory); its dual filter sqrt 2 for place and 1 for
    # velocity. With bandwidth b: sqrt(2) b and b^2, damping 1 / sqrt 2 at b rad/s.
    drift = np.array([[0.0, 1.0], [0.0, 0.0]])
    p = solve_continuous_are(drift.T, np.array([[1.0], [0.0]]), np.diag([0, 1.0]), 1)
    assert p[:, 0] == pytest.approx([np.sqrt(2), 1.0])
    bandwidth = 8.0
    f, q, gain = np.empty((4, 4)), np.empty((4, 4)), np.empty(4)
    misses = []
    for rate_hz in (500.0, 1000.0):
        covariance = np.diag([1.0, 1.0, 0.0, 0.0])
        watch = Watch(0.0, bandwidth, 1e9, 0.0, 1.9, True, False)
        transition(1 / rate_hz, watch, f, q)
        for _ in range(20 * SETTLE):
            step_within(covariance, f, q, rate_hz, gain, *np.empty((2, 4, 4)))
        scaled = gain[:2] * rate_hz / [bandwidth, bandwidth**2]
        misses.append(np.abs(scaled - p[:, 0]).max())
    assert misses[0] < 0.02
    assert misses[1] == pytest.approx(misses[0] / 2, rel=0.05)
