"""Batches over HTTP: followed, fetched, cancelled, and never lost."""

import json
import signal
import time
from pathlib import Path
from typing import Any

import pytest
from command_line import PATIENCE_S
from job_files import metre_job, rows_of, write_job
from service_process import JSON_TYPE, Reply, Service, running, walk_job, walk_shot

from carrellata.jobs.run.local import solve_job

BATCHES = "/v1/batches"
PARQUET = {"Accept": "application/vnd.apache.parquet"}


def many(n_shots: int, n_frames: int = 48, **fields: Any) -> dict[str, Any]:
    shots = [walk_shot(f"{k:03d}", n_frames) for k in range(n_shots)]
    return metre_job(*shots, **fields)


def submit(service: Service, job: dict[str, Any], project: str = "north") -> str:
    reply = service.ask("POST", BATCHES, job, project=project)
    assert reply.status == 202, reply.body
    place: str = reply.headers["location"]
    assert place == f"{BATCHES}/{reply.json['id']}"
    return place


def wait_end(service: Service, place: str, project: str = "north") -> dict[str, Any]:
    for _ in range(600):
        found: dict[str, Any] = service.ask("GET", place, project=project).json
        if found["state"] in ("done", "failed", "cancelled"):
            return found
        time.sleep(0.1)
    raise AssertionError(found)


def wait_rows(service: Service, place: str, n_rows: int = 1) -> None:
    """Wait until so many shots of a batch that goes on are done."""
    for _ in range(1200):
        found = service.ask("GET", place).json
        if found["done"] >= n_rows:
            return
        assert found["state"] in ("queued", "running"), found
        time.sleep(0.05)
    raise AssertionError(found)


def events(reply: Reply) -> list[tuple[str | None, str, Any]]:
    """Return (id, event, data) of a stream that has ended."""
    found = []
    for block in reply.body.decode().split("\n\n"):
        lines = [line for line in block.splitlines() if not line.startswith(":")]
        if lines:
            fields = dict(line.split(": ", 1) for line in lines)
            data = json.loads(fields["data"])
            found.append((fields.get("id"), fields["event"], data))
    return found


def test_a_batch_is_solved_followed_and_fetched(
    service: Service, tmp_path: Path
) -> None:
    job = many(4, sequence="followed")
    place = submit(service, job)
    stream = service.ask("GET", f"{place}/events")
    assert stream.headers["content-type"].startswith("text/event-stream")
    told = events(stream)
    rows = [(number, data) for number, name, data in told if name == "shot"]
    assert [number for number, _ in rows] == ["1", "2", "3", "4"]
    assert sorted(data["shot"] for _, data in rows) == ["000", "001", "002", "003"]
    assert told[-1][1] == "end"
    assert told[-1][2]["state"] == "done"
    status = service.ask("GET", place).json
    assert status["counts"]["solved"] == status["done"] == 4
    # The takes are those of the command line, byte for byte.
    solve_job(write_job(tmp_path, job), tmp_path / "out", workers=1)
    for name in status["shots"]:
        reply = service.ask("GET", f"{place}/shots/{name}", headers=PARQUET)
        kept = tmp_path / "out" / "followed" / "takes" / f"{name}.parquet"
        assert reply.body == kept.read_bytes()
    assert set(rows_of(service.out / "north" / "followed" / "sequence.parquet")) == set(
        status["shots"]
    )


def test_a_stream_goes_on_after_the_last_event(service: Service) -> None:
    place = submit(service, many(3, sequence="again"))
    wait_end(service, place)
    reply = service.ask("GET", f"{place}/events", headers={"Last-Event-ID": "2"})
    numbers = [number for number, name, _ in events(reply) if name == "shot"]
    assert numbers == ["3"]


