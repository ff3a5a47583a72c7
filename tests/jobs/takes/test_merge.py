"""The table of a sequence, from rows that several put at the same time."""

import json
import random
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pytest
from command_line import PATIENCE_S
from night_rows import end_part, row, some_job
from object_store import CREDENTIALS, ObjectStore
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.places.place import Place
from carrellata.jobs.review.compare import compare, side_before, side_of
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes import merge
from carrellata.jobs.takes.merge import merge_sequence, note_reported
from carrellata.jobs.takes.sequence_table import read_table


def before(folder: Path) -> dict[str, float]:
    rows = read_table(folder / "sequence.parquet").before
    return {row.shot: json.loads(row.setup)["lens_mm"] for row in rows}


def job_of(folder: Path, **lens_mm: float) -> Path:
    shots = [walking_shot(name[1:], lens_mm=mm) for name, mm in lens_mm.items()]
    return save_job(folder, walking_job(*shots))


def test_rows_before_are_those_of_the_last_solve_of_each_shot(tmp_path: Path) -> None:
    out = tmp_path / "out"
    solve_job(job_of(tmp_path, _010=25, _020=25), out, workers=1)
    folder = out / "chase"
    assert before(folder) == {}
    solve_job(job_of(tmp_path, _010=35, _020=35), out, workers=1)
    assert before(folder) == {"010": 25, "020": 25}
    solve_job(job_of(tmp_path, _010=50, _020=50), out, shots=["020"], workers=1)
    assert before(folder) == {"010": 25, "020": 35}
    # A solve that changes nothing has nothing new to tell.
    solve_job(job_of(tmp_path, _010=50, _020=50), out, workers=1)
    solve_job(job_of(tmp_path, _010=50, _020=50), out, workers=1)
    assert before(folder) == {"010": 50, "020": 50}


def test_parts_of_a_run_keep_the_rows_before_it(tmp_path: Path) -> None:
    out = tmp_path / "out"
    solve_job(job_of(tmp_path, _010=25, _020=25), out, workers=1)
    job = job_of(tmp_path, _010=35, _020=35)
    for k in (1, 2):
        solve_job(job, out, shard=(k, 2), workers=1)
    assert before(out / "chase") == {"010": 25, "020": 25}


def is_right(folder: Place, job: JobFile, night: int) -> None:
    """Hold that the table is that of a quiet run, and compare with it."""
    names = [spec.name for spec in job.shots]
    table = read_table(folder / "sequence.parquet")
    assert [one.shot for one in table.rows] == names
    assert {one.measures["frames"] for one in table.rows} == {night}
    if night > 1:
        assert [one.shot for one in table.before] == names
        assert {one.measures["frames"] for one in table.before} == {night - 1}
        now = side_of(folder)
        assert {one.kind for one in compare(side_before(now), now)} == {"changed"}


@pytest.mark.parametrize("count", [2, 4])
def test_parts_that_end_together_on_a_disk_make_the_table_of_a_quiet_run(
    tmp_path: Path, count: int
) -> None:
    job, quiet = some_job(), tmp_path / "quiet"
    with ProcessPoolExecutor(count, mp_context=get_context("forkserver")) as parts:
        for night in range(1, 7):
            ended = [
                parts.submit(end_part, tmp_path, job, night, k, count)
                for k in range(count)
            ]
            for one in ended:
                one.result(PATIENCE_S)
            is_right(tmp_path, job, night)
            end_part(quiet, job, night, 0, 1)
            table = (tmp_path / "sequence.parquet").read_bytes()
            assert table == (quiet / "sequence.parquet").read_bytes()


