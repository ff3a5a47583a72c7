"""Lag by correlation, coherence and onset, and where each says nothing."""

import numpy as np
import pytest
from shots import GATE
from studied import camera_of, exactly_aimed, person, staged

from carrellata.solver.studies.camera import CameraMove, noise_of, smoothed
from carrellata.solver.studies.follow import shifted
from carrellata.solver.studies.lag import measure_lag
from carrellata.solver.studies.onset import SEEN
from carrellata.solver.studies.study import study

STEP_S = 1 / 24


def lag_of(clip, change, *, seconds=20.0, still_s=0.0, noise_deg=0.01):
    one = staged(person(clip, still_s=still_s), "sticks", seconds)
    times, place, angles = exactly_aimed(one)
    camera = camera_of(times, place, change(angles), noise_deg=noise_deg)
    return measure_lag(camera, angles[:2], camera.angle_noise)


@pytest.mark.parametrize("clip", ["referee_turns", "sprint_long", "jumps"])
@pytest.mark.parametrize("frames", [-5.0, 0.0, 7.3])
def test_a_delay_is_found_by_correlation_and_coherence(clip, frames):
    lag = lag_of(clip, lambda x: shifted(x, frames))
    assert lag.correlation.value / STEP_S == pytest.approx(frames, abs=0.3)
    assert lag.coherence.delay.value / STEP_S == pytest.approx(frames, abs=0.5)
    assert lag.coherence.share > 0.9


def first_passing(values, still, level=SEEN):
    """Return the sample at which values first pass a level off their first, exactly."""
    off = np.abs(values - values[still // 2])
    k = int(np.argmax(off > level))
    return k - 1 + (level - off[k - 1]) / (off[k] - off[k - 1])


@pytest.mark.parametrize("clip", ["sprint_long", "runner_late", "referee_turns"])
@pytest.mark.parametrize("width_s", [0.3, 0.5])
def test_smoothing_starts_early_by_the_frames_that_the_truth_says(clip, width_s):
    still = 72
    one = staged(person(clip, still_s=3.0), "sticks", 12.0)
    times, place, angles = exactly_aimed(one)
    made = smoothed(angles, width_s * 24)
    camera = camera_of(times, place, made)
    lag = measure_lag(camera, angles[:2], camera.angle_noise)
    channel = int(np.argmax((angles[:2] / camera.half[:, None]).std(axis=1)))
    half = camera.half[channel]
    truth = first_passing(made[channel] / half, still) - first_passing(
        angles[channel] / half, still
    )
    assert truth < -1.5
    first = lag.onsets[0]
    assert first.late_s / STEP_S == pytest.approx(truth, abs=1.0)
    stretch = next(one for one in lag.early if one.by == "onset")
    assert stretch.lead_s / STEP_S == pytest.approx(-truth, abs=1.0)
    assert stretch.end_s - stretch.start_s == pytest.approx(stretch.lead_s)


def test_exact_aim_is_never_early():
    for clip in ("sprint_long", "jumps", "climbing"):
        lag = lag_of(clip, lambda x: x, still_s=2.0)
        assert all(abs(one.late_s) < 1.0 * STEP_S for one in lag.onsets)
        assert lag.early == ()


def test_a_camera_that_leads_throughout_is_named_with_its_stretch():
    lag = lag_of("sprint_long", lambda x: shifted(x, -6.0))
    found = [one for one in lag.early if one.by == "correlation"]
    assert found
    assert found[0].lead_s / STEP_S == pytest.approx(6.0, abs=0.6)


def test_below_the_floor_a_reason_stands_in_place_of_a_number():
    short = lag_of("sprint_long", lambda x: x, seconds=2.0)
    assert short.correlation.value is None
    assert "shorter than 3 s" in short.correlation.why
    still = lag_of("sprint_long", lambda x: x, seconds=5.0, still_s=6.0)
    assert still.correlation.value is None
    assert "half frames/s" in still.correlation.why
    noisy = lag_of("sprint_long", lambda x: x, still_s=3.0, noise_deg=0.2)
    assert noisy.onset.value is None
    assert "noise" in noisy.onset.why


def test_noise_is_told_within_a_fifth_whatever_the_move():
    t = np.arange(480) / 24
    rng = np.random.default_rng(1)
    for sigma in (1e-4, 1e-3):
        values = np.sin(2 * np.pi * 0.3 * t) + rng.normal(0, sigma, 480)
        assert noise_of(values) == pytest.approx(sigma, rel=0.2)


def test_too_few_samples_are_refused_by_name():
    few = np.zeros(5)
    with pytest.raises(Exception, match="camera: needs 8 samples, got 5"):
        CameraMove(
            times_s=np.arange(5.0),
            place=np.zeros((5, 3)),
            pan=few,
            tilt=few,
            roll=few,
            focal_mm=few + 50,
            gate=GATE,
        )


def test_the_study_carries_the_lag():
    one = staged(person("sprint_long"), "sticks", 12.0)
    times, place, angles = exactly_aimed(one)
    camera = camera_of(times, place, shifted(angles, 4.0))
    found = study(camera, one.subjects[0], rate=one.rate, size="full")
    assert found.lag.correlation.value / STEP_S == pytest.approx(4.0, abs=0.3)
