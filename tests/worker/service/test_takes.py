"""Takes over HTTP: the same to the last bit, in every form, soon and later."""

import json
import math
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from job_files import write_job
from service_process import JSON_TYPE, Service, running, walk_job, walk_shot

from carrellata.jobs.run.local import solve_job
from carrellata.worker.service.results import ARROW, JSON, PARQUET


def ask_form(service: Service, job: Any, form: str) -> Any:
    reply = service.ask("POST", "/v1/takes", job, headers={**JSON_TYPE, "Accept": form})
    assert reply.status == 200, reply.body
    assert reply.headers["content-type"] == form
    return reply


def finite_or_none(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


@pytest.fixture(scope="module")
def on_disk(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file that the command line writes for the job of these tests."""
    folder = tmp_path_factory.mktemp("disk")
    outcome = solve_job(write_job(folder, walk_job(96)), folder / "out", workers=1)
    return (outcome.folder / "takes" / "010.parquet").read_bytes()


def test_a_take_over_http_is_the_file_on_disk_byte_for_byte(
    service: Service, on_disk: bytes
) -> None:
    assert ask_form(service, walk_job(96), PARQUET).body == on_disk
    # Once more, from memory.
    assert ask_form(service, walk_job(96), PARQUET).body == on_disk


def test_an_arrow_stream_holds_the_table_on_disk(
    service: Service, on_disk: bytes
) -> None:
    body = ask_form(service, walk_job(96), ARROW).body
    table = pa.ipc.open_stream(body).read_all()
    expected = pq.read_table(pa.BufferReader(on_disk))
    assert table.equals(expected, check_metadata=True)


def test_json_columns_are_those_on_disk_to_the_last_bit(
    service: Service, on_disk: bytes
) -> None:
    found = ask_form(service, walk_job(96), JSON).json
    expected = pq.read_table(pa.BufferReader(on_disk))
    assert found["rows"] == expected.num_rows == 96
    assert list(found["columns"]) == expected.column_names
    for name, values in found["columns"].items():
        # Floats are equal only where every bit is; there is no zero with a sign here.
        kept = [finite_or_none(value) for value in expected[name].to_pylist()]
        assert values == kept, name
    metadata = json.loads(expected.schema.metadata[b"carrellata"])
    assert found["metadata"] == metadata


def test_a_limit_at_infinity_is_null_in_json(service: Service) -> None:
    camera = {"film_back": "super35-4perf", "lens_kit_mm": [18], "stop": 16}
    rig = {"kind": "track", "from": [0, 1.5, 2.5], "to": [4, 1.5, 2.5]}
    job = walk_job(30, lens_mm=18, rig=rig) | {"camera": camera}
    far = ask_form(service, job, JSON).json["columns"]["dof_far_m"]
    assert far == [None] * 30  # past the hyperfocal distance the far limit is +inf


def test_a_take_is_fetched_again_by_its_key_in_another_form(service: Service) -> None:
    first = ask_form(service, walk_job(41), JSON)
    place = first.headers["content-location"]
    again = service.ask("GET", place, headers={"Accept": PARQUET})
    assert again.status == 200
    assert pq.read_table(pa.BufferReader(again.body)).num_rows == 41
    assert again.headers["carrellata-take-key"] == first.headers["carrellata-take-key"]


def test_a_client_that_has_a_take_is_told_so(service: Service) -> None:
    first = ask_form(service, walk_job(42), JSON)
    place, tag = first.headers["content-location"], first.headers["etag"]
    again = service.ask("GET", place, headers={"If-None-Match": tag})
    assert (again.status, again.body, again.headers["etag"]) == (304, b"", tag)
    other = service.ask("GET", place, headers={"If-None-Match": '"other"'})
    assert other.status == 200
    # The tag names the form too.
    form = service.ask("GET", place, headers={"If-None-Match": tag, "Accept": ARROW})
    assert form.status == 200


def test_a_take_that_is_not_there_in_time_is_fetched_later(service: Service) -> None:
    reply = service.ask("POST", "/v1/takes?wait=0", walk_job(1500))
    assert (reply.status, reply.body) == (202, b"")
    assert int(reply.headers["retry-after"]) >= 1
    later = service.ask("GET", reply.headers["location"] + "?wait=20")
    assert later.status == 200
    assert later.json["rows"] == 1500
    # The ticket goes on leading to the take.
    assert service.ask("GET", reply.headers["location"]).body == later.body


def test_a_refused_request_tells_its_ticket_why(service: Service) -> None:
    job = walk_job(40)
    del job["shots"][0]["subjects"][0]["samples"]["z"]
    reply = service.ask("POST", "/v1/takes?wait=0", job)
    later = service.ask("GET", reply.headers["location"] + "?wait=20")
    assert later.status == 422
    assert later.json["faults"][0]["path"] == "shots[0].subjects[0].samples.z"


def test_the_same_request_is_answered_from_memory(service: Service) -> None:
    first = ask_form(service, walk_job(43), JSON)
    again = ask_form(service, walk_job(43), JSON)
    assert first.headers["carrellata-source"] == "solved"
    assert again.headers["carrellata-source"] == "kept"
    assert again.body == first.body


def test_one_changed_number_gives_another_take(service: Service) -> None:
    first = ask_form(service, walk_job(44), JSON)
    changed = ask_form(service, walk_job(44, roll_deg=1.0), JSON)
    assert changed.headers["carrellata-source"] == "solved"
    assert (
        changed.headers["carrellata-take-key"] != first.headers["carrellata-take-key"]
    )
    assert set(changed.json["columns"]["roll_deg"]) == {1.0}


def test_a_shot_with_its_setup_left_open_gets_one(service: Service) -> None:
    job = walk_job(48, rig={"kind": "choose"}, lens_mm="choose", side="choose")
    job["shots"][0] |= {"view": "choose", "height": "choose"}
    found = ask_form(service, job, JSON).json
    setup = found["metadata"]["setup"]
    assert setup["rig"]["kind"] in ("sticks", "track", "arc")
    assert setup["lens_mm"] in (25, 50, 100)
    assert found["rows"] == 48


def test_what_one_project_has_another_cannot_find(service: Service) -> None:
    first = ask_form(service, walk_job(45), JSON)
    place = first.headers["content-location"]
    mine = service.ask("GET", place)
    theirs = service.ask("GET", place, project="south")
    none = service.ask("GET", "/v1/takes/" + "0" * 64, project="south")
    assert mine.status == 200
    assert theirs.status == none.status == 404
    assert theirs.body == none.body  # nothing tells the two apart


def test_another_projects_take_does_not_make_ones_own_come_sooner(
    service: Service,
) -> None:
    first = ask_form(service, walk_job(46), JSON)
    reply = service.ask("POST", "/v1/takes", walk_job(46), project="south")
    assert reply.headers["carrellata-source"] == "solved"
    assert reply.headers["content-location"] != first.headers["content-location"]
    assert reply.body == first.body


def test_a_take_needs_one_shot(service: Service) -> None:
    job = walk_job(30)
    job["shots"].append(walk_shot("020", 30))
    reply = service.ask("POST", "/v1/takes", job)
    assert reply.status == 422
    assert reply.json["faults"] == [
        {"path": "shots", "message": "a take needs exactly one shot, got 2"}
    ]


def test_a_take_asked_before_the_processes_are_warm_waits_for_them(
    tmp_path: Path,
) -> None:
    with running(tmp_path, cold=True) as cold:
        assert cold.ask("GET", "/livez", project=None).status == 200
        reply = cold.ask("POST", "/v1/takes", walk_job(24))
        assert reply.status in (200, 202)
        cold.until_ready()
        if reply.status == 202:  # on a slow machine
            reply = cold.ask("GET", f"{reply.headers['location']}?wait=60")
        assert reply.json["rows"] == 24