def test_a_shots_take_comes_in_every_form_and_with_a_tag(service: Service) -> None:
    place = submit(service, many(1, sequence="forms"))
    wait_end(service, place)
    reply = service.ask("GET", f"{place}/shots/000")
    assert reply.json["rows"] == 48
    tag = reply.headers["etag"]
    again = service.ask("GET", f"{place}/shots/000", headers={"If-None-Match": tag})
    assert again.status == 304
    bad = service.ask("GET", f"{place}/shots/000", headers={"Accept": "text/html"})
    assert bad.status == 406
    assert service.ask("GET", f"{place}/shots/001").json["code"] == "no_shot"


def test_the_same_job_again_keeps_every_take(service: Service) -> None:
    first = submit(service, many(3, sequence="nightly"))
    wait_end(service, first)
    second = submit(service, many(3, sequence="nightly"))
    assert second != first
    assert wait_end(service, second)["counts"]["kept"] == 3


def test_a_batch_keeps_its_own_takes_when_a_later_one_changes_them(
    service: Service,
) -> None:
    first = submit(service, many(1, sequence="changing"))
    wait_end(service, first)
    before = service.ask("GET", f"{first}/shots/000", headers=PARQUET).body
    second = submit(service, many(1, sequence="changing", seed=5))
    wait_end(service, second)
    assert service.ask("GET", f"{first}/shots/000", headers=PARQUET).body == before
    assert service.ask("GET", f"{second}/shots/000", headers=PARQUET).body != before


def test_bad_data_of_one_shot_fails_that_shot(service: Service) -> None:
    job = many(2, sequence="spoilt")
    job["shots"][0]["subjects"][0]["samples"]["x"][10] += 30.0
    place = submit(service, job)
    status = wait_end(service, place)
    assert (status["state"], status["counts"]["failed"]) == ("done", 1)
    assert status["failed"][0]["shot"] == "000"
    assert "moves" in status["failed"][0]["error"]
    failed = service.ask("GET", f"{place}/shots/000")
    assert (failed.status, failed.json["code"]) == (409, "shot_failed")
    assert service.ask("GET", f"{place}/shots/001").status == 200


def test_shots_without_setup_or_file_are_listed_as_all_others(
    service: Service,
) -> None:
    job = many(4, sequence="listed")
    job["shots"][0] |= {
        "rig": {"kind": "choose", "kinds": ["sticks"]},
        "framing": {"size": "full"},
    }
    job["shots"][0]["stage"] = {"height_m": [90.0, 91.0]}
    job["shots"][1]["rig"] = {"kind": "choose"}
    for k in (1, 2):
        subject = job["shots"][k]["subjects"][0]
        del subject["samples"]
        subject["file"] = "gone.csv"
    place = submit(service, job)
    status = wait_end(service, place)
    assert (status["state"], status["done"]) == ("done", 4)
    assert status["counts"] == {"solved": 1, "kept": 0, "failed": 2, "no_setup": 1}
    errors = {one["shot"]: one["error"] for one in status["failed"]}
    assert set(errors) == {"000", "001", "002"}
    assert "no setup holds the shot" in errors["000"]
    assert all("'gone.csv'" in errors[name] for name in ("001", "002"))
    told = [data["shot"] for _, name, data in events_of(service, place) if data]
    assert sorted(told) == ["000", "001", "002", "003"]


def events_of(service: Service, place: str) -> list[tuple[str | None, str, Any]]:
    told = events(service.ask("GET", f"{place}/events"))
    return [one for one in told if one[1] == "shot"]


def test_a_submission_with_the_same_key_is_the_same_batch(service: Service) -> None:
    headers = {**JSON_TYPE, "Idempotency-Key": "tonight"}
    job = many(2, sequence="keyed")
    first = service.ask("POST", BATCHES, job, headers=headers)
    again = service.ask("POST", BATCHES, job, headers=headers)
    assert first.status == again.status == 202
    assert first.json["id"] == again.json["id"]
    other = service.ask("POST", BATCHES, many(1), headers=headers)
    assert (other.status, other.json["code"]) == (422, "idempotency_key")
    wait_end(service, first.headers["location"])


