"""Paths: their simplest rig, what it leaves, wobble, parallax; limits; lenses."""

from dataclasses import replace

import numpy as np
import pytest
from shots import GATE
from studied import taken

from carrellata.solver.presets import PRESETS
from carrellata.solver.studies.camera import CameraMove, angles_of, smooth_rate
from carrellata.solver.studies.framing import (
    nearest_size,
    study_framing,
    study_lens,
)
from carrellata.solver.studies.limits import study_limits
from carrellata.solver.studies.path import study_path

KINDS = {"sticks": "point", "track": "line", "arc": "arc"}
T = np.arange(240) / 24


def move(place, **changes):
    still = np.zeros(len(place))
    camera = CameraMove(
        times_s=np.arange(len(place)) / 24,
        place=place,
        pan=still,
        tilt=still,
        roll=still,
        focal_mm=still + 50.0,
        gate=GATE,
    )
    return replace(camera, **changes)


@pytest.mark.parametrize("clip", ["runner_short", "referee_turns", "runner_late"])
@pytest.mark.parametrize("rig", KINDS)
@pytest.mark.parametrize("shake", ["locked", "settled", "shoulder", "rough"])
def test_the_rig_is_always_told(clip, rig, shake):
    known = taken(clip, rig, shake=shake, seconds=12.0)
    assert study_path(known.camera, 10.0).kind == KINDS[rig]


@pytest.mark.parametrize("rig", KINDS)
def test_the_rig_is_told_from_a_resampled_camera(rig):
    known = taken("runner_short", rig, shake="settled", resampled_hz=30.0)
    assert study_path(known.camera, 10.0).kind == KINDS[rig]


def test_half_a_metre_of_a_wide_arc_is_the_floor_and_called_a_line():
    # Over this travel the arc leaves the line by a tenth of a millimetre.
    found = study_path(taken("long_0", "arc", seconds=11.75).camera, 10.0)
    assert 0.3 < found.travel_m < 0.6
    assert found.kind == "line"
    assert found.left["line"] < 2e-4


def test_a_wandering_path_is_free():
    place = np.column_stack([2 * T, 1.5 + 0 * T, np.sin(0.8 * T) * 1.5])
    assert study_path(move(place), None).kind == "free"


def test_wobble_and_its_parallax_are_those_of_a_known_sine():
    wobble = 0.01 * np.sin(2 * np.pi * 2.0 * T)
    place = np.column_stack([0.5 * T, 1.5 + wobble, 0 * T])
    found = study_path(move(place), 5.0)
    rms = 0.01 / np.sqrt(2)
    assert found.kind == "line"
    assert found.wobble_m == pytest.approx(rms, rel=0.05)
    assert found.wobble_m2_s2 == pytest.approx((rms * 4 * np.pi) ** 2, rel=0.2)
    half_widths = rms / (5.0 * GATE.half_tangents(50.0)[0])
    assert found.parallax_percent == pytest.approx(50 * half_widths, rel=0.05)
    assert found.moving == ("dolly",)


def test_reversals_of_the_dolly_are_counted():
    place = np.column_stack([np.sin(2 * np.pi * 0.2 * T), 1.5 + 0 * T, 0 * T])
    assert study_path(move(place), None).reversals["dolly"] == 4


def test_peaks_are_those_of_a_sine_and_told_against_the_limits():
    w = 2 * np.pi * 0.5
    camera = move(np.zeros((240, 3)), pan=np.radians(10) * np.sin(w * T))
    crew = PRESETS["sharp"]
    pan = study_limits(camera, np.zeros(240), 0.0, 0.0, crew)["pan"]
    assert pan.speed == pytest.approx(10 * w, rel=0.05)
    assert pan.accel == pytest.approx(10 * w**2, rel=0.08)
    assert pan.jerk == pytest.approx(10 * w**3, rel=0.12)
    assert pan.speed_used == pytest.approx(pan.speed / 120, rel=1e-6)


def test_peaks_that_noise_would_make_alone_are_not_given():
    rng = np.random.default_rng(2)
    pan = np.radians(10) * np.sin(np.pi * T) + rng.normal(0, 3e-3, 240)
    found = study_limits(
        move(np.zeros((240, 3)), pan=pan), np.zeros(240), 0.0, 0.0, PRESETS["sharp"]
    )
    assert found["pan"].speed is not None
    assert found["pan"].jerk is None


def test_a_steady_move_keeps_its_rate_to_the_ends():
    assert smooth_rate(3.0 * T, 1 / 24) == pytest.approx(np.full(240, 3.0), rel=1e-4)


def test_a_lens_outside_the_kit_and_one_that_drifts_are_told():
    zoom = 50 + np.linspace(0, 1.0, 240)
    camera = move(np.zeros((240, 3)), focal_mm=zoom)
    found = study_lens(camera, (35.0, 50.0))
    assert found.drifts
    assert found.drift_mm == pytest.approx(1.0)
    assert not found.in_kit
    assert study_lens(move(np.zeros((240, 3))), (35.0, 50.0)).in_kit


def test_framing_kept_is_that_of_the_take():
    known = taken("referee_turns", "sticks")
    found = study_framing(known.camera, known.shot.subjects[0], "full")
    assert found.in_frame == pytest.approx(known.take.in_frame.mean(), abs=0.01)
    assert found.u == pytest.approx(np.median(known.take.u), abs=0.005)
    assert found.v == pytest.approx(np.median(known.take.v), abs=0.005)


@pytest.mark.parametrize("size", ["full", "medium", "close"])
def test_a_size_is_known_by_the_height_of_the_body(size):
    from carrellata.solver.action.body import SIZES, fill_of

    span = SIZES[size]
    assert nearest_size(fill_of(size, 0.08) / (span.top - span.bottom)) == size


def test_angles_come_back_from_a_quaternion():
    from carrellata.solver.optics.camera import quaternion

    rng = np.random.default_rng(3)
    pan, tilt, roll = rng.uniform(-1.4, 1.4, (3, 50))
    found = angles_of(quaternion(pan, tilt, roll))
    for one, true in zip(found, (pan, tilt, roll), strict=True):
        assert np.mod(one - true + 1, 2 * np.pi) == pytest.approx(np.ones(50))
