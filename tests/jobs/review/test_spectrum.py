"""The spectrum of shake: power in its place, and all of it."""

import numpy as np
import pytest

from carrellata.jobs.review.spectrum import density


def test_power_of_a_sine_stands_at_its_frequency_and_adds_up() -> None:
    rate_hz, n_samples = 24.0, 480
    times = np.arange(n_samples) / rate_hz
    hz, power = density(0.3 * np.sin(2 * np.pi * 3.0 * times), rate_hz)
    assert hz[np.argmax(power)] == pytest.approx(3.0)
    assert power.sum() * (hz[1] - hz[0]) == pytest.approx(0.3**2 / 2, rel=0.01)


def test_level_of_white_noise_is_flat() -> None:
    values = np.random.default_rng(4).normal(0.0, 2.0, 1 << 16)
    _, power = density(values, 50.0)
    # One-sided density of variance 4 over 25 Hz.
    assert power.mean() == pytest.approx(4 / 25, rel=0.02)


def test_rows_have_the_spectra_that_each_has_alone() -> None:
    rows = np.random.default_rng(4).normal([[0.0], [5.0]], 1.0, (2, 91))
    hz, powers = density(rows, 24.0)
    for row, power in zip(rows, powers, strict=True):
        alone_hz, alone = density(row, 24.0)
        np.testing.assert_array_equal(hz, alone_hz)
        np.testing.assert_array_equal(power, alone)