def test_another_project_sees_and_cancels_nothing(service: Service) -> None:
    place = submit(service, many(1, sequence="private"))
    none = f"{BATCHES}/{'0' * 32}"
    for method, end in (("GET", ""), ("DELETE", ""), ("GET", "/events")):
        theirs = service.ask(method, place + end, project="south")
        nobodys = service.ask(method, none + end, project="south")
        assert theirs.status == nobodys.status == 404
        assert theirs.body == nobodys.body
    assert service.ask("GET", f"{place}/shots/000", project="south").status == 404
    assert wait_end(service, place)["state"] == "done"


def test_projects_with_a_sequence_of_one_name_do_not_meet(service: Service) -> None:
    mine = submit(service, many(1, sequence="same_name"))
    theirs = submit(service, many(1, sequence="same_name", seed=9), project="south")
    wait_end(service, mine)
    wait_end(service, theirs, project="south")
    first = service.ask("GET", f"{mine}/shots/000").json
    second = service.ask("GET", f"{theirs}/shots/000", project="south").json
    assert first["metadata"]["keys"] != second["metadata"]["keys"]


def test_a_running_batch_is_cancelled_within_two_seconds(service: Service) -> None:
    place = submit(service, many(200, 400, sequence="long"))
    wait_rows(service, place)
    waiting = submit(service, many(1, sequence="behind"))
    early = service.ask("GET", f"{waiting}/shots/000")
    assert (early.status, early.json["code"]) == (409, "not_solved")
    began = time.monotonic()
    assert service.ask("DELETE", place).json["state"] in ("cancelling", "cancelled")
    while service.ask("GET", place).json["state"] != "cancelled":
        time.sleep(0.02)
        assert time.monotonic() - began < 30
    took_s = time.monotonic() - began
    status = service.ask("GET", place).json
    assert 0 < status["done"] < 200
    # What was done is whole, and the next batch runs.
    assert wait_end(service, waiting)["state"] == "done"
    assert service.ask("DELETE", place).json["state"] == "cancelled"
    ended = service.ask("DELETE", waiting)
    assert (ended.status, ended.json["code"]) == (409, "ended")
    assert status["failed"] == []
    takes = sorted((service.out / "north" / "long" / "takes").glob("*.parquet"))
    assert len(takes) >= status["done"]
    print(f"cancelled within {took_s:.2f} s")


def test_a_waiting_batch_is_cancelled_at_once(service: Service) -> None:
    first = submit(service, many(60, 400, sequence="ahead"))
    second = submit(service, many(1, sequence="never"))
    assert service.ask("DELETE", second).json["state"] == "cancelled"
    service.ask("DELETE", first)
    wait_end(service, first)
    assert not (service.out / "north" / "never").exists()


def test_more_batches_than_allowed_are_put_off(service: Service) -> None:
    place = submit(service, many(60, 400, sequence="only"), project="single")
    reply = service.ask("POST", BATCHES, many(1), project="single")
    assert (reply.status, reply.json["code"]) == (429, "batches")
    service.ask("DELETE", place, project="single")
    wait_end(service, place, project="single")


