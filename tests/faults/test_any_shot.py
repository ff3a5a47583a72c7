"""Whatever a shot does on a farm, or over HTTP, it fails alone, as it does here."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from farms import TestFarm
from odd_shots import odd_shots
from service_process import Service, running
from test_service import ended, submit
from walks import files_below, save_job, walking_job

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.sequence_table import read_sequence

pytestmark = pytest.mark.slow

COUNT = 30


class Here(NamedTuple):
    """Odd shots solved on this machine: their job, and status and takes by name."""

    tables: dict[str, Any]
    status: dict[str, str]
    takes: dict[str, bytes]


@pytest.fixture(scope="module", name="here")
def _here(tmp_path_factory: pytest.TempPathFactory) -> Here:
    folder = tmp_path_factory.mktemp("here")
    tables = walking_job(*odd_shots(COUNT, 11, n_open=1))
    outcome = solve_job(save_job(folder, tables), folder / "out", workers=1)
    status = {row.shot: row.status for row in outcome.rows}
    assert set(status.values()) >= {"failed", "solved"}
    return Here(tables, status, takes_of(folder / "out"))


def takes_of(out: Path) -> dict[str, bytes]:
    return files_below(out / "chase" / "takes")


def test_odd_shots_end_on_a_farm_as_they_do_here(
    make_farm: Callable[..., TestFarm], here: Here
) -> None:
    # Time enough for an open shot wherever this runs: none is to be tried twice.
    farm = make_farm(TIME_LIMIT_S="60", VISIBILITY_TIMEOUT_S="130")
    farm.worker()
    done = farm.end(farm.submit(farm.job(here.tables)).batch)
    assert done.state == "done"
    rows = read_sequence(farm.folder / "out/chase/sequence.parquet")
    assert {row.shot: row.status for row in rows} == here.status
    assert takes_of(farm.folder / "out") == here.takes
    errors = [row.error for row in rows if row.take_key is None]
    assert all(error and error.startswith("shots[") for error in errors)


def test_odd_shots_end_over_http_as_they_do_here(tmp_path: Path, here: Here) -> None:
    with running(tmp_path) as service:
        status = ended(service, submit(service, here.tables))
        check(service, status, here.status)
    assert takes_of(service.out / "north") == here.takes


def check(service: Service, status: dict[str, Any], expected: dict[str, str]) -> None:
    assert (status["state"], status["done"]) == ("done", COUNT)
    failed = {one["shot"] for one in status["failed"]}
    assert failed == {name for name, word in expected.items() if word == "failed"}
    assert all(one["error"].startswith("shots[") for one in status["failed"])
    assert service.ask("GET", "/livez", project=None).status == 200
