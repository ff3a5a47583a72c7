"""A locked take: kept to the byte, and measured against tonight's action."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from walks import save_job, walk, walking_job, walking_shot

from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.local import Outcome, solve_job
from carrellata.jobs.run.lock import with_locked_setups
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.jobs.takes.store import Store
from carrellata.jobs.takes.take_file import read_take
from carrellata.worker.cli import main


def runner(**fields: Any) -> list[dict[str, Any]]:
    samples = walk(**fields)
    return [{"name": "runner", "samples": samples, "at": "floor", "height_m": 1.7}]


def moved(by: float) -> list[dict[str, Any]]:
    """The same walk, carried along X by some centimetres."""
    subjects = runner()
    samples = subjects[0]["samples"]
    samples["x"] = [x + by for x in samples["x"]]
    return subjects


def night(folder: Path, *shots: dict[str, Any], **fields: Any) -> Outcome:
    job = save_job(folder, walking_job(*shots, **fields))
    return solve_job(job, folder / "out", workers=1)


@pytest.fixture
def first(tmp_path) -> tuple[Path, str, bytes]:
    """A folder with one solved shot, the key of its take, and its bytes."""
    (row,) = night(tmp_path, walking_shot("010")).rows
    path = tmp_path / "out/chase/takes/010.parquet"
    assert row.take_key is not None
    return tmp_path, row.take_key, path.read_bytes()


def locked(key: str, **fields: Any) -> dict[str, Any]:
    return walking_shot("010", lock=key, **fields)


def current(folder: Path) -> bytes:
    return (folder / "out/chase/takes/010.parquet").read_bytes()


def test_a_locked_take_stays_to_the_byte_whatever_changes(first) -> None:
    folder, key, data = first
    changed = locked(
        key,
        subjects=moved(60.0),
        rig={"kind": "sticks", "at": [0, 0, 100]},
        lens_mm=50,
        crew={"preset": "steady"},
        shake="rough",
    )
    (row,) = night(folder, changed).rows
    assert row.status == "locked"
    assert row.take_key == key
    assert current(folder) == data


def test_it_comes_back_from_the_history(first) -> None:
    folder, key, data = first
    (other,) = night(folder, walking_shot("010", lens_mm=35)).rows
    assert other.take_key != key
    assert current(folder) != data
    (row,) = night(folder, locked(key)).rows
    assert row.status == "locked"
    assert current(folder) == data
    assert main(["prune", str(folder / "out")]) == 0
    assert current(folder) == data


def test_against_the_action_it_was_made_for_it_measures_as_it_did(first) -> None:
    folder, key, _ = first
    (row,) = night(folder, locked(key)).rows
    assert row.error is None
    table = read_take(folder / "out/chase/takes/010.parquet")
    then = take_metadata(table).measures
    assert set(row.measures) >= set(then)
    for name, value in then.items():
        if isinstance(value, float):
            assert row.measures[name] == pytest.approx(value, abs=1e-9), name
        else:
            assert row.measures[name] == value, name


def test_what_it_no_longer_holds_is_named(first) -> None:
    folder, key, data = first
    (row,) = night(folder, locked(key, subjects=moved(-260.0))).rows
    assert row.status == "locked"
    assert row.measures["in_frame"] == 0.0
    assert row.error is not None
    assert "no longer holds tonight's action" in row.error
    assert "in frame 0 % of the cut, 100 % when it was locked" in row.error
    (read,) = read_sequence(folder / "out/chase/sequence.parquet")
    assert (read.status, read.error) == ("locked", row.error)
    assert read.measures["in_frame"] == 0.0
    assert current(folder) == data


def test_measures_against_new_action_are_the_projection_of_it(first) -> None:
    folder, key, _ = first
    (row,) = night(folder, locked(key, subjects=moved(30.0))).rows
    take = read_take(folder / "out/chase/takes/010.parquet")
    gate = take_metadata(take).gate
    pan, tilt = (np.radians(take[n].to_numpy()) for n in ("pan_deg", "tilt_deg"))
    lens = np.column_stack([take[n].to_numpy() for n in "xyz"])
    aim = np.column_stack([take[f"subject_{n}"].to_numpy() for n in "xyz"])
    x, y, z = (aim + np.array([30.0, 0.0, 0.0]) - lens).T
    # Z up: pan turns left from +Y about Z, tilt is up from there.
    right = np.cos(pan) * x + np.sin(pan) * y
    ahead = -np.sin(pan) * x + np.cos(pan) * y
    depth = np.cos(tilt) * ahead + np.sin(tilt) * z
    up = np.cos(tilt) * z - np.sin(tilt) * ahead
    u, v = right / depth / gate.tan_u, up / depth / gate.tan_v
    cut = ~take["handle"].to_numpy()
    miss_u = (u - take["aim_u"].to_numpy())[cut]
    miss_v = (v - take["aim_v"].to_numpy())[cut]
    drift = np.sqrt(np.mean(miss_u**2 + miss_v**2))
    assert drift > 0.05
    assert row.measures["drift_rms"] == pytest.approx(drift, abs=1e-9)


def test_a_take_that_is_not_there_fails_the_shot_alone(first) -> None:
    folder, _, data = first
    rows = night(folder, locked("0" * 64), walking_shot("020")).rows
    assert [row.status for row in rows] == ["failed", "solved"]
    assert "shots[0].lock: no take of the shot has the key 000000" in rows[0].error
    assert current(folder) == data


def test_another_rate_or_cut_is_named(first) -> None:
    folder, key, data = first
    (row,) = night(folder, locked(key), rate="25").rows
    assert row.status == "failed"
    assert "runs at 24000/1001 frames a second, the job at 25" in row.error
    (row,) = night(folder, locked(key, frames=[1003, 1026])).rows
    assert row.status == "locked"
    assert "the cut is 1003 to 1026, the locked take is of 1001 to 1024" in row.error
    assert row.measures["frames"] == 24
    (row,) = night(folder, locked(key, frames=[1050, 1054], subjects=runner())).rows
    assert row.status == "failed"
    assert "of frames 1001 to 1024, the cut is 1050 to 1054" in row.error
    assert current(folder) == data


def test_a_lens_that_left_the_kit_is_named(first) -> None:
    folder, key, data = first
    camera = {"film_back": "super35-4perf", "aspect": 2.39, "lens_kit_mm": [18, 50]}
    (row,) = night(folder, locked(key, lens_mm=50), camera=camera).rows
    assert row.status == "failed"
    assert "25 mm lens is not in the kit (18, 50)" in row.error
    assert current(folder) == data


def test_action_that_cannot_be_read_leaves_the_take(first) -> None:
    folder, key, data = first
    ghost = [{"name": "g", "file": "no.csv", "at": "floor", "height_m": 1.7}]
    (row,) = night(folder, locked(key, subjects=ghost)).rows
    assert row.status == "failed"
    assert "is not a file" in row.error
    assert current(folder) == data


def test_the_setup_of_a_locked_shot_is_its_takes(first) -> None:
    folder, key, _ = first
    asked = locked(key, lens_mm="choose", rig={"kind": "choose"})
    job = load_job(save_job(folder, walking_job(asked)))
    assert job.shots[0].is_open
    closed = with_locked_setups(job, Store(folder=folder / "out/chase")).shots[0]
    assert not closed.is_open
    assert closed.lens_mm == 25
    (row,) = night(folder, asked).rows
    assert row.status == "locked"
    assert json.loads(row.setup)["lens_mm"] == 25


def test_the_command_line_tells_of_it(first, capsys) -> None:
    folder, key, _ = first
    job = save_job(folder, walking_job(locked(key, subjects=moved(-260.0))))
    words = ["solve", str(job), "-o", str(folder / "out"), "--workers", "1"]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "010  locked" in out
    assert "no longer holds tonight's action" in out
    assert "0 solved, 0 kept, 1 locked, 0 failed" in out
