"""A solve into a real S3 server: the bytes of a folder; and commands that read it."""

import json
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from object_store import SECRET, ObjectStore
from walks import (
    faulty_shot,
    files_below,
    many_shots,
    save_job,
    walking_job,
    walking_shot,
)

from carrellata.jobs.places import objects
from carrellata.jobs.run.local import Outcome, solve_job
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.jobs.takes.store import Store
from carrellata.worker.cli import main

pytestmark = pytest.mark.slow


@pytest.fixture(name="store")
def _store(object_store: ObjectStore) -> ObjectStore:
    return object_store


def statuses(outcome: Outcome) -> list[str]:
    return [row.status for row in outcome.rows]


def test_solve_writes_the_bytes_that_a_folder_gets_and_then_nothing(
    tmp_path: Path, store: ObjectStore
) -> None:
    shots = [*many_shots(4), walking_shot("900", lens_mm="choose"), faulty_shot("910")]
    job = save_job(tmp_path, walking_job(*shots))
    out, folder = store.place("out"), tmp_path / "out"
    for expected in (["solved"] * 5, ["kept"] * 5):
        there = solve_job(job, out, workers=1)
        here = solve_job(job, folder, workers=1)
        assert statuses(there) == statuses(here) == [*expected, "failed"]
        assert store.objects("out") == files_below(folder)
    assert str(there.review) == f"{out / 'chase' / 'review' / 'index.html'}"


def test_several_processes_write_the_same_bytes(
    tmp_path: Path, store: ObjectStore
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(12)))
    # A program of its own: processes are forked from a server with the environment
    # of whoever first needed one.
    words = ["-m", "carrellata.worker.cli", "solve", str(job), "--workers", "2"]
    where = ["-o", store.address("out")]
    subprocess.run([sys.executable, *words, *where], check=True, capture_output=True)
    solve_job(job, tmp_path / "out", workers=1)
    assert store.objects("out") == files_below(tmp_path / "out")


def test_going_back_to_an_earlier_job_solves_nothing(
    tmp_path: Path, store: ObjectStore
) -> None:
    out = store.place("out")
    first = save_job(tmp_path / "a", walking_job(walking_shot("010", lens_mm=25)))
    second = save_job(tmp_path / "b", walking_job(walking_shot("010", lens_mm=35)))
    for job, status in ((first, "solved"), (second, "solved"), (first, "kept")):
        assert statuses(solve_job(job, out)) == [status]
    current = Store(folder=out / "chase").take("010").read_bytes()
    solve_job(first, tmp_path / "out")
    assert current == (tmp_path / "out/chase/takes/010.parquet").read_bytes()
    assert len(Store(folder=out / "chase").prune()) == 1
    assert len([name for name in store.objects("out") if "/history/0" in name]) == 1


def test_parts_of_a_run_that_end_together_keep_each_others_rows(
    tmp_path: Path, store: ObjectStore
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(8)))
    out = store.place("out")

    def part(k: int) -> list[str]:
        return statuses(solve_job(job, out, shard=(k, 4), workers=1))

    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(part, range(1, 5))) == [["solved"] * 2] * 4
    rows = read_sequence(out / "chase" / "sequence.parquet")
    assert [row.status for row in rows] == ["solved"] * 8


def test_store_that_is_away_for_a_while_fails_no_shot(
    tmp_path: Path, store: ObjectStore
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(30)))
    n_done = 0

    def count(_: object, __: int) -> None:
        nonlocal n_done
        n_done += 1
        if n_done == 5:
            store.way.down()
            threading.Timer(3.0, store.way.up).start()

    outcome = solve_job(job, store.place("out", by_way=True), workers=1, progress=count)
    assert statuses(outcome) == ["solved"] * 30
    solve_job(job, tmp_path / "out", workers=1)
    assert store.objects("out") == files_below(tmp_path / "out")


