"""A disk that is really full: what does not fit is named, and nothing is halved."""

import math
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from farms import TestFarm, until
from walks import files_below, many_shots, save_job, walking_job, walking_shot

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.worker.farm.submission import retry

pytestmark = pytest.mark.slow

SIZE = 12 << 20


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """Give a file system of a few megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(folder)]
    if subprocess.run(words, capture_output=True, check=False).returncode:
        pytest.skip("a small file system can be mounted by root only")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(disk: Path, *, free: int) -> Path:
    """Leave so many bytes, and return what takes up the others."""
    ballast = disk / "ballast"
    room = os.statvfs(disk)
    with ballast.open("wb") as file:
        file.write(bytes(room.f_bavail * room.f_frsize - free))
    return ballast


def long_shot(name: str) -> dict[str, Any]:
    """Return a shot whose take is larger than those of many others together."""
    frames = list(range(1001, 5001))
    samples = {
        "frame": frames,
        "x": [100.0 + 200.0 * math.sin(0.013 * f) for f in frames],
        "y": [400.0 + 40.0 * math.sin(0.1 * f) for f in frames],
        "z": [0.0 for _ in frames],
    }
    one = {"name": "runner", "samples": samples, "at": "floor", "height_m": 1.7}
    return walking_shot(
        name, frames=[1001, 5000], handles=0, subjects=[one], samples_per_frame=4
    )


def test_take_that_does_not_fit_fails_and_the_others_are_solved(
    tmp_path: Path, disk: Path
) -> None:
    shots = many_shots(6)
    job = save_job(tmp_path, walking_job(*shots[:2], long_shot("big"), *shots[2:]))
    out, ballast = disk / "out", fill(disk, free=3_000_000)
    outcome = solve_job(job, out, workers=1)
    rows = {row.shot: row for row in outcome.rows}
    assert {row.status for shot, row in rows.items() if shot != "big"} == {"solved"}
    assert rows["big"].status == "failed"
    assert rows["big"].error is not None
    path = f"{out}/chase/history/big/"
    assert rows["big"].error.startswith(
        f"shots[2]: cannot be written: no space left on device, {path}"
    )
    assert not [name for name in files_below(out) if name.endswith(".part")]
    assert not [name for name in files_below(out) if "big.parquet" in name]
    ballast.unlink()
    again = solve_job(job, out, workers=1)
    statuses = {row.shot: row.status for row in again.rows}
    assert statuses == {row.shot: "kept" for row in again.rows} | {"big": "solved"}
    solve_job(job, tmp_path / "calm", workers=1)
    assert takes_of(out) == takes_of(tmp_path / "calm")


def takes_of(out: Path) -> dict[str, bytes]:
    return {k: v for k, v in files_below(out).items() if "/takes/" in k}


def test_disk_that_is_full_to_the_brim_ends_the_run_with_what_it_could_not_write(
    tmp_path: Path, disk: Path
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(20)))
    out, ballast = disk / "out", fill(disk, free=300_000)
    errors: list[str | None] = []
    with pytest.raises(OSError, match="No space left on device") as caught:
        solve_job(
            job,
            out,
            workers=1,
            progress=lambda row, _: errors.append(getattr(row, "error", None)),
        )
    # The row of a shot, or the table of them all.
    unwritten = Path(str(caught.value.filename))
    assert unwritten.is_relative_to(out / "chase")
    assert unwritten.parent.name == "rows" or unwritten.name == "sequence.parquet"
    n_solved = errors.count(None)
    assert 1 <= n_solved < 20
    assert len(errors) == 20
    assert len(takes_of(out)) == n_solved
    assert not [name for name in files_below(out) if name.endswith(".part")]
    ballast.unlink()
    again = solve_job(job, out, workers=1)
    kept = [row for row in again.rows if row.status == "kept"]
    assert len(kept) == n_solved
    solve_job(job, tmp_path / "calm", workers=1)
    assert takes_of(out) == takes_of(tmp_path / "calm")


def test_farm_on_a_full_disk_loses_no_shot_and_blames_none(
    make_farm: Callable[..., TestFarm], disk: Path
) -> None:
    # The batches' records lie there too, so that nothing at all can be written.
    farm = make_farm(
        OUTPUTS=str(disk / "out"),
        SPOOL=str(disk / "spool"),
        TIME_LIMIT_S="20",
        VISIBILITY_TIMEOUT_S="40",
    )
    job = farm.job(walking_job(*many_shots(20)))
    (farm.folder / "out").symlink_to(disk / "out")
    batch = farm.submit(job).batch
    ballast = fill(disk, free=0)
    worker = farm.worker()
    until(lambda: len(worker.said("given back")) >= 6, seconds=60)
    reasons = {line["reason"] for line in worker.said("given back")}
    assert all("No space left on device" in one for one in reasons)
    assert all(str(disk) in one for one in reasons)
    ballast.unlink()
    done = farm.end(batch)
    if "failed" in done.counts:  # takes that did not fit while their records did
        assert retry(farm.farm(), batch).n_shots == done.counts["failed"]
        done = farm.end(batch)
    assert done.state == "done"
    assert set(done.counts) <= {"solved", "kept"}
    rows = read_sequence(disk / "out/chase/sequence.parquet")
    assert {row.error for row in rows} == {None}
    solve_job(job, farm.folder / "local", workers=1)
    assert takes_of(disk / "out") == takes_of(farm.folder / "local")


def test_farm_fails_the_take_that_does_not_fit_and_retry_does_it(
    make_farm: Callable[..., TestFarm], disk: Path
) -> None:
    farm = make_farm(
        OUTPUTS=str(disk / "out"), TIME_LIMIT_S="60", VISIBILITY_TIMEOUT_S="120"
    )
    job = farm.job(walking_job(*many_shots(4), long_shot("big")))
    (farm.folder / "out").symlink_to(disk / "out")
    ballast = fill(disk, free=3_000_000)
    farm.worker()
    batch = farm.submit(job).batch
    assert farm.end(batch).counts == {"failed": 1, "solved": 4}
    rows = {r.shot: r for r in read_sequence(disk / "out/chase/sequence.parquet")}
    assert rows["big"].error is not None
    assert rows["big"].error.startswith(
        "shots[4]: cannot be written: no space left on device, "
        f"{disk}/out/chase/history/big/"
    )
    ballast.unlink()
    assert retry(farm.farm(), batch).n_shots == 1
    assert farm.end(batch).counts == {"solved": 5}
    solve_job(job, farm.folder / "local", workers=1)
    assert takes_of(disk / "out") == takes_of(farm.folder / "local")