def test_more_streams_than_allowed_are_put_off(service: Service) -> None:
    place = submit(service, many(60, 400, sequence="watched"), project="single")
    connection = service.connect()
    headers = {"Authorization": f"Bearer {service.tokens['single']}"}
    connection.request("GET", f"{place}/events", headers=headers)
    first = connection.getresponse()
    assert first.readline().startswith(b"event: state")
    reply = service.ask("GET", f"{place}/events", project="single")
    assert (reply.status, reply.json["code"]) == (429, "streams")
    connection.close()
    service.ask("DELETE", place, project="single")
    wait_end(service, place, project="single")


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_restart_in_the_middle_loses_nothing(
    tmp_path: Path, number: signal.Signals
) -> None:
    job = many(24, 300, sequence="night")
    with running(tmp_path) as service:
        place = submit(service, job)
        behind = submit(service, many(2, sequence="behind"))
        wait_rows(service, place, 5)
        code = service.stop(number)
        assert code == (0 if number == signal.SIGTERM else -number)
        service.start()
        status = wait_end(service, place)
        assert (status["state"], status["done"]) == ("done", 24)
        assert status["counts"]["failed"] == 0
        assert wait_end(service, behind)["done"] == 2
        # Nothing was told twice, and what was told before is told still.
        told = events(service.ask("GET", f"{place}/events"))
        names = [data["shot"] for _, name, data in told if name == "shot"]
        assert len(names) == len(set(names)) == 24
        got = {
            name: service.ask("GET", f"{place}/shots/{name}", headers=PARQUET).body
            for name in names
        }
    solve_job(write_job(tmp_path, job), tmp_path / "calm", workers=1)
    for name, body in got.items():
        kept = tmp_path / "calm" / "night" / "takes" / f"{name}.parquet"
        assert body == kept.read_bytes(), name


@pytest.mark.slow
def test_a_killed_service_leaves_no_process_behind(tmp_path: Path) -> None:
    with running(tmp_path) as service:
        place = submit(service, many(200, 400, sequence="orphan"))
        wait_rows(service, place)
        assert service.process is not None
        group = service.process.pid
        runs = batch_processes(tmp_path)
        assert len(runs) == 1
        service.stop(signal.SIGKILL)
        end = time.monotonic() + PATIENCE_S
        while left := [*batch_processes(tmp_path), *group_members(group)]:
            assert time.monotonic() < end, left
            time.sleep(0.05)


def opened_file(fd: Path) -> str:
    """Return what a descriptor of a process is open on; "" once it is closed."""
    try:
        return str(fd.readlink())
    except OSError:
        return ""


def batch_processes(folder: Path) -> list[int]:
    """Processes of batches of the service in this folder."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            words = (process / "cmdline").read_bytes().split(b"\0")
            opened = {opened_file(fd) for fd in (process / "fd").iterdir()}
        except OSError:
            continue
        if b"carrellata.worker.service.batch_run" in words and any(
            name.startswith(str(folder)) for name in opened
        ):
            found.append(int(process.name))
    return found


def group_members(group: int) -> list[int]:
    """Processes that belong to a process group and have not ended."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group and fields[0] != "Z":
            found.append(int(stat.parent.name))
    return found


def test_a_damaged_record_of_progress_is_made_again(tmp_path: Path) -> None:
    with running(tmp_path) as service:
        place = submit(service, many(3, sequence="torn"))
        wait_end(service, place)
        service.stop()
        name = place.rpartition("/")[2]
        folder = tmp_path / "state" / "batches" / name
        (folder / "closed.json").unlink()
        outcome = folder / "take" / "1.json"
        outcome.write_bytes(outcome.read_bytes()[:40])
        told = tmp_path / "state" / "told" / name
        first, second, _ = told.read_text().splitlines(keepends=True)
        told.write_text(first + second[:-1])
        service.start()
        assert wait_end(service, place)["done"] == 3
        told = events(service.ask("GET", f"{place}/events"))
        names = [data["shot"] for _, name, data in told if name == "shot"]
        assert sorted(names) == ["000", "001", "002"]


def test_two_services_do_not_share_a_folder(tmp_path: Path) -> None:
    with running(tmp_path):
        other = Service(folder=tmp_path, tokens={})
        with pytest.raises(AssertionError, match="is in use by another service"):
            other.start()
        assert other.process is not None
        assert other.process.wait(20) == 2
        other.end()


def test_a_take_is_soon_there_while_a_batch_runs(service: Service) -> None:
    place = submit(service, many(100, 400, sequence="busy"))
    wait_rows(service, place)
    reply = service.ask("POST", "/v1/takes?wait=5", walk_job(61))
    assert reply.status == 200
    service.ask("DELETE", place)
    wait_end(service, place)
