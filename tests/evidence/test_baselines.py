"""Anticipation by perturbation, and the figures of the clips' table."""

from dataclasses import replace

import numpy as np
import pytest

from carrellata.solver.presets import PRESETS
from evidence.baselines import (
    BRISK_CROSSOVER,
    BRISK_DELAY_S,
    SOLVERS,
    crew,
    integrated,
)
from evidence.clips import (
    clip_rows,
    clips,
    fast_part,
    judge,
    lag_of,
    speed_peaks,
    staged,
)
from evidence.compared import on_recordings
from evidence.people import crew_follows, preset, runs_of
from evidence.perturb import read_ahead
from evidence.shake_page import on_screen

BRISK = PRESETS["brisk"]
CHOSEN = ("football 2", "football 4 (referee)", "mocap jumps", "mocap run")


@pytest.fixture(scope="module")
def chosen():
    found = {clip.name: clip for clip in clips()}
    return [found[name] for name in CHOSEN]


@pytest.mark.parametrize("rig", ["sticks", "track"])
def test_whole_shot_smoothing_anticipates_and_the_crew_does_not(chosen, rig):
    for clip in chosen:
        one = staged(clip, rig, BRISK)
        read = {name: read_ahead(one, solver) for name, solver in SOLVERS.items()}
        late = min(BRISK.operator.reaction_s, BRISK.grip.reaction_s)
        assert read["crew"].first_s >= late - 1e-6
        assert read["crew"].visible_s < 1.0
        assert read["whole-shot smoothing"].first_s < -1.0
        for name in ("rigid aim", "low-pass lag"):
            # Not ahead, but sooner than anybody reacts.
            assert 0.0 <= read[name].first_s + 1e-6 < 0.1


def test_a_crew_that_reads_ahead_is_caught(chosen):
    one = staged(chosen[0], "sticks", BRISK)

    def early(shot):
        moves = crew(shot)
        return replace(moves, pan=np.append(moves.pan[12:], [moves.pan[-1]] * 12))

    assert read_ahead(one, crew).first_s > 0.1
    assert read_ahead(one, early).first_s < 0.0


@pytest.mark.parametrize("preset", sorted(PRESETS))
def test_football_stays_in_frame_at_full_size(preset):
    football = [clip for clip in clips() if clip.name.startswith("football")]
    assert len(football) == 10
    for clip in football:
        one = staged(clip, "sticks", PRESETS[preset])
        assert judge(one, crew(one))["in_frame"] == 1.0


def test_rigid_aim_misses_nothing_and_the_crew_keeps_its_limits(chosen):
    for clip in chosen:
        one = staged(clip, "track", BRISK)
        rigid = judge(one, SOLVERS["rigid aim"](one))
        assert rigid["miss_rms"] < 1e-9
        assert rigid["in_frame"] == 1.0
        assert rigid["dolly_over_limit"] > 2
        crewed = judge(one, crew(one))
        assert crewed["miss_rms"] > 0.01
        # Differences of frames never exceed the plans' own acceleration.
        assert crewed["over_limit"] <= 1 + 1e-6
        assert crewed["dolly_over_limit"] <= 1 + 1e-6


def test_the_low_pass_is_as_late_as_the_crew():
    found = {"crew": [], "low-pass lag": []}
    for clip in clips():
        one = staged(clip, "sticks", preset("brisk"))
        for name, lags in found.items():
            lag = judge(one, SOLVERS[name](one))["lag_s"]
            lags += [] if lag is None else [lag]
    print({name: np.mean(lags) for name, lags in found.items()})
    assert np.mean(found["low-pass lag"]) == pytest.approx(
        np.mean(found["crew"]), abs=0.05
    )


def test_the_delayed_integrator_has_brisks_two_numbers():
    found = runs_of(crew_follows(preset("brisk")))
    assert found.crossover.mean() == pytest.approx(BRISK_CROSSOVER, abs=0.1)
    assert found.delay_s.mean() == pytest.approx(BRISK_DELAY_S, abs=0.015)


def test_the_delayed_integrator_stands_for_its_delay_and_then_follows():
    rate, step = 24.0, 1.0
    values = 3.0 + np.where(np.arange(240) >= 24, step, 0.0)
    got = integrated(values, rate, 1.0, 0.25)
    assert (got[: 24 + 6] == 3.0).all()
    # Far under 1/e: no overshoot; the exact step response of x' = w (r - x)(t - tau)
    # is a ramp from one delay to two.
    assert got.max() < 4.0
    assert got[24 + 10] == pytest.approx(3.0 + 4 / 24, abs=0.03)
    assert got[-1] == pytest.approx(4.0, abs=1e-3)


def test_held_out_files_are_none_that_was_set_on():
    known = clips()
    kept, out = (
        {clip.source for clip in known if clip.held_out is apart}
        for apart in (False, True)
    )
    assert len(out) >= 3
    assert not kept & out
    rows = on_recordings(list(clip_rows(known[-1:])), known)
    assert [row[:2] for row in rows] == [["held out", name] for name in SOLVERS]


def test_no_identity_of_a_player_is_shown():
    names = [clip.name for clip in clips()]
    assert not any(char.isdigit() and len(name) > 24 for name in names for char in name)
    assert all("Hawk" not in clip.source for clip in clips())


def test_lag_of_a_delayed_rate_is_its_delay():
    times = np.arange(0, 20, 1 / 24)
    wanted = np.sin(1.3 * times) + 0.5 * np.sin(2.9 * times)
    late = np.sin(1.3 * (times - 0.25)) + 0.5 * np.sin(2.9 * (times - 0.25))
    assert lag_of(late, wanted, times) == pytest.approx(0.25, abs=0.011)
    assert lag_of(0 * times, 0 * times, times) is None


def test_fast_part_is_the_amplitude_above_1_hz():
    times = np.arange(0, 40, 1 / 24)
    speed = 3 * np.sin(2 * np.pi * 0.3 * times) + 0.8 * np.sin(2 * np.pi * 3 * times)
    assert fast_part(speed, 24) == pytest.approx(0.8 / np.sqrt(2), rel=0.03)


def test_speed_peaks_are_turning_points_that_stand_out():
    times = np.arange(0, 10, 1 / 24)
    wave = np.sin(2 * np.pi * times)
    assert speed_peaks(np.radians(3.0) * wave) == pytest.approx(20, abs=1)
    assert speed_peaks(np.radians(0.9) * wave) == 0


def test_shake_moves_the_picture_by_its_share_on_every_lens():
    rows = on_screen()
    for level, percent in (("settled", 0.08), ("shoulder", 0.35), ("rough", 0.9)):
        found = [one for one in rows if one.level == level]
        assert len(found) == 6
        for one in found:
            assert one.turn_px == pytest.approx(20.48 * percent, rel=0.03)
    assert all(one.turn_px == 0.0 for one in rows if one.level == "locked")
