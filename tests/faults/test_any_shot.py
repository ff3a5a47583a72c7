"""Whatever a shot does on a farm, or over HTTP, it fails alone, as it does here."""

from pathlib import Path
from typing import Any

import pytest
from farms import TestFarm
from odd_shots import odd_shots
from service_process import Service, running
from test_service import ended, submit
from walks import files_below, save_job, walking_job

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.sequence_table import read_sequence

pytestmark = pytest.mark.slow

COUNT = 60


def solved_here(folder: Path) -> tuple[dict[str, Any], dict[str, str]]:
    """Solve odd shots on this machine; return their job and status by name."""
    tables = walking_job(*odd_shots(COUNT, 11, n_open=1))
    folder.mkdir(parents=True, exist_ok=True)
    outcome = solve_job(save_job(folder, tables), folder / "out", workers=1)
    found = {row.shot: row.status for row in outcome.rows}
    assert set(found.values()) >= {"failed", "solved"}
    return tables, found


def takes_of(out: Path) -> dict[str, bytes]:
    return files_below(out / "chase" / "takes")


def test_odd_shots_end_on_a_farm_as_they_do_here(farm: TestFarm) -> None:
    tables, expected = solved_here(farm.folder / "here")
    farm.worker()
    done = farm.end(farm.submit(farm.job(tables)).batch)
    assert done.state == "done"
    rows = read_sequence(farm.folder / "out/chase/sequence.parquet")
    assert {row.shot: row.status for row in rows} == expected
    assert takes_of(farm.folder / "out") == takes_of(farm.folder / "here/out")
    errors = [row.error for row in rows if row.take_key is None]
    assert all(error and error.startswith("shots[") for error in errors)


def test_odd_shots_end_over_http_as_they_do_here(tmp_path: Path) -> None:
    tables, expected = solved_here(tmp_path / "here")
    with running(tmp_path) as service:
        status = ended(service, submit(service, tables))
        check(service, status, expected)
    assert takes_of(service.out / "north") == takes_of(tmp_path / "here/out")


def check(service: Service, status: dict[str, Any], expected: dict[str, str]) -> None:
    assert (status["state"], status["done"]) == ("done", COUNT)
    failed = {one["shot"] for one in status["failed"]}
    assert failed == {name for name, word in expected.items() if word == "failed"}
    assert all(one["error"].startswith("shots[") for one in status["failed"])
    assert service.ask("GET", "/livez", project=None).status == 200
