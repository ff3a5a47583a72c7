import numpy as np
import pytest
from scipy.optimize import least_squares

from carrellata.solver.laying.fit_line import (
    SMOOTHING_S4,
    factor_smoother,
    fit_line,
    smooth,
)


def walk(seed, n=60, rate=24.0):
    """Return times and a wandering path with a main direction."""
    rng = np.random.default_rng(seed)
    times = np.arange(n) / rate
    turn = np.cumsum(rng.normal(0, 0.05, n)) + rng.uniform(0, 2 * np.pi)
    speed = 1.2 + 0.5 * np.sin(times + rng.uniform(0, 6))
    steps = (speed / rate)[:, None] * np.column_stack((np.cos(turn), np.sin(turn)))
    return times, np.cumsum(steps, axis=0) + rng.normal(0, 5, 2)


def second_differences(times):
    """Return the matrix of second divided differences, (n - 2, n)."""
    n = len(times)
    rows = np.zeros((n - 2, n))
    for k in range(1, n - 1):
        back, ahead = times[k] - times[k - 1], times[k + 1] - times[k]
        rows[k - 1, k - 1] = 2 / (back * (back + ahead))
        rows[k - 1, k] = -2 / (back * ahead)
        rows[k - 1, k + 1] = 2 / (ahead * (back + ahead))
    return rows


def objective(fit, targets, times):
    bend = second_differences(times) @ fit.s
    return np.sum((targets - fit.places) ** 2) + SMOOTHING_S4 * np.sum(bend**2)


def test_smoothing_solves_the_normal_equations_at_uneven_times() -> None:
    rng = np.random.default_rng(3)
    times = np.cumsum(rng.uniform(0.02, 0.08, 50))
    weights, r = rng.uniform(0.1, 2, 50), rng.normal(0, 1, 50)
    factors, s = np.empty((3, 50)), np.empty(50)
    factor_smoother(times, weights, 0.05, factors)
    smooth(factors, weights, r, s)
    rows = second_differences(times)
    full = np.diag(weights) + 0.05 * rows.T @ rows
    # The matrix has a condition number near 1e6.
    assert s == pytest.approx(np.linalg.solve(full, weights * r), abs=1e-8)


def test_a_steady_straight_walk_is_fitted_exactly() -> None:
    times = np.arange(120) / 24
    way = np.array((0.6, -0.8))
    targets = np.array((3.0, -2.0)) + 1.4 * times[:, None] * way
    fit = fit_line(targets, times)
    assert fit.direction == pytest.approx(way, abs=1e-12)
    assert fit.places == pytest.approx(targets, abs=1e-9)


def test_the_fit_turns_and_moves_with_its_targets() -> None:
    times, targets = walk(5)
    fit = fit_line(targets, times)
    c, s = np.cos(1.1), np.sin(1.1)
    turn, shift = np.array(((c, -s), (s, c))), np.array((40.0, -7.0))
    moved = fit_line(targets @ turn.T + shift, times)
    assert moved.places == pytest.approx(fit.places @ turn.T + shift, abs=1e-9)
    backwards = fit_line(targets[::-1].copy(), times)
    assert backwards.direction == pytest.approx(-fit.direction, abs=1e-9)
    assert backwards.s == pytest.approx(-fit.s[::-1], abs=1e-9)


def test_no_other_line_nearby_is_much_better() -> None:
    # The alternation may stop short of the minimum; count by how much.
    worst = 0.0
    for seed in range(20):
        times, targets = walk(seed)
        fit = fit_line(targets, times)
        rows = np.sqrt(SMOOTHING_S4) * second_differences(times)

        def miss(x, rows=rows, targets=targets):
            way = np.array((np.cos(x[2]), np.sin(x[2])))
            gap = targets - x[:2] - x[3:, None] * way
            return np.concatenate((gap.ravel(), rows @ x[3:]))

        angle = np.arctan2(fit.direction[1], fit.direction[0])
        best = least_squares(miss, np.concatenate((fit.origin, (angle,), fit.s)))
        worst = max(worst, objective(fit, targets, times) / (2 * best.cost))
    assert 1.0 - 1e-9 < worst < 1.01


def test_speed_along_the_line_stays_within_its_limit() -> None:
    times, targets = walk(7)
    fit = fit_line(targets, times, max_speed=0.8)
    speed = np.abs(np.diff(fit.s) / np.diff(times))
    assert speed.max() == pytest.approx(0.8, rel=1e-9)
    free = fit_line(targets, times)
    assert np.abs(np.diff(free.s) / np.diff(times)).max() > 0.9


def test_targets_without_weight_do_not_pull() -> None:
    times, targets = walk(9)
    weights = np.ones(60)
    weights[20:25] = 0.0
    thrown = targets.copy()
    thrown[20:25] += 30.0
    kept = fit_line(targets, times, weights)
    # A weight of 0 counts as a millionth, so 30 m still move it by about 0.1 mm.
    assert fit_line(thrown, times, weights).places == pytest.approx(
        kept.places, abs=1e-3
    )


def test_a_subject_that_stands_gives_a_point() -> None:
    times = np.arange(10) / 24
    fit = fit_line(np.full((10, 2), 3.5), times)
    assert fit.places == pytest.approx(np.full((10, 2), 3.5), abs=1e-12)
    assert fit.direction == pytest.approx((1.0, 0.0))
