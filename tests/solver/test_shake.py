"""The shake layer: spectrum, amplitude, and dependence on time and seed alone."""

import dataclasses
import math
from dataclasses import replace

import numpy as np
import pytest
from evidence.following import evenly
from scipy import integrate, signal

from carrellata.solver.optics.camera import used_gate
from carrellata.solver.shake import (
    LEVELS,
    ShakeLevel,
    log_hann_density,
    shake_layer,
)
from carrellata.solver.take import operate

GATE = used_gate(24.89, 18.66, aspect=2.39)
AXES = ("x", "y", "z", "pan", "tilt", "roll")
MOVING = ("settled", "shoulder", "rough")
RATE_HZ = 48.0


def _layer(level, times_s, seed=7, focal_mm=50.0):
    return shake_layer(level, times_s=times_s, seed=seed, focal_mm=focal_mm, gate=GATE)


def _mean_spectrum(level, axis, seeds=120, duration_s=80.0):
    """Welch spectrum averaged over seeds."""
    times_s = np.arange(0.0, duration_s, 1.0 / RATE_HZ)
    runs = np.stack([getattr(_layer(level, times_s, k), axis) for k in range(seeds)])
    frequency, power = signal.welch(
        runs, RATE_HZ, nperseg=1024, detrend=False, window="hann"
    )
    return frequency, power.mean(axis=0)


@pytest.mark.parametrize("name", MOVING)
def test_density_has_unit_area(name):
    low, high = LEVELS[name].band_hz
    area, _ = integrate.quad(
        lambda f: float(log_hann_density(np.array([f]), (low, high))[0]), low, high
    )
    assert area == pytest.approx(1.0, abs=1e-9)
    assert np.all(
        log_hann_density(np.array([0.5 * low, 2 * high]), (low, high)) < 1e-30
    )


@pytest.mark.parametrize("name", MOVING)
def test_spectrum_is_the_named_density_within_1_db(name):
    level = LEVELS[name]
    low, high = level.band_hz
    frequency, power = _mean_spectrum(level, "pan")
    step = frequency[1]
    density = level.angle_rad(50.0, GATE) ** 2 * log_hann_density(
        np.maximum(frequency, 1e-6), level.band_hz
    )
    # Third octaves over the part of the band that carries nearly all the power.
    centres = low * (high / low) ** np.linspace(0.2, 0.8, 9)
    for centre in centres:
        inside = (frequency > centre * 2 ** (-1 / 6)) & (
            frequency < centre * 2 ** (1 / 6)
        )
        ratio = (power[inside].sum() * step) / (density[inside].sum() * step)
        assert abs(10.0 * math.log10(ratio)) < 1.0


@pytest.mark.parametrize("name", MOVING)
def test_nothing_moves_above_the_top_of_the_band(name):
    level = LEVELS[name]
    times_s = np.arange(0.0, 200.0, 1.0 / RATE_HZ)
    track = _layer(level, times_s)
    for axis in AXES:
        # A window with side lobes under -200 dB, so that leakage is not power.
        taper = signal.windows.kaiser(len(times_s), 30.0)
        spectrum = np.abs(np.fft.rfft(taper * getattr(track, axis))) ** 2
        frequency = np.fft.rfftfreq(len(times_s), 1.0 / RATE_HZ)
        above = spectrum[frequency > level.band_hz[1] + 0.1].max()
        below = spectrum[frequency < level.band_hz[0] - 0.1].max()
        assert max(above, below) < 1e-16 * spectrum.max()


@pytest.mark.parametrize("name", MOVING)
def test_amplitude_is_the_asked_rms_on_every_axis(name):
    level = LEVELS[name]
    track = _layer(level, np.arange(0.0, 3000.0, 1.0 / 24.0))
    angle = level.percent / 100.0 * 24.89 / 50.0
    asked = dict.fromkeys("xyz", level.translation_mm / 1000.0)
    asked |= {"pan": angle, "tilt": angle, "roll": math.radians(level.roll_degrees)}
    for axis in AXES:
        values = getattr(track, axis)
        assert np.std(values) == pytest.approx(asked[axis], rel=0.01)
        assert abs(np.mean(values)) < 0.01 * asked[axis]


