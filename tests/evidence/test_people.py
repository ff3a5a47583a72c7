"""The measures by which people, crew and plain ways are compared, on known trackers."""

import numpy as np
import pytest

from evidence.people import (
    FUNCTION,
    best_lag_s,
    integrator,
    interval,
    low_pass_of_lag,
    pairs,
    restlessness,
    runs_of,
    sessions,
    whole_run_smoothing,
)


def test_the_function_has_prime_lines_that_fall_as_the_disturbance_integrates():
    assert FUNCTION.bins.tolist() == [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31]
    assert FUNCTION.omega[0] == pytest.approx(2 * np.pi * 0.1)
    ratio = FUNCTION.amplitude[0] / FUNCTION.amplitude[1]
    assert ratio == pytest.approx((3 / 2) ** 2)


def test_a_delayed_integrator_gives_back_its_two_numbers_and_no_spread():
    found = runs_of(integrator(2.5, 0.3), runs=4)
    assert found.crossover == pytest.approx(2.5, abs=0.05)
    assert found.delay_s == pytest.approx(0.3, abs=0.02)
    assert found.spread < 0.02
    assert found.residual.max() < 0.05


def test_a_low_pass_has_the_lag_it_was_asked_for():
    found = runs_of(low_pass_of_lag(0.24), runs=2)
    assert found.lag_s == pytest.approx(0.24, abs=0.03)


def test_smoothing_over_the_whole_run_is_not_late():
    assert runs_of(whole_run_smoothing(), runs=2).lag_s == pytest.approx(0.0, abs=0.01)


def test_the_best_lag_of_a_shifted_signal_is_its_shift():
    step = 40.0 / 2048
    times = step * np.arange(2048)
    wanted = np.sin(2 * np.pi * 0.1 * times) + 0.3 * np.sin(2 * np.pi * 0.55 * times)
    for shift in (0, 7, 31):
        assert best_lag_s(wanted, np.roll(wanted, shift), step) == pytest.approx(
            shift * step, abs=1e-9
        )


def test_runs_with_the_same_phases_are_drawn_together():
    rng = np.random.default_rng(4)
    one = rng.normal(5.0, 1.0, 40)
    together = interval(pairs(np.concatenate((one, one))))
    apart = interval(np.concatenate((one, one)))
    # Twice the same forty numbers tell no more than once.
    assert np.ptp(together) == pytest.approx(np.ptp(interval(one)), rel=0.05)
    assert np.ptp(apart) < 0.8 * np.ptp(together)


def test_sessions_are_ten_takes_of_five_sets_of_phases():
    runs = runs_of(integrator(2.5, 0.3), runs=20)
    found = sessions(runs)
    assert found.shape == (2, 3)
    same = runs.crossover[[*range(5, 10), *range(15, 20)]]
    assert found[1] == pytest.approx(
        (same.mean(), found[1, 1], same.std(ddof=1)), rel=1e-9
    )


def test_restlessness_is_the_share_of_the_rate_above_1_hz_and_counts_its_peaks():
    times = np.arange(0, 40, 1 / 48)
    slow, quick = 0.3, 3.0
    # Rates of amplitude 3 and 4: shares 0.6 and 0.8.
    values = 3 * np.sin(2 * np.pi * slow * times) / slow
    values += 4 * np.sin(2 * np.pi * quick * times) / quick
    share, _ = restlessness(values, 1 / 48)
    assert share == pytest.approx(0.8, abs=0.02)
    share, peaks = restlessness(np.sin(2 * np.pi * slow * times), 1 / 48)
    assert share < 0.02
    assert peaks == pytest.approx(2 * slow, abs=0.06)


def test_an_interval_holds_the_mean_and_shrinks_with_more_runs():
    rng = np.random.default_rng(3)
    few, many = rng.normal(5.0, 1.0, 10), rng.normal(5.0, 1.0, 160)
    for values in (few, many):
        low, high = interval(values)
        assert low < values.mean() < high
    assert np.ptp(interval(many)) < 0.5 * np.ptp(interval(few))
    low, high = interval(many, spread=True)
    assert low < many.std(ddof=1) < high
