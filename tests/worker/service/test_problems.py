"""Every way to be refused: its status, its words, and nothing of this machine in it."""

import json
import socket
import threading
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from command_line import run
from job_files import write_job
from service_process import JSON_TYPE, Reply, Service, assert_problem, walk_job

TAKES = "/v1/takes"


def first_fault(reply: Reply) -> tuple[str, str]:
    fault = reply.json["faults"][0]
    return fault["path"], fault["message"]


# 400


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "is empty"),
        (b"   ", "is empty"),
        (b"{", "line 1, column 2: expecting property name"),
        (b'{"schema": }', "line 1, column 12: expecting value"),
        (b"\xff\xfe{}", "is not UTF-8, line 1"),
        (b"[" * 100_000, "nested too deep"),
        (b'{"a":' * 100_000, "nested too deep"),
        (b"[]", "must be a table at the top"),
        (b"null", "must be a table at the top"),
        (b'{"a": 1, "a": 2}', "given twice"),
        (b'{"rate": ' + b"9" * 5000 + b"}", "limit"),
    ],
)
def test_a_body_that_is_no_json_table_is_refused(
    service: Service, body: bytes, words: str
) -> None:
    reply = service.ask("POST", TAKES, body)
    assert reply.status == 400
    assert reply.json["faults"][0]["path"] == "body"
    assert words in reply.json["faults"][0]["message"]


# 401


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Authorization": "Basic bm9ydGg6bm9ydGg="},
        {"Authorization": "Bearer"},
        {"Authorization": "Bearer "},
        {"Authorization": "Bearer crl_" + "0" * 43},
    ],
)
@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", TAKES),
        ("GET", TAKES + "/" + "0" * 64),
        ("POST", "/v1/batches"),
        ("GET", "/v1/batches/" + "0" * 32),
        ("DELETE", "/v1/batches/" + "0" * 32),
        ("GET", "/v1/batches/" + "0" * 32 + "/events"),
        ("GET", "/v1/batches/" + "0" * 32 + "/shots/010"),
        ("GET", "/v1/lenses"),
        ("GET", "/v1/schema"),
    ],
)
def test_nothing_is_answered_without_a_token(
    service: Service, method: str, path: str, headers: dict[str, str]
) -> None:
    reply = service.ask(method, path, project=None, headers=headers)
    assert reply.status == 401
    assert reply.json["code"] in ("no_token", "token")
    assert reply.headers["www-authenticate"].startswith("Bearer ")


def test_a_body_is_not_read_before_the_token_is_known(service: Service) -> None:
    place = urlsplit(service.address)
    with socket.create_connection((place.hostname, place.port), timeout=10) as wire:
        wire.sendall(
            b"POST /v1/takes HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
            b"Content-Length: 1000000\r\n\r\n"
        )
        assert wire.recv(100).startswith(b"HTTP/1.1 401 ")


# 403


def test_a_token_may_be_kept_from_batches(service: Service) -> None:
    reply = service.ask("POST", "/v1/batches", walk_job(), project="guest")
    assert_problem(reply, 403, "no_batches")
    cancel = service.ask("DELETE", "/v1/batches/" + "0" * 32, project="guest")
    assert_problem(cancel, 403, "no_batches")
    assert service.ask("POST", TAKES, walk_job(), project="guest").status == 200


# 404, 405, 406


@pytest.mark.parametrize(
    "path", ["/", "/v1", "/v1/nothing", "/v1/takes/", "/docs", "/v1/../etc/passwd"]
)
def test_there_is_nothing_elsewhere(service: Service, path: str) -> None:
    assert_problem(service.ask("GET", path), 404, "no_route")


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("/v1/takes/" + "0" * 64, "no_take"),
        ("/v1/takes/..%2f..%2fsecret", "no_route"),
        ("/v1/batches/" + "0" * 32, "no_batch"),
        ("/v1/batches/%2e%2e", "no_batch"),
        ("/v1/batches/" + "0" * 32 + "/events", "no_batch"),
        ("/v1/batches/" + "0" * 32 + "/shots/010", "no_batch"),
    ],
)
def test_what_is_not_there_is_not_found(service: Service, path: str, code: str) -> None:
    assert_problem(service.ask("GET", path), 404, code)


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("GET", TAKES, "POST"),
        ("PUT", TAKES, "POST"),
        ("OPTIONS", TAKES, "POST"),
        ("POST", "/v1/lenses", "GET"),
        ("PATCH", "/v1/batches", "POST"),
    ],
)
def test_a_method_that_does_not_fit_is_refused(
    service: Service, method: str, path: str, allowed: str
) -> None:
    reply = service.ask(method, path)
    assert_problem(reply, 405, "method")
    assert reply.headers["allow"] == allowed


