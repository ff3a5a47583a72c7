"""Parts of a run that end together leave what one quiet run leaves."""

import itertools
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from command_line import PATIENCE_S, start
from object_store import CREDENTIALS, ObjectStore
from walks import files_below, save_job, walking_job, walking_shot

from carrellata.jobs.places.place import Place
from carrellata.jobs.review.compare import compare, side_before, side_of
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.curves import read_delivery
from carrellata.jobs.takes.sequence_table import read_table
from carrellata.jobs.takes.store import Store

N_SHOTS = 8
NIGHTS = (25, 35, 50)  # a lens each, so that every shot changes every night


def job_of(folder: Path, lens_mm: float) -> Path:
    names = [f"{10 * k:03d}" for k in range(1, N_SHOTS + 1)]
    shots = [walking_shot(name, lens_mm=lens_mm) for name in names]
    return save_job(folder, walking_job(*shots))


def solve_part(job: Path, out: Place, part: tuple[int, int]) -> None:
    solve_job(job, out, shard=part, workers=1)


def kinds(folder: Place) -> set[str]:
    now = side_of(folder)
    return {one.kind for one in compare(side_before(now), now)}


@pytest.mark.parametrize("count", [2, 4])
def test_shards_on_a_disk_leave_the_files_of_a_quiet_run(
    tmp_path: Path, count: int
) -> None:
    out, quiet = tmp_path / "out", tmp_path / "quiet"
    for lens_mm in NIGHTS:
        job = job_of(tmp_path, lens_mm)
        solve_job(job, quiet, workers=1)
        parts = [
            start("solve", job, "-o", out, "--workers", "1", "--shard", f"{k}/{count}")
            for k in range(1, count + 1)
        ]
        for part in parts:
            _, told = part.communicate(timeout=PATIENCE_S)
            assert part.returncode == 0, told
        assert files_below(out) == files_below(quiet)
    assert kinds(out / "chase") == {"changed"}


@pytest.fixture(name="store")
def _store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[ObjectStore]:
    for name, value in CREDENTIALS.items():
        monkeypatch.setenv(name, value)
    made = ObjectStore(tmp_path / "s3.log")
    yield made
    made.stop()


def solve_together(job: Path, out: Place, count: int) -> None:
    with ThreadPoolExecutor(count) as threads:
        ended = [
            threads.submit(solve_part, job, out, (k, count))
            for k in range(1, count + 1)
        ]
        for one in ended:
            one.result()


@pytest.mark.slow
@pytest.mark.parametrize("count", [2, pytest.param(4, marks=pytest.mark.long)])
def test_shards_in_a_bucket_leave_the_objects_of_a_quiet_run(
    tmp_path: Path, store: ObjectStore, count: int
) -> None:
    quiet = tmp_path / "quiet"
    for lens_mm in NIGHTS[:2]:
        job = job_of(tmp_path, lens_mm)
        solve_job(job, quiet, workers=1)
        solve_together(job, store.place("out"), count)
        assert store.objects("out") == files_below(quiet)
    assert kinds(store.place("out") / "chase") == {"changed"}


@pytest.fixture(name="out", params=["disk", "store"])
def _out(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    if request.param == "disk":
        return tmp_path / "out"
    store: ObjectStore = request.getfixturevalue("store")
    return store.place("out")


@pytest.mark.parametrize("n_reads", [5, pytest.param(1000, marks=pytest.mark.long)])
def test_readers_have_answers_of_one_moment_while_shards_write(
    tmp_path: Path, out: Place, n_reads: int
) -> None:
    folder, done = out / "chase", threading.Event()
    for lens_mm in NIGHTS[:2]:
        solve_job(job_of(tmp_path, lens_mm), out, workers=1)
    faults: list[str] = []
    n_read = 0

    def read() -> None:
        nonlocal n_read
        while not done.is_set():
            table = read_table(folder / "sequence.parquet")
            if len(table.rows) != N_SHOTS or len(table.before) != N_SHOTS:
                faults.append("rows are missing")
            if kinds(folder) != {"changed"}:
                faults.append("what changed is told as the same")
            delivery = read_delivery(Store(folder=folder))
            keys = [one.take_key for one in delivery.curves]
            if keys != [row.take_key for row in delivery.rows]:
                faults.append("takes are not those of the rows")
            n_read += 1

    lenses = itertools.cycle((NIGHTS[2], *NIGHTS[:2]))
    with ThreadPoolExecutor(2) as threads:
        readers = [threads.submit(read) for _ in range(2)]
        try:
            for _ in range(3):
                solve_together(job_of(tmp_path, next(lenses)), out, 2)
            while n_read < n_reads and not any(one.done() for one in readers):
                solve_together(job_of(tmp_path, next(lenses)), out, 2)
        finally:
            done.set()
        for reader in readers:
            reader.result()
    assert faults == []