def test_percent_moves_the_picture_alike_on_every_lens():
    times_s = np.arange(0.0, 10.0, 1.0 / 24.0)
    short = _layer(LEVELS["shoulder"], times_s, focal_mm=25.0)
    long = _layer(LEVELS["shoulder"], times_s, focal_mm=100.0)
    assert np.allclose(25.0 * short.pan, 100.0 * long.pan, rtol=1e-12)
    assert np.array_equal(short.roll, long.roll)
    assert np.array_equal(short.xyz, long.xyz)


def test_percent_counts_the_desqueezed_frame():
    level = ShakeLevel("own", percent=1.0)
    wide = used_gate(21.95, 18.60, aspect=2.39, squeeze=2.0)
    tx, _ = wide.half_tangents(50.0)
    assert level.angle_rad(50.0, wide) == pytest.approx(0.01 * 2.0 * tx)


def test_degrees_are_the_bodys_whatever_the_lens():
    level = dataclasses.replace(LEVELS["shoulder"], degrees=0.2)
    times_s = np.arange(0.0, 2000.0, 1.0 / 24.0)
    short, long = (_layer(level, times_s, focal_mm=f) for f in (25.0, 100.0))
    assert np.array_equal(short.pan, long.pan)
    assert np.std(short.tilt) == pytest.approx(math.radians(0.2), rel=0.01)


@pytest.mark.parametrize("count", [1, 2, 3, 7, 41, 240])
def test_a_trim_or_a_subframe_changes_no_bit(count):
    times_s = np.arange(-1000, 9000) * (1001.0 / 24000.0 / 4.0)
    whole = _layer(LEVELS["rough"], times_s)
    part = _layer(LEVELS["rough"], times_s[1237 : 1237 + 4 * count : 4])
    for axis in AXES:
        kept = getattr(whole, axis)[1237 : 1237 + 4 * count : 4]
        assert np.array_equal(getattr(part, axis), kept)
        assert np.all(kept != 0.0)


def test_seed_repeats_a_performance_and_another_seed_is_another():
    times_s = np.arange(0.0, 400.0, 1.0 / 24.0)
    first, again, other = (_layer(LEVELS["rough"], times_s, k) for k in (7, 7, 8))
    assert np.array_equal(first.pan, again.pan)
    assert abs(np.corrcoef(first.pan, other.pan)[0, 1]) < 0.2


def test_axes_are_independent_of_each_other():
    track = _layer(LEVELS["rough"], np.arange(0.0, 1000.0, 1.0 / 24.0))
    rows = np.corrcoef(np.stack([getattr(track, axis) for axis in AXES]))
    assert np.abs(rows - np.eye(6)).max() < 0.15


def test_one_amplitude_can_be_set_without_touching_the_other_axes():
    times_s = np.arange(0.0, 4.0, 1.0 / 24.0)
    plain = _layer(LEVELS["shoulder"], times_s)
    rolled = _layer(dataclasses.replace(LEVELS["shoulder"], roll_degrees=1.0), times_s)
    assert np.array_equal(plain.pan, rolled.pan)
    assert not np.array_equal(plain.roll, rolled.roll)


def test_locked_does_not_move_at_all():
    track = _layer(LEVELS["locked"], np.arange(48) / 24.0)
    for axis in AXES:
        assert np.array_equal(getattr(track, axis), np.zeros(48))


def test_levels_grow_in_order_and_cine_rates_carry_them():
    levels = list(LEVELS.values())
    assert [level.name for level in levels] == list(LEVELS)
    for field in ("percent", "roll_degrees", "translation_mm"):
        values = [getattr(level, field) for level in levels]
        assert values == sorted(set(values))
    assert max(level.lowest_rate_hz for level in levels) < 24000 / 1001
    assert all(level.band_hz[1] <= 10.0 for level in levels)
    assert LEVELS["rough"].lowest_rate_hz == pytest.approx(8.0 / 0.45)


def test_a_take_shakes_by_the_clock_of_the_scene_whatever_its_handles():
    one = evenly("sticks", 1.3, "brisk")
    one = replace(one, shake=LEVELS["shoulder"], first=1010, seed=4)
    plain, handled = operate(one), operate(replace(one, handles=(6, 0)))
    inside = ~handled.handle
    for axis in ("x", "pan", "tilt", "roll"):
        assert np.array_equal(
            getattr(plain.shake, axis), getattr(handled.shake, axis)[inside]
        )
    assert np.ptp(plain.shake.pan) > 0.0
