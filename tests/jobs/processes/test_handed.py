"""What every process of a pool needs: written once, unpacked shot by shot."""

import os
import pickle
from pathlib import Path
from typing import Any

import pytest
from handed import length_of, unpacked_shots

from carrellata.jobs.job.packed import PackedShots
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.places.place import place_of
from carrellata.jobs.processes.pool import runner
from carrellata.jobs.run.solve_shot import Work
from carrellata.jobs.takes.store import Store

TEMPORARY = "carrellata-work-*"


def job(n_shots: int) -> Any:
    subject = {"name": "one", "file": "one.parquet", "at": "floor", "height_m": 1.7}
    shot = {
        "frames": [1, 24],
        "subjects": [subject],
        "rig": {"kind": "sticks", "at": [0.0, 1.5, 9.0]},
        "lens_mm": 50,
    }
    shots = [{**shot, "name": f"S{k:03d}"} for k in range(n_shots)]
    return parse_job(
        {
            "schema": "carrellata.job/1",
            "sequence": "packed",
            "rate": "24",
            "world": {"up": "y", "metres_per_unit": 1.0},
            "camera": {
                "film_back": "super35-4perf",
                "aspect": 2.39,
                "lens_kit_mm": [50],
            },
            "defaults": {"framing": {"size": "full"}},
            "shots": shots,
        }
    )


def work(n_shots: int, folder: Path) -> Work:
    store = Store(folder=place_of(str(folder), "--out"))
    return Work(job=job(n_shots), folder=folder, store=store)


def nobody(_work: object, shot: object) -> Any:
    raise AssertionError(shot)


def test_a_packed_job_is_the_same_job_and_unpacks_only_what_is_asked_for() -> None:
    whole = job(20)
    packed = pickle.loads(pickle.dumps(whole.packed()))
    assert isinstance(packed.shots, PackedShots)
    assert packed.shot("s007") == whole.shots[7]
    assert packed.place_of("S019") == 19
    assert set(packed.shots._unpacked) == {7}
    assert packed.shots[-1] == whole.shots[-1]
    assert packed.shots[3:5] == whole.shots[3:5]
    assert tuple(packed.shots) == whole.shots
    with pytest.raises(IndexError):
        packed.shots[20]
    with pytest.raises(KeyError):
        packed.place_of("other")
    # What was unpacked is not packed again.
    assert len(pickle.dumps(packed)) < 1.1 * len(pickle.dumps(whole.packed()))


def test_a_process_unpacks_the_shots_that_it_works_on(tmp_path: Path) -> None:
    with runner(work(40, tmp_path), 2) as run:
        counts = dict(run(unpacked_shots, [1, 2, 3], lost=nobody))
    assert counts  # by process
    assert sum(counts.values()) <= 3


def test_a_large_work_is_written_once_and_gone_after_the_pool(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    large = os.urandom(2_000_000)
    with runner(large, 2) as run:
        (file,) = tmp_path.glob(TEMPORARY)
        assert file.stat().st_mode & 0o777 == 0o600
        assert set(run(length_of, [1, 2, 3, 4], lost=nobody)) == {len(large)}
    assert not list(tmp_path.glob(TEMPORARY))