def test_a_form_that_takes_do_not_have_is_refused(service: Service) -> None:
    headers = {**JSON_TYPE, "Accept": "text/html, application/xml;q=0.9"}
    reply = service.ask("POST", TAKES, walk_job(), headers=headers)
    found = assert_problem(reply, 406, "not_acceptable")
    assert "application/vnd.apache.parquet" in found["detail"]


# 409


def test_a_key_whose_first_request_is_being_answered_waits(service: Service) -> None:
    headers = {**JSON_TYPE, "Idempotency-Key": "one-at-a-time"}
    job = walk_job(19_000)
    answers: list[Reply] = []

    def ask() -> None:
        answers.append(service.ask("POST", TAKES + "?wait=30", job, headers=headers))

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    late, first = sorted(answers, key=lambda reply: -reply.status)
    assert first.status == 200
    assert_problem(late, 409, "in_progress")
    assert int(late.headers["retry-after"]) >= 1
    # Now that it is answered, the same key gives the same take.
    again = service.ask("POST", TAKES, job, headers=headers)
    assert again.body == first.body


# 415


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "application/json; charset=utf-16"},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
    ],
)
def test_a_body_of_another_type_is_refused(
    service: Service, headers: dict[str, str]
) -> None:
    reply = service.ask("POST", TAKES, b"{}", headers=headers)
    assert reply.status == 415


# 422


def test_faults_are_those_of_the_command_line(service: Service, tmp_path: Path) -> None:
    job = walk_job(lens_mm=45, shoke="rough", frames=[1001, 1000])
    ended = run("check", write_job(tmp_path, job), "--json")
    assert ended.code == 2
    reply = service.ask("POST", TAKES, job)
    found = assert_problem(reply, 422, "job_refused")
    assert found["faults"] == json.loads(ended.out)["faults"]
    assert found["n_faults"] == len(found["faults"]) == 3


def test_faults_in_the_data_are_those_of_the_command_line(
    service: Service, tmp_path: Path
) -> None:
    job = walk_job(48)
    job["shots"][0]["subjects"][0]["samples"]["x"][30] += 20.0
    ended = run("check", write_job(tmp_path, job), "--json")
    assert ended.code == 1
    reply = service.ask("POST", TAKES, job)
    found = assert_problem(reply, 422, "shot_data")
    assert found["faults"] == json.loads(ended.out)["faults"]
    assert "moves" in found["detail"]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_not_finite_are_named(service: Service, number: str) -> None:
    text = json.dumps(walk_job(lens_mm=50)).replace(
        '"lens_mm": 50', f'"lens_mm": {number}'
    )
    reply = service.ask("POST", TAKES, text.encode())
    assert_problem(reply, 422, "job_refused")
    assert "lens_mm" in first_fault(reply)[0]


def test_a_key_with_another_body_is_refused(service: Service) -> None:
    headers = {**JSON_TYPE, "Idempotency-Key": "used-once"}
    assert service.ask("POST", TAKES, walk_job(31), headers=headers).status == 200
    reply = service.ask("POST", TAKES, walk_job(32), headers=headers)
    assert_problem(reply, 422, "idempotency_key")
    # A key is the token's own.
    other = service.ask("POST", TAKES, walk_job(32), project="south", headers=headers)
    assert other.status == 200


@pytest.mark.parametrize("wait", ["-1", "nan", "inf", "soon", "1e9", ""])
def test_a_wait_that_is_none_is_refused(service: Service, wait: str) -> None:
    reply = service.ask("POST", f"{TAKES}?wait={wait}", walk_job())
    assert_problem(reply, 422, "parameter")
    assert first_fault(reply)[0] == "wait"


def test_many_faults_are_counted_and_some_listed(service: Service) -> None:
    job = walk_job(30)
    job["shots"][0] |= {f"unknown{k}": k for k in range(1000)}
    reply = service.ask("POST", TAKES, job)
    assert reply.status == 422
    assert reply.json["n_faults"] == 1000
    assert len(reply.json["faults"]) == 200


def test_every_answer_has_the_headers_of_a_service_without_pages(
    service: Service,
) -> None:
    for reply in (
        service.ask("POST", TAKES, walk_job()),
        service.ask("GET", "/nothing", project=None),
        service.ask("GET", "/livez", project=None),
    ):
        assert reply.headers["x-content-type-options"] == "nosniff"
        assert "default-src 'none'" in reply.headers["content-security-policy"]
        assert "access-control-allow-origin" not in reply.headers
        assert "server" not in reply.headers
    origin = {**JSON_TYPE, "Origin": "https://elsewhere.example"}
    reply = service.ask("POST", TAKES, walk_job(), headers=origin)
    assert "access-control-allow-origin" not in reply.headers


def test_no_token_is_in_the_log(service: Service) -> None:
    service.ask("POST", TAKES, walk_job())
    service.ask("GET", "/v1/takes/" + "0" * 64)
    assert "POST /v1/takes 200" in service.log
    assert not [token for token in service.tokens.values() if token in service.log]