def test_store_that_does_not_come_back_fails_shots_that_are_solved_the_next_time(
    tmp_path: Path, store: ObjectStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(objects, "PATIENCE_S", 0.2)
    job = save_job(tmp_path, walking_job(*many_shots(6)))
    errors: list[str | None] = []

    def cut(row: object, __: int) -> None:
        errors.append(getattr(row, "error", None))
        if len(errors) == 3:
            store.way.down()
        if len(errors) == 5:
            store.way.up()

    out = store.place("out", by_way=True)
    outcome = solve_job(job, out, workers=1, progress=cut)
    assert statuses(outcome) == ["solved"] * 3 + ["failed"] * 2 + ["solved"]
    assert errors[3] is not None
    assert errors[3].startswith("shots[3]: s3://night/out/chase/takes/030.parquet: ")
    assert errors[3].endswith("the object store does not answer")
    assert statuses(solve_job(job, out)) == ["kept"] * 3 + ["solved"] * 2 + ["kept"]


def test_commands_take_addresses(
    tmp_path: Path, store: ObjectStore, capsys: pytest.CaptureFixture[str]
) -> None:
    job = str(save_job(tmp_path, walking_job()))
    out = store.address("out")
    assert main(["solve", job, "-o", out, "--explain", "010"]) == 0
    said = capsys.readouterr().out
    assert "review: s3://night/out/chase/review/index.html?endpoint_override=" in said
    assert "Grip's sheet" in said
    assert main(["review", out]) == 0
    other = str(save_job(tmp_path / "b", walking_job(walking_shot("010", lens_mm=35))))
    assert main(["solve", other, "-o", out]) == 0
    capsys.readouterr()
    assert main(["compare", out]) == 0
    assert "010  changed" in capsys.readouterr().out
    assert main(["export", out, "--to", "csv"]) == 0
    assert "chase/export/csv/chase_010_cam.csv" in store.objects("out")
    assert main(["export", out, "--to", "gltf", "-o", str(tmp_path / "gltf")]) == 0
    assert (tmp_path / "gltf/chase_010_cam.glb").is_file()
    assert main(["export", out, "--to", "csv", "-o", store.address("csv")]) == 0
    assert set(store.objects("csv")) == {"chase_010_cam.csv"}
    capsys.readouterr()
    assert main(["prune", out]) == 0
    assert capsys.readouterr().out == "1 replaced takes removed\n"


def test_store_that_refuses_ends_the_run_with_what_is_wrong_and_no_secret(
    tmp_path: Path, store: ObjectStore, capsys: pytest.CaptureFixture[str]
) -> None:
    job = str(save_job(tmp_path, walking_job()))
    for out, code, says in (
        (f"s3://nobody/x?{store.options()}", 1, "s3://nobody: there is no such bucket"),
        (f"s3://k:{SECRET}@night/x", 2, "--out: must not hold a user or password;"),
        ("az://night/x", 2, "--out: must be a folder or start with s3://, gs://,"),
    ):
        assert main(["solve", job, "-o", out]) == code
        told = capsys.readouterr()
        assert told.err.startswith(says)
        assert SECRET not in told.err + told.out
        assert len(told.err.splitlines()) == 1
    store.deny()
    assert main(["solve", job, "-o", store.address("out"), "--json"]) == 1
    (fault,) = json.loads(capsys.readouterr().out)["faults"]
    assert fault["path"].startswith("s3://night/out/chase/")
    assert fault["message"].startswith("access is denied; credentials are taken from")
    store.allow()
    assert store.objects("out") == {}


@pytest.mark.parametrize(
    "words",
    [
        ["solve", "s3://night/job.toml", "-o", "x"],
        ["compare", "a", "b", "--page", "s3://night/page.html"],
        ["cut", "a.otio", "-o", "s3://night/job.toml"],
        ["study", "a.parquet", "--habits", "s3://night/h.toml"],
        ["serve", "-o", "s3://night/takes"],
        ["serve", "--state", "s3://night/state"],
    ],
)
def test_what_has_to_lie_on_this_machine_says_so(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    err = capsys.readouterr().err
    assert err.endswith(": must lie on this machine, got s3:\n")
    assert err.partition(":")[0] in ("JOB", "--page", "--out", "--habits", "--state")
