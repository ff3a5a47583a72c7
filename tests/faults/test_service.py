"""Batches over HTTP on a farm: followed, cancelled, found again after a restart."""

import signal
import time
from typing import Any

import pytest
from command_line import run
from farms import TestFarm, until
from job_files import metre_job, write_job
from service_process import JSON_TYPE, Service, running, walk_shot

import carrellata

PARQUET = {"Accept": "application/vnd.apache.parquet"}


def many(n_shots: int, n_frames: int, sequence: str) -> dict[str, Any]:
    shots = [walk_shot(f"{k:03d}", n_frames) for k in range(n_shots)]
    return metre_job(*shots, sequence=sequence)


def submit(service: Service, job: dict[str, Any]) -> str:
    reply = service.ask("POST", "/v1/batches", job)
    assert reply.status == 202, reply.body
    place: str = reply.headers["location"]
    return place


def ended(service: Service, place: str) -> dict[str, Any]:
    def ask() -> dict[str, Any] | None:
        found: dict[str, Any] = service.ask("GET", place).json
        return found if found["state"] in ("done", "failed", "cancelled") else None

    found: dict[str, Any] = until(ask)
    return found


@pytest.mark.slow
def test_a_job_has_the_same_bytes_by_every_way(farm: TestFarm) -> None:
    job = many(6, 48, "through")
    folder = farm.folder / "service"
    folder.mkdir()
    with running(folder, None, environment=farm.environment()) as service:
        place = submit(service, job)
        time.sleep(0.5)
        # Nobody works yet, so nothing can have been solved here.
        assert service.ask("GET", place).json["done"] == 0
        service.stop(signal.SIGKILL)
        farm.worker()
        farm.sweeper()
        service.start()
        status = ended(service, place)
        assert (status["state"], status["done"]) == ("done", 6)
        assert status["counts"]["failed"] == 0
        assert len(farm.started()) == 6  # though it was submitted twice
        got = {
            name: service.ask("GET", f"{place}/shots/{name}", headers=PARQUET).body
            for name in status["shots"]
        }
        # A take asked for at once is solved by the service itself.
        one = job | {"shots": job["shots"][:1]}
        reply = service.ask("POST", "/v1/takes", one, headers=JSON_TYPE | PARQUET)
        assert reply.status == 200
    # The same bytes by every way: HTTP, at once and through the farm, the farm itself,
    # the command, and the library.
    file = write_job(folder, job)
    assert farm.end(farm.submit(file).batch).state == "done"
    assert run("solve", file, "-o", folder / "calm", "--workers", "1").code == 0
    library = carrellata.solve(job)
    assert len(got) == len(library) == 6
    assert reply.body == got["000"]
    for name, body in got.items():
        take = f"through/takes/{name}.parquet"
        assert body == (folder / "calm" / take).read_bytes(), name
        assert body == (farm.folder / "out" / take).read_bytes(), name
        assert body == library[name].need().to_parquet(), name


@pytest.mark.slow
def test_cancelling_over_http_reaches_the_farm(farm: TestFarm) -> None:
    folder = farm.folder / "service"
    folder.mkdir()
    farm.worker(processes=1)
    farm.sweeper()
    with running(folder, None, environment=farm.environment()) as service:
        place = submit(service, many(150, 500, "stopped"))
        until(lambda: service.ask("GET", place).json["done"] > 0)
        assert service.ask("DELETE", place).json["state"] == "cancelling"
        status = ended(service, place)
        assert status["state"] == "cancelled"
        assert 0 < status["counts"]["solved"] < 150
        until(farm.is_empty)