def delayed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let time pass, of random length, before each table is written."""
    write, rng = merge.write_whole, random.Random(3)

    def late(place: Place, data: bytes) -> None:
        time.sleep(rng.uniform(0.0, 0.05))
        write(place, data)

    monkeypatch.setattr(merge, "write_whole", late)


@pytest.mark.parametrize("moment", ["listed", "read"])
def test_an_object_replaced_meanwhile_leaves_no_table_without_its_past(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    job = some_job()
    for night in (1, 2):
        end_part(tmp_path, job, night, 0, 1)
    read, names, write = merge.read_solves, merge.row_names, merge.write_whole
    others = iter((3, 4))
    missing: list[set[str]] = []

    def put_between(*words: Any) -> Any:
        """Have the second half of the shots put while the first half is merged."""
        if night := next(others, None):
            with monkeypatch.context() as quiet:
                quiet.setattr(merge, "read_solves", read)
                quiet.setattr(merge, "row_names", names)
                end_part(tmp_path, job, night, 1, 2)
        return read(*words)

    def torn(folder: Place) -> Any:
        """List as a folder does that changes meanwhile: old name gone, new not seen."""
        found = names(folder)
        if next(others, None):
            found.pop(job.shots[-1].name)
        return found

    def told(place: Place, data: bytes) -> None:
        write(place, data)
        table = read_table(tmp_path / "sequence.parquet")
        missing.append({s.name for s in job.shots} - {one.shot for one in table.before})

    monkeypatch.setattr(merge, "write_whole", told)
    if moment == "read":
        monkeypatch.setattr(merge, "read_solves", put_between)
    else:
        monkeypatch.setattr(merge, "row_names", torn)
    end_part(tmp_path, job, 3, 0, 2)
    assert missing
    assert missing == [set()] * len(missing)


def end_together(folder: Place, job: JobFile, night: int, count: int) -> None:
    with ThreadPoolExecutor(count) as threads:
        ended = [
            threads.submit(end_part, folder, job, night, k, count) for k in range(count)
        ]
        for one in ended:
            one.result()


@pytest.mark.parametrize("count", [2, 4])
def test_a_slow_writer_does_not_undo_what_others_have_put(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    delayed(monkeypatch)
    job = some_job()
    for night in range(1, 6):
        end_together(tmp_path, job, night, count)
        is_right(tmp_path, job, night)


@pytest.fixture(name="store")
def _store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[ObjectStore]:
    for name, value in CREDENTIALS.items():
        monkeypatch.setenv(name, value)
    made = ObjectStore(tmp_path / "s3.log")
    yield made
    made.stop()


@pytest.mark.slow
@pytest.mark.parametrize("count", [2, 4])
def test_parts_that_end_together_in_a_bucket_make_the_table_of_a_quiet_run(
    tmp_path: Path, store: ObjectStore, count: int
) -> None:
    job, folder = some_job(), store.place("out")
    for night in range(1, 4):
        end_together(folder, job, night, count)
        is_right(folder, job, night)
        end_part(tmp_path, job, night, 0, 1)
    table = (folder / "sequence.parquet").read_bytes()
    assert table == (tmp_path / "sequence.parquet").read_bytes()


def test_a_table_is_made_again_where_a_row_was_put_while_it_was_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, write = some_job(), merge.write_whole
    path = tmp_path / "sequence.parquet"
    waiting = [row("020", 1), row("030", 1)]

    def interrupted(place: Place, data: bytes) -> None:
        while waiting:  # another run puts its row and table first
            merge_sequence(path, job, [waiting.pop()])
        write(place, data)

    monkeypatch.setattr(merge, "write_whole", interrupted)
    rows = merge_sequence(path, job, [row("010", 1)])
    assert [one.shot for one in rows] == ["010", "020", "030"]
    written = read_table(path).rows
    assert [one.shot for one in written] == ["010", "020", "030"]
    assert [one.findings for one in written] == [one.findings for one in rows]


def test_a_run_that_was_cut_short_reports_nothing(tmp_path: Path) -> None:
    job, path = some_job(), tmp_path / "sequence.parquet"
    end_part(tmp_path, job, 1, 0, 1)
    merge_sequence(path, job, [row("010", 2)])
    merge_sequence(path, job, [row("010", 3)])
    note_reported(tmp_path, ["010"])
    table = read_table(path)
    assert [one.measures["frames"] for one in table.before] == [1]
    assert table.rows[0].measures["frames"] == 3


def test_what_is_said_of_a_run_a_second_time_changes_nothing(tmp_path: Path) -> None:
    job = some_job()
    for night in (1, 2):
        end_part(tmp_path, job, night, 0, 1)
    known = (tmp_path / "sequence.parquet").read_bytes()
    note_reported(tmp_path, [spec.name for spec in job.shots], again=True)
    assert (tmp_path / "sequence.parquet").read_bytes() == known
    is_right(tmp_path, job, 2)


def test_shots_that_the_job_has_no_longer_go(tmp_path: Path) -> None:
    job, path = some_job(), tmp_path / "sequence.parquet"
    end_part(tmp_path, job, 1, 0, 1)
    less = parse_job(walking_job(walking_shot("010"), walking_shot("030")))
    rows = merge_sequence(path, less, [row("010", 2)])
    assert [(one.shot, one.measures["frames"]) for one in rows] == [
        ("010", 2),
        ("030", 1),
    ]
    assert len(list((tmp_path / "rows").iterdir())) == 2


def test_rows_that_are_lost_or_damaged_are_those_of_the_table(tmp_path: Path) -> None:
    job, path = some_job(), tmp_path / "sequence.parquet"
    end_part(tmp_path, job, 1, 0, 1)
    first, second, *_ = sorted((tmp_path / "rows").iterdir())
    first.write_bytes(first.read_bytes()[:50])
    second.unlink()
    rows = merge_sequence(path, job, [row("160", 2)])
    assert [one.measures["frames"] for one in rows] == [1] * 15 + [2]


def test_a_shot_that_is_new_tonight_was_no_neighbour_before(tmp_path: Path) -> None:
    names = ("010", "020", "030")
    with_new = parse_job(walking_job(*map(walking_shot, names)))
    without = parse_job(walking_job(walking_shot("010"), walking_shot("030")))
    path = tmp_path / "sequence.parquet"
    for job in (without, with_new):
        shots = [spec.name for spec in job.shots]
        merge_sequence(path, job, [row(shot, len(shots)) for shot in shots])
        note_reported(tmp_path, shots)
    assert [one.shot for one in read_table(path).before] == ["010", "030"]
