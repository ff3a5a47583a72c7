"""The level of shake told from the move under it, without knowing the move."""

import numpy as np
import pytest
from studied import taken

from carrellata.solver.shake import LEVELS
from carrellata.solver.studies.level import find_level, periodograms
from carrellata.solver.studies.shake import level_of, study_shake

RATE_HZ = 24.0
SHAKEN = ("settled", "shoulder", "rough")
TAKES = (
    ("referee_turns", "track"),
    ("sprint_long", "arc"),
    ("referee_turns", "sticks"),
)


def shaken_percent(known):
    tx, _ = known.shot.tangents
    both = np.stack([known.take.shake.pan, known.take.shake.tilt])
    return 100 * np.sqrt(np.mean(np.tan(both) ** 2)) / (2 * tx)


def drawn(band_hz, percent, seed, seconds=15.0, noise=0.01):
    """Shake drawn another way: white noise through the band's shape, by FFT."""
    rng = np.random.default_rng(seed)
    n = 8 * round(seconds * RATE_HZ)
    hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    place = np.log(np.maximum(hz, 1e-9) / band_hz[0]) / np.log(band_hz[1] / band_hz[0])
    inside = (place > 0) & (place < 1)
    density = np.where(inside, np.sin(np.pi * place) ** 2 / np.maximum(hz, 1e-9), 0)
    lines = np.fft.rfft(rng.normal(size=(2, n))) * np.sqrt(density)
    long = np.fft.irfft(lines, n)
    values = (long * percent / long.std())[:, : n // 8]
    return values, values + rng.normal(0, noise, values.shape)


@pytest.mark.parametrize("name", SHAKEN)
@pytest.mark.parametrize("seed", range(3))
def test_shake_on_a_still_camera_is_measured_within_five_percent(name, seed):
    level = LEVELS[name]
    true, noisy = drawn(level.band_hz, level.percent, seed)
    found = find_level(noisy, RATE_HZ)
    assert found.present
    assert found.name == name
    assert found.percent == pytest.approx(np.sqrt(np.mean(true**2)), rel=0.05)


def test_strength_is_free_where_no_level_has_it():
    true, noisy = drawn(LEVELS["shoulder"].band_hz, 0.6, 1)
    found = find_level(noisy, RATE_HZ)
    assert found.percent == pytest.approx(np.sqrt(np.mean(true**2)), rel=0.05)


def test_a_steady_pan_changes_nothing():
    _, noisy = drawn(LEVELS["shoulder"].band_hz, 0.35, 2)
    ramp = np.linspace(0, 400, noisy.shape[1])
    still, moved = (find_level(x, RATE_HZ) for x in (noisy, noisy + ramp))
    assert moved.percent == pytest.approx(still.percent, rel=1e-6)


@pytest.mark.parametrize("noise", [0.03, 0.1, 0.3])
def test_noise_alone_is_no_shake(noise):
    _, values = drawn((0.5, 5.0), 0.0, 3, noise=noise)
    found = find_level(values, RATE_HZ)
    assert not found.present
    assert found.high < noise


def test_the_spectrum_found_is_the_one_that_was_drawn():
    true, noisy = drawn(LEVELS["rough"].band_hz, 1.0, 4, seconds=120.0)
    found = find_level(noisy, RATE_HZ)
    step = found.hz[1] - found.hz[0]
    assert found.percent == pytest.approx(true.std(), rel=0.02)
    octave = (found.hz >= 2.0 - step / 2) & (found.hz < 4.0 - step / 2)
    lines = np.abs(np.fft.rfft(true)) ** 2 * 2 / true.shape[1] ** 2
    hz = np.fft.rfftfreq(true.shape[1], 1 / RATE_HZ)
    inside = (hz >= 2.0 - step / 2) & (hz < 4.0 - step / 2)
    power = lines[:, inside].sum(axis=1).mean()
    assert found.density[octave].sum() * step == pytest.approx(power, rel=0.05)


def test_white_noise_has_its_own_density_in_every_line():
    values = np.random.default_rng(5).normal(0, 1.0, (2, 24 * 600))
    hz, found = periodograms(values, RATE_HZ)
    fast = hz > 2.0
    assert found[:, fast].mean() == pytest.approx(2.0 / RATE_HZ, rel=0.03)


@pytest.mark.parametrize(("clip", "rig"), TAKES)
@pytest.mark.parametrize("noise_deg", [0.01, 0.03])
@pytest.mark.parametrize("name", ["shoulder", "rough"])
def test_a_crews_shake_is_told_from_its_moves_alone(name, noise_deg, clip, rig):
    known = taken(clip, rig, shake=name, noise_deg=noise_deg)
    found = level_of(known.camera)
    assert found.present
    assert found.name == name
    assert found.percent == pytest.approx(shaken_percent(known), rel=0.1)


def test_where_the_move_hides_much_of_it_the_interval_has_the_truth():
    # `settled` has a third of its power above 1.5 Hz, where the move is silent.
    takes = [
        taken(clip, rig, shake="settled", seed=seed)
        for clip, rig in TAKES
        for seed in range(4)
    ]
    found = [level_of(known.camera) for known in takes]
    assert all(one.present and one.name == "settled" for one in found)
    true = [shaken_percent(known) for known in takes]
    inside = [one.low <= t <= one.high for one, t in zip(found, true, strict=True)]
    assert sum(inside) >= 10  # of 95 % intervals, so many of 12 in 98 of 100 draws
    # Where the interval is narrow the figure is near, and a little high: what a crew
    # that decides often leaves above 1.5 Hz counts as shake (seen: 12 %).
    sure = [one.high < 2 * one.low for one in found]
    assert sum(sure) >= 10
    off = np.log([one.percent / t for one, t in zip(found, true, strict=True)])[sure]
    assert abs(off.mean()) < 0.15
    assert off.std() < 0.2


@pytest.mark.parametrize(("clip", "rig"), TAKES)
@pytest.mark.parametrize("noise_deg", [0.01, 0.03])
def test_a_crew_that_does_not_shake_is_called_locked(clip, rig, noise_deg):
    known = taken(clip, rig, noise_deg=noise_deg)
    found = study_shake(known.camera, None)
    assert found.percent is None
    assert "move and noise hide" in found.why
    assert found.level == "locked"


def test_a_resampled_crew_that_does_not_shake_has_no_figure():
    known = taken("jumps", "sticks", resampled_hz=30.0, seconds=18.0)
    assert study_shake(known.camera, None).percent is None


def test_too_short_or_too_coarse_a_take_says_so():
    short = taken("referee_turns", "sticks", shake="rough", seconds=3.0).camera
    assert "shorter than 4 s" in study_shake(short, None).why
    coarse = taken("referee_turns", "sticks", shake="rough", resampled_hz=5.0).camera
    assert "fewer than 7.5 samples" in study_shake(coarse, None).why


@pytest.mark.parametrize("rate_hz", [8.0, 24000 / 1001, 25.0, 48.0, 120.0])
@pytest.mark.parametrize("n", [75, 76, 240, 361])
def test_any_length_and_rate_is_measured(rate_hz, n):
    level = LEVELS["settled"]
    rng = np.random.default_rng(6)
    hz = np.geomspace(*level.band_hz, 40)
    octaves = np.log(level.band_hz[1] / level.band_hz[0])
    shape = np.sin(np.pi * np.log(hz / hz[0]) / octaves) ** 2
    turns = rng.random((2, 40, 1)) + hz[:, None] * np.arange(n) / rate_hz
    values = (np.sqrt(shape)[:, None] * np.cos(2 * np.pi * turns)).sum(axis=1)
    values *= level.percent / values.std()
    noisy = values + rng.normal(0, 0.003, values.shape)
    found = find_level(noisy, rate_hz)
    assert found.percent == pytest.approx(level.percent, rel=0.25)
    assert found.low <= level.percent <= found.high
