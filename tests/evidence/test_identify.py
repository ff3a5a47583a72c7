"""The identification itself, against a delayed integrator and its closed forms.

x' = wc (r - x)(t - tau) has the open loop of the crossover model exactly.
"""

import math
from math import factorial

import numpy as np
import pytest

from carrellata.solver.studies.crossover import crossing, crossover_fit
from evidence.identify import (
    crossover_model,
    delayed_integrator,
    exact_error_share,
    identify,
)
from evidence.targets import SET_A, SET_B, SET_C, TARGETS, band_limited

STEPS = 1 << 14


def identified(target, crossover, delay_s, *, noise=0.0):
    """Identify a simulated delayed integrator; the delay is rounded to a step."""
    step = target.period_s / STEPS
    delay_steps = round(delay_s / step)
    lead = int(10 / step)
    rng = np.random.default_rng(5)
    wanted, got = [], []
    for seed in range(2):
        phase = target.phases(seed)
        _, r, x = delayed_integrator(
            lambda t, phase=phase: target.at(t, phase),
            crossover=crossover,
            delay_steps=delay_steps,
            step_s=step,
            steps=lead + STEPS,
        )
        wanted.append(r[lead:-1])
        got.append(x[lead:-1] + noise * rng.normal(size=STEPS))
    found = identify(np.array(wanted), np.array(got), target.bins, target.period_s)
    return found, delay_steps * step


@pytest.mark.parametrize("target", TARGETS, ids=lambda one: one.name)
@pytest.mark.parametrize(("crossover", "delay_s"), [(4.75, 0.18), (3.0, 0.30)])
def test_crossover_and_delay_of_a_delayed_integrator_are_recovered(
    target, crossover, delay_s
):
    found, delay = identified(target, crossover, delay_s)
    # Between lines the gain is interpolated, exactly for an integrator.
    assert found.crossover == pytest.approx(crossover, rel=2e-3)
    assert found.fitted_crossover == pytest.approx(crossover, rel=2e-3)
    assert found.delay_s == pytest.approx(delay, abs=1e-3)
    # Phase margin = pi / 2 - wc tau.
    assert found.margin_rad == pytest.approx(math.pi / 2 - crossover * delay, abs=5e-3)
    assert found.coherence.min() > 0.999
    assert found.remnant < 1e-3


def test_a_wrong_sign_is_no_crossover_model():
    found, _ = identified(SET_A, 4.0, 0.2)
    model = crossover_model(found.omega, 4.0, 0.2)
    assert np.abs(found.open_loop / model - 1)[found.omega < 9].max() < 0.02
    assert np.abs(found.open_loop / -model - 1).min() > 1.9


def test_noise_is_remnant_and_hardly_moves_the_estimate():
    clean, _ = identified(SET_A, 4.0, 0.2)
    noisy, _ = identified(SET_A, 4.0, 0.2, noise=0.02)
    # Noise of variance 4e-4 on a response of variance about that of the target.
    share = 4e-4 / (4e-4 + SET_A.rms**2)
    assert noisy.remnant == pytest.approx(share, rel=0.15)
    assert noisy.crossover == pytest.approx(clean.crossover, rel=0.02)
    assert noisy.coherence.min() < clean.coherence.min()


def test_a_loop_that_never_crosses_has_no_crossover():
    omega = np.array([1.0, 2.0, 4.0])
    crossover, margin = crossing(omega, crossover_model(omega, 0.5, 0.2))
    assert math.isnan(crossover)
    assert math.isnan(margin)
    assert all(map(math.isnan, crossover_fit(omega, np.ones(3) * 1j, crossover)))


def unit_step(crossover, delay_steps, step_s, seconds):
    return delayed_integrator(
        lambda t: np.ones_like(t),
        crossover=crossover,
        delay_steps=delay_steps,
        step_s=step_s,
        steps=round(seconds / step_s),
    )


def test_step_response_is_the_series_of_the_method_of_steps():
    crossover, delay = 5.0, 0.2
    times, _, x = unit_step(crossover, 200, 1e-3, 2.0)
    exact = np.zeros_like(times)
    for k in range(1, 11):
        late = np.maximum(times - k * delay, 0.0)
        exact += (-1) ** (k + 1) * (crossover * late) ** k / factorial(k)
    assert np.abs(x - exact).max() < 2e-5
    assert (x[:201] == 0.0).all()
    # At wc tau = 1 the overshoot is a half exactly, at 3 tau.
    assert x.max() == pytest.approx(1.5, abs=1e-4)
    assert times[x.argmax()] == pytest.approx(3 * delay, abs=2e-3)


@pytest.mark.parametrize("product", [0.5, 0.739085, 1.0])
def test_step_error_has_its_closed_integral(product):
    # cos(wc tau) / (2 wc (1 - sin(wc tau))); Marshall, Gorecki, Korytowski & Walton
    # 1992, Time-Delay Systems (from memory).
    delay = 0.2
    crossover = product / delay
    times, r, x = unit_step(crossover, 400, delay / 400, 12.0)
    exact = math.cos(product) / (2 * crossover * (1 - math.sin(product)))
    assert np.trapezoid((r - x) ** 2, times) == pytest.approx(exact, rel=1e-3)


def test_lag_on_a_ramp_is_the_speed_over_the_crossover():
    times, r, x = delayed_integrator(
        lambda t: 0.7 * t, crossover=3.0, delay_steps=20, step_s=0.01, steps=2000
    )
    assert r[-1] - x[-1] == pytest.approx(0.7 / 3.0, rel=1e-6)
    assert times[-1] == pytest.approx(20.0)


@pytest.mark.parametrize("band", [1.5, 2.5])
def test_error_share_is_that_of_the_model_and_near_the_one_third_law(band):
    target = band_limited(band, shelf=False)
    found, delay = identified(target, 4.75, 0.18)
    exact = exact_error_share(4.75, delay, target.omega, target.amplitude)
    assert found.error_share == pytest.approx(exact, rel=5e-3)
    # The same share of a whole rectangular spectrum, by quadrature.
    omega = np.linspace(1e-3, band, 4000)
    spectrum = exact_error_share(4.75, 0.18, omega, np.ones_like(omega))
    assert exact == pytest.approx(spectrum, rel=0.04)
    # (wi / wc)^2 / 3, McRuer & Jex 1967 (from memory), for bands well below wc.
    assert spectrum == pytest.approx((band / 4.75) ** 2 / 3, rel=0.15)


@pytest.mark.parametrize("target", [SET_A, SET_B, SET_C], ids=lambda one: one.name)
def test_lines_are_the_published_ones_and_fill_whole_periods(target):
    assert len(set(target.bins.tolist())) == len(target.bins)
    assert target.fast_rms == pytest.approx(SET_A.rms)
    start, end = target.at(np.array([0.0, target.period_s]), target.phases(1))
    assert start == pytest.approx(end, abs=1e-9)


def test_bins_of_set_a_are_the_published_ones():
    # Nieuwenhuizen et al. 2008: n = 6, 9, 13 ... over 81.92 s.
    assert SET_A.bins.tolist() == [6, 9, 13, 19, 29, 47, 61, 83, 107, 139, 179, 213]
