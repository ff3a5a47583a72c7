"""Sums of cosines: the library's own, at any time, whatever stands beside it."""

import math

import numpy as np
import pytest

from carrellata.solver.cosines import CHUNK, cosine_sums, in_bins


def summed(times_s, frequency, phase, amplitude, scale=None):
    out = np.full((len(frequency), len(times_s)), np.nan)
    scale = np.ones(len(frequency)) if scale is None else scale
    cosine_sums(times_s, frequency, phase, amplitude, scale, out)
    return out


def test_one_cosine_is_the_librarys_to_rounding():
    # Times and frequencies whose product is exact, so that only the cosine differs.
    times_s = np.arange(-4096, 4096) / 1024.0
    frequency = np.array([[0.125], [0.75], [3.0], [7.5]])
    found = summed(times_s, frequency, np.zeros((4, 1)), np.ones(1))
    turns = np.fmod(frequency * times_s, 1.0)
    expected = [[math.cos(2 * math.pi * y) for y in row] for row in turns]
    np.testing.assert_allclose(found, expected, atol=1e-15)
    quarters = summed(np.arange(5) / 4.0, np.ones((1, 1)), np.zeros((1, 1)), np.ones(1))
    np.testing.assert_array_equal(quarters[0, [0, 2, 4]], [1.0, -1.0, 1.0])
    np.testing.assert_array_equal(quarters[0, [1, 3]], [0.0, 0.0])


def test_terms_add_up_with_their_amplitudes_phases_and_scales():
    rng = np.random.default_rng(3)
    times_s = rng.uniform(0, 60, 500)
    frequency, phase = rng.uniform(0.4, 8, (3, 48)), rng.random((3, 48))
    amplitude, scale = rng.random(48), np.array([1.0, 0.01, 0.0])
    turns = frequency[:, None] * times_s[:, None] + phase[:, None]
    expected = scale[:, None] * (np.cos(2 * np.pi * turns) @ amplitude)
    found = summed(times_s, frequency, phase, amplitude, scale)
    np.testing.assert_allclose(found, expected, atol=1e-11)
    assert np.abs(found[0]).max() > 1


@pytest.mark.parametrize("first", [1, 7, CHUNK - 1, CHUNK, 3 * CHUNK + 5])
def test_a_trim_changes_no_bit(first):
    rng = np.random.default_rng(4)
    times_s = 40.0 + np.arange(4 * CHUNK + 11) / 24.0
    terms = rng.uniform(0.4, 8, (6, 48)), rng.random((6, 48)), rng.random(48)
    whole = summed(times_s, *terms)
    np.testing.assert_array_equal(whole[:, first:], summed(times_s[first:], *terms))


def test_bins_are_equal_in_log_frequency():
    draws = np.array([[0.0, 0.0, 0.0, 0.0], [0.5, 0.25, 0.75, 1.0]])
    frequency = np.empty((2, 4))
    in_bins(draws, 0.5, 16.0, frequency)
    np.testing.assert_allclose(frequency[0], [0.5, 1.0, 2.0, 4.0], rtol=1e-15)
    np.testing.assert_allclose(np.log2(frequency[1]), [-0.5, 0.25, 1.75, 3.0])
