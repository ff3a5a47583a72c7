"""Subjects' files on the farm: below the roots, and as they were when submitted."""

from pathlib import Path
from typing import Any

import pytest
from walks import save_walk, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.attempt import attempt
from carrellata.jobs.run.phases import TAKE
from carrellata.jobs.run.record import Confines, Record
from carrellata.jobs.run.solve_shot import Work
from carrellata.jobs.takes.sequence_table import ShotRow
from carrellata.jobs.takes.store import Store
from carrellata.worker.farm.inputs import (
    FarmReader,
    digests_of,
    reader_of,
    submission_faults,
)


def job_with(file: str) -> JobFile:
    subject: dict[str, Any] = {"name": "runner", "at": "floor", "height_m": 1.7}
    return parse_job(
        walking_job(walking_shot("010", subjects=[subject | {"file": file}]))
    )


def solved(folder: Path, job: JobFile, inputs: dict[str, str]) -> tuple[str, str]:
    read = FarmReader(roots=(folder.resolve(),), inputs=inputs)
    work = Work(job=job, folder=folder, store=Store(folder=folder / "out"), read=read)
    row = attempt(work, TAKE, job.shots[0])
    assert isinstance(row, ShotRow)
    return row.status, row.error or ""


@pytest.mark.slow
def test_changed_file_fails_its_shot_unless_it_is_followed(tmp_path: Path) -> None:
    save_walk(tmp_path / "walk.parquet", speed=5.0)
    job = job_with("walk.parquet")
    inputs = digests_of(job, [0], tmp_path)
    assert solved(tmp_path, job, inputs) == ("solved", "")
    save_walk(tmp_path / "walk.parquet", speed=6.0)
    status, error = solved(tmp_path, job, inputs)
    assert status == "failed"
    assert error.startswith("shots[0].subjects[0].file: input_changed: 'walk.parquet'")
    assert solved(tmp_path, job, {}) == ("solved", "")
    # So does one that can no longer be read, and one that was not there.
    (tmp_path / "walk.parquet").write_bytes(b"spoilt")
    assert "input_changed" in solved(tmp_path, job, inputs)[1]
    assert "input_changed" not in solved(tmp_path, job, {})[1]
    (tmp_path / "walk.parquet").unlink()
    assert "is not a file" in solved(tmp_path, job, inputs)[1]
    missing = digests_of(job, [0], tmp_path)
    assert missing == {"walk.parquet": ""}
    assert "is not a file" in solved(tmp_path, job, missing)[1]


def test_file_that_leads_out_is_refused_twice(tmp_path: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()
    save_walk(tmp_path / "secret.parquet")
    (root / "link.parquet").symlink_to("../secret.parquet")
    for name in ("../secret.parquet", "link.parquet", str(tmp_path / "secret.parquet")):
        job = job_with(name)
        faults = list(submission_faults(job, [0], root, [root.resolve()]))
        assert [fault.path for fault in faults] == ["shots[0].subjects[0].file"]
        assert "lies outside the folders" in faults[0].message
        status, error = solved(root, job, {})
        assert status == "failed"
        assert "lies outside the folders" in error


def test_scene_file_is_refused_with_what_to_do(tmp_path: Path) -> None:
    shot = walking_shot("010")
    job = parse_job(walking_job(shot))
    subject = job.shots[0].subjects[0]
    scene = subject.model_copy(update={"file": "set.usda", "samples": None})
    spec = job.shots[0].model_copy(update={"subjects": (scene,)})
    job = job.model_copy(update={"shots": (spec,)})
    faults = list(submission_faults(job, [0], tmp_path, [tmp_path.resolve()]))
    assert len(faults) == 1
    assert "OpenUSD is not opened on the farm" in faults[0].message
    assert "bake" in faults[0].message


def test_file_that_was_removed_is_missing_and_has_not_changed(tmp_path: Path) -> None:
    save_walk(tmp_path / "walk.parquet", speed=5.0)
    job = job_with("walk.parquet")
    inputs = digests_of(job, [0], tmp_path)
    (tmp_path / "walk.parquet").unlink()
    status, error = solved(tmp_path, job, inputs)
    assert status == "failed"
    assert "is not a file" in error
    assert "input_changed" not in error


def confined(folder: Path, file: str, **limits: int) -> tuple[str, str]:
    """Return what comes of a shot of a batch that came over HTTP."""
    given = {"file_bytes": 10**6, "samples": 10**6} | limits
    record = Record(
        batch="0" * 16,
        digest="",
        folder=str(folder),
        out=str(folder),
        shots=(0,),
        job=job_with(file),
        submitted_s=0.0,
        project="north",
        confines=Confines(root=str(folder / "root"), **given),
    )
    read = reader_of(record, (folder.resolve(),))
    store = Store(folder=folder / "out")
    work = Work(job=record.job, folder=folder, store=store, read=read)
    row = attempt(work, TAKE, record.job.shots[0])
    return row.status, row.error or ""


def test_no_link_out_of_a_projects_root_is_followed(tmp_path: Path) -> None:
    save_walk(tmp_path / "other" / "secret.parquet", speed=5.0)
    save_walk(tmp_path / "root" / "own.parquet", speed=5.0)
    (tmp_path / "root" / "link.parquet").symlink_to(tmp_path / "other/secret.parquet")
    (tmp_path / "root" / "folder").symlink_to(tmp_path / "other")
    assert confined(tmp_path, "own.parquet") == ("solved", "")
    for name in ("link.parquet", "folder/secret.parquet"):
        status, error = confined(tmp_path, name)
        assert status == "failed"
        assert "is not a file that may be read" in error


def test_a_tokens_limits_hold_on_the_farm(tmp_path: Path) -> None:
    save_walk(tmp_path / "root" / "own.parquet", speed=5.0)
    assert "is larger than" in confined(tmp_path, "own.parquet", file_bytes=100)[1]
    status, error = confined(tmp_path, "own.parquet", samples=5)
    assert (status, "limit 5" in error) == ("failed", True), error
