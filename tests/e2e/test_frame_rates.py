"""One action written at several rates: the takes agree, and frames stay frames."""

import itertools
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from job_files import SolvedShot, metre_job, solve_on_disk

from carrellata.solver.presets import PRESETS

FIRST_S = 10.0
LAST_S = 14.0
RATES = (24, 48, 120)
# Decisions fall on frames, so a plan may start up to a frame of 24 (42 ms) later and
# meanwhile she runs at up to 3.6 m/s, 20 deg/s from the lens: 0.15 m or 0.9 deg a
# decision, twice that where one decision shifts the next. Seen: 0.14 m and 1.26 deg.
APART_DEG = 2.0
# What one decision a tick sooner or later does grows with the dolly's acceleration.
APART_M = 0.5 * PRESETS["brisk"].grip.max_accel


def run_and_turn(seconds: Any) -> Any:
    """A run along X that swings out and comes back, (n, 3) [m]."""
    t = np.asarray(seconds) - FIRST_S
    x = 4.0 * np.sin(0.9 * t)
    return np.column_stack([x, 0.0 * t, np.cos(1.3 * t)])


def write_at(folder: Path, rate: float, first: int, last: int) -> None:
    """Write the action as whole frames at a rate, frame n at n / rate seconds."""
    frames = np.arange(first, last + 1)
    x, y, z = run_and_turn(frames / rate).T
    table = pa.table({"frame": frames, "x": x, "y": y, "z": z})
    pq.write_table(table, folder / "runner.parquet")


def job_at(rate: str, first: int, last: int, rig: dict[str, Any]) -> dict[str, Any]:
    runner = {"name": "runner", "at": "floor", "height_m": 1.72}
    shot = {
        "name": "010",
        "frames": [first, last],
        "subjects": [runner | {"file": "runner.parquet"}],
        "rig": rig,
    }
    return metre_job(shot, rate=rate)


RIGS = {
    "sticks": {"kind": "sticks", "at": [0, 1.5, 10]},
    "track": {
        "kind": "track",
        "from": [-6, 1.5, 10],
        "to": [6, 1.5, 10],
        "hold": "abreast",
    },
}


@pytest.fixture(scope="module", params=RIGS)
def by_rate(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> dict[int, SolvedShot]:
    takes = {}
    for rate in RATES:
        folder = tmp_path_factory.mktemp(f"at_{rate}")
        first, last = round(FIRST_S * rate), round(LAST_S * rate)
        write_at(folder, rate, first, last)
        job = job_at(str(rate), first, last, RIGS[request.param])
        takes[rate] = solve_on_disk(folder, job)["010"]
    return takes


def rows_on_24ths(times_s: Any) -> Any:
    """Rows that fall on a 24th of a second."""
    return np.flatnonzero(np.abs(times_s * 24 - np.rint(times_s * 24)) < 1e-6)


@pytest.mark.parametrize(("slow", "fast"), list(itertools.combinations(RATES, 2)))
def test_takes_agree_at_common_times(
    by_rate: dict[int, SolvedShot], slow: int, fast: int
) -> None:
    few, many = by_rate[slow].columns, by_rate[fast].columns
    # Every 24th of a second is a frame of all of them.
    now, at = (rows_on_24ths(columns["time_s"]) for columns in (few, many))
    assert len(now) == len(at) == 97
    for name, most in (
        ("pan_deg", APART_DEG),
        ("tilt_deg", APART_DEG),
        ("rail_m", APART_M),
    ):
        apart = np.abs(few[name][now] - many[name][at])
        print(f"{slow} against {fast}, {name}: {apart.max():.3f}, {apart.mean():.3f}")
        assert apart.max() < most, name
    # He is followed at every rate; a still camera would agree with itself too.
    assert np.ptp(few["pan_deg"]) + 10 * np.ptp(few["rail_m"]) > 20.0


def test_speeds_are_a_second_whatever_the_rate(
    by_rate: dict[int, SolvedShot],
) -> None:
    for rate, take in by_rate.items():
        columns = take.columns
        slope = np.gradient(columns["pan_deg"], 1.0 / rate)
        # Second order in the frame time: 0.1 s at 24 frames holds 2.4 of them.
        assert np.abs(slope - columns["pan_speed"])[1:-1].max() < 100.0 / rate


def test_slowed_clock_keeps_every_frame_number(tmp_path: Path) -> None:
    """24000/1001 plays the same frames 0.1 % slower: nothing is resampled."""
    takes = {}
    for rate in ("24", "24000/1001"):
        folder = tmp_path / rate.partition("/")[0]
        folder.mkdir()
        write_at(folder, 24.0, 240, 336)
        job = job_at(rate, 240, 336, RIGS["sticks"])
        takes[rate] = solve_on_disk(folder, job)["010"]
    whole, slowed = takes["24"].columns, takes["24000/1001"].columns
    assert whole["frame"].tolist() == slowed["frame"].tolist() == [*range(240, 337)]
    np.testing.assert_allclose(slowed["time_s"], whole["time_s"] * 1.001, rtol=1e-14)
    assert takes["24000/1001"].metadata.rate == Fraction(24000, 1001)
    # The same positions on the same frames, so nearly the same pans on them.
    assert np.abs(slowed["pan_deg"] - whole["pan_deg"]).max() < 0.5
    assert np.ptp(whole["pan_deg"]) > 20.0


def test_subject_of_a_frame_is_the_row_of_that_frame(tmp_path: Path) -> None:
    # An hour in, resampling by 1000/1001 would be off by 86 frames.
    first, last = 86_400, 86_496
    write_at(tmp_path, 24.0, first, last)
    path = tmp_path / "runner.parquet"
    x, y, z = run_and_turn(FIRST_S + np.arange(97) / 24.0).T
    frames = np.arange(first, last + 1)
    pq.write_table(pa.table({"frame": frames, "x": x, "y": y, "z": z}), path)
    job = job_at("24000/1001", first, last, RIGS["sticks"])
    columns = solve_on_disk(tmp_path, job)["010"].columns
    # Where she is on screen gives back where she was in the file, frame for frame.
    across = columns["subject_u"] * 24.892 / (2 * 50)
    bearing = np.radians(columns["pan_deg"]) - np.arctan(across)
    tilt = np.radians(columns["tilt_deg"])
    assert np.abs(tilt).max() < 0.1
    seen_x = -np.tan(bearing) * (10.0 - z)
    shifted = np.abs(np.roll(x, 1) - x)[1:].max()
    assert np.abs(seen_x - x).max() < 0.1 * shifted


def test_half_a_frame_is_no_frame(tmp_path: Path) -> None:
    write_at(tmp_path, 24.0, 240, 336)
    job = job_at("24", 240, 336, RIGS["sticks"])
    job["shots"][0]["samples_per_frame"] = 2
    columns = solve_on_disk(tmp_path, job)["010"].columns
    assert columns["frame"].dtype.kind == "i"
    assert columns["frame"].tolist() == [n for n in range(240, 337) for _ in "01"]
    assert columns["sub"].tolist() == [0, 1] * 97
    np.testing.assert_allclose(np.diff(columns["time_s"]), 1 / 48, atol=1e-12)
