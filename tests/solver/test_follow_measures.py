"""Ripple, overshoot and onset on motions whose answers are known by arithmetic."""

import numpy as np
import pytest

from carrellata.solver.action.steady import moves_evenly, rates_of, stride_means
from carrellata.solver.measures.moves import Camera, followed

RATE = 24.0
N = 240
TIMES = np.arange(N) / RATE


def camera(pan, rail=None, base=(0.0, 1.5, 6.0), tilt=None):
    """A camera with these angles at TIMES; rates by differences."""

    def channel(values):
        values = np.broadcast_to(np.asarray(values, dtype=np.float64), (N,))
        rate = np.gradient(values, TIMES)
        return np.column_stack([values, rate, np.gradient(rate, TIMES)])

    places = np.broadcast_to(np.asarray(base, dtype=np.float64), (N, 3)).copy()
    rail = 0.0 if rail is None else rail
    return Camera(
        TIMES,
        places,
        channel(pan),
        channel(0.0 if tilt is None else tilt),
        channel(rail),
    )


def walk(speed=1.3, start=-6.0):
    floor = np.zeros((N, 3))
    floor[:, 0] = start + speed * TIMES
    return floor


def bearing(floor, base=(0.0, 1.5, 6.0)):
    dx, dz = floor[:, 0] - base[0], floor[:, 2] - base[2]
    return np.unwrap(np.arctan2(-dx, -dz))


def test_a_pan_that_matches_has_no_ripple_and_a_sawtooth_has_its_own():
    floor = walk()
    matched = bearing(floor)
    found = followed(camera(matched), floor, 0, N)
    assert found.pan_ripple == pytest.approx(0.0, abs=1e-3)
    wave = 0.02 * np.sin(2 * np.pi * 0.7 * TIMES)
    found = followed(camera(matched + wave), floor, 0, N)
    reach = round(0.5 * RATE)
    inside = slice(reach, N - reach)
    slope = np.gradient(wave, TIMES)[inside]
    assert found.pan_ripple_rad_s == pytest.approx(np.sqrt(np.mean(slope**2)), rel=0.02)
    mean = np.abs(np.gradient(matched, TIMES)[inside]).mean()
    assert found.pan_ripple == pytest.approx(found.pan_ripple_rad_s / mean, rel=0.01)


def test_where_nothing_is_even_there_is_no_ripple():
    floor = walk()
    floor[:, 2] = 2.0 * np.sin(2 * np.pi * 0.4 * TIMES)
    found = followed(camera(bearing(floor)), floor, 0, N)
    assert found.pan_ripple is None
    still = followed(camera(0.1 * TIMES), np.zeros((N, 3)), 0, N)
    assert still.pan_ripple_rad_s is None
    assert still.onset_lag_s is None
    assert still.pan_overshoot_rad is None


def test_the_tilt_is_held_against_the_rise():
    floor = walk()
    floor[:, 1] = 0.25 * (floor[:, 0] - floor[0, 0])
    d = floor - [0.0, 1.5, 6.0]
    rise = np.arctan2(d[:, 1], np.hypot(d[:, 0], d[:, 2]))
    found = followed(camera(bearing(floor), tilt=rise), floor, 0, N)
    assert found.tilt_ripple == pytest.approx(0.0, abs=2e-3)
    off = followed(camera(bearing(floor), tilt=0.0), floor, 0, N)
    assert off.tilt_ripple > 0.9


def stopping(at=5.0, speed=1.4):
    floor = np.zeros((N, 3))
    floor[:, 0] = -6.0 + speed * np.minimum(TIMES, at)
    return floor


@pytest.mark.parametrize("past", [0.0, 0.04, 0.11])
def test_overshoot_is_what_goes_past_the_place_of_rest(past):
    floor = stopping()
    matched = bearing(floor)
    after = np.clip(TIMES - 5.6, 0.0, None)
    bump = past * np.where(after > 0, np.sin(np.pi * np.minimum(after, 1.0)), 0.0)
    way = np.sign(matched[60] - matched[0])
    found = followed(camera(matched + way * bump), floor, 0, N)
    assert found.pan_overshoot_rad == pytest.approx(past, abs=5e-3)
    assert found.dolly_overshoot_m is None
    rail = np.minimum(TIMES, 5.0) + 10 * bump
    found = followed(camera(matched, rail), floor, 0, N)
    assert found.dolly_overshoot_m == pytest.approx(10 * past, abs=5e-2)


@pytest.mark.parametrize("late", [0.0, 0.125, 0.25, 0.5])
def test_onset_lag_is_the_delay_of_the_answer(late):
    floor = stopping()
    delayed = floor.copy()
    delayed[:, 0] = np.interp(TIMES - late, TIMES, floor[:, 0], left=np.nan)
    delayed[np.isnan(delayed[:, 0]), 0] = (
        -6.0 + 1.4 * (TIMES - late)[np.isnan(delayed[:, 0])]
    )
    found = followed(camera(bearing(delayed)), floor, 0, N)
    assert found.onset_lag_s == pytest.approx(late, abs=1.6 / RATE)


def test_even_motion_has_no_onset():
    floor = walk()
    assert followed(camera(bearing(floor)), floor, 0, N).onset_lag_s is None


def test_means_over_a_stride_keep_what_moves_evenly():
    points = np.column_stack([3.0 * TIMES, np.zeros(N), -TIMES])
    found = np.empty((N, 3))
    stride_means(TIMES, points, 0.35, found)
    np.testing.assert_allclose(found, points, atol=1e-9)
    bounce = np.random.default_rng(3).normal(size=(N, 3))
    stride_means(TIMES, bounce, 0.35, found)
    for k in range(N):
        half = min(k, N - 1 - k, round(0.35 * RATE))
        expected = bounce[k - half : k + half + 1].mean(axis=0)
        np.testing.assert_allclose(found[k], expected, atol=1e-9)


def test_rates_have_the_bits_of_numpy():
    random = np.random.default_rng(5)
    values = random.normal(size=N)
    uneven = np.cumsum(random.uniform(0.5, 1.5, N)) / RATE
    for times in (TIMES, TIMES + 4001 / 25, np.arange(N) / 32, uneven, uneven[:2]):
        found = np.empty(len(times))
        rates_of(times, values[: len(times)], found)
        expected = np.gradient(values[: len(times)], times)
        np.testing.assert_array_equal(found, expected)


def test_even_is_where_the_velocity_stays():
    floor = stopping(at=5.0)
    _, velocity, even = moves_evenly(TIMES, floor)
    assert even[round(1.0 * RATE) : round(4.0 * RATE)].all()
    assert not even[round(4.9 * RATE) :].any()
    assert np.hypot(*velocity[72]) == pytest.approx(1.4)
