"""What is too much, too large, too slow or too often, and when to try again."""

import json
import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest
from command_line import PATIENCE_S
from job_files import metre_job
from process_tree import pool_processes
from service_process import (
    JSON_TYPE,
    Service,
    assert_problem,
    running,
    walk_job,
    walk_shot,
)

TAKES = "/v1/takes"


# 408


def test_a_body_that_does_not_come_is_given_up(service: Service) -> None:
    with service.wire() as wire:
        wire.sendall(service.head(1000) + b"{")
        answer = b""
        while part := wire.recv(4096):  # the service closes the connection
            answer += part
    assert answer.startswith(b"HTTP/1.1 408 ")
    assert b'"body_late"' in answer


def test_a_head_that_does_not_come_is_given_up(service: Service) -> None:
    with service.wire() as wire:
        wire.sendall(b"POST /v1/takes HTTP/1.1\r\nHost:")
        assert wire.recv(4096) == b""


def test_a_body_that_is_cut_short_harms_nobody(service: Service) -> None:
    with service.wire() as wire:
        wire.sendall(service.head(1000) + b"{")
    assert service.ask("POST", TAKES, walk_job()).status == 200


# 413


@pytest.mark.parametrize("chunked", [False, True])
def test_a_body_over_the_limit_is_refused_while_it_comes(
    service: Service, chunked: bool
) -> None:
    connection = service.connect()
    headers = {
        **JSON_TYPE,
        "Authorization": f"Bearer {service.tokens['narrow']}",
    }
    size = 20_001
    body: Any = iter([b" " * 1000] * 21) if chunked else b" " * size
    connection.request("POST", TAKES, body, headers, encode_chunked=chunked)
    answer = connection.getresponse()
    found = json.loads(answer.read())
    connection.close()
    assert (answer.status, found["code"]) == (413, "body_too_large")
    assert found["detail"] == "the body is larger than 20000 bytes"


def test_limits_of_a_token_are_named(service: Service) -> None:
    frames = service.ask("POST", TAKES, walk_job(51), project="narrow")
    assert assert_problem(frames, 422, "job_refused")["faults"] == [
        {"path": "shots[0].frames", "message": "51 samples to solve, limit 50"}
    ]
    job = walk_job(101, frames=[1001, 1040])
    samples = service.ask("POST", TAKES, job, project="narrow")
    assert samples.json["faults"] == [
        {"path": "shots[0].subjects[0].samples", "message": "101 samples, limit 100"}
    ]
    batch = walk_job(46)
    batch["shots"].append(walk_shot("020", 46))
    total = service.ask("POST", "/v1/batches", batch, project="narrow")
    assert total.json["faults"] == [
        {"path": "shots", "message": "92 samples to solve in all, limit 90"}
    ]


# 429


def test_more_requests_than_allowed_are_put_off(service: Service) -> None:
    replies = [service.ask("GET", "/v1/schema", project="seldom") for _ in range(4)]
    assert [reply.status for reply in replies[:2]] == [200, 200]
    assert_problem(replies[-1], 429, "rate")
    wait_s = int(replies[-1].headers["retry-after"])
    assert 1 <= wait_s <= 3
    time.sleep(wait_s)
    assert service.ask("GET", "/v1/schema", project="seldom").status == 200


def test_more_takes_at_once_than_allowed_are_put_off(service: Service) -> None:
    first = service.ask("POST", TAKES + "?wait=0", walk_job(5000), project="single")
    assert first.status == 202
    second = service.ask("POST", TAKES, walk_job(30), project="single")
    assert_problem(second, 429, "in_flight")
    place = first.headers["location"] + "?wait=30"
    assert service.ask("GET", place, project="single").status == 200
    third = service.ask("POST", TAKES, walk_job(30), project="single")
    assert third.status == 200


# 503 and what takes too long


def held(service: Service, number: signal.Signals) -> None:
    """Stop the processes that solve, or let them go on."""
    assert service.process is not None
    for pid in pool_processes(service.process.pid):
        os.kill(pid, number)


def test_a_full_queue_is_said_so(tmp_path: Path) -> None:
    with running(tmp_path, None, "--processes", "1", "--queue", "1") as small:
        held(small, signal.SIGSTOP)
        replies = [
            small.ask("POST", TAKES + "?wait=0", walk_job(30) | {"seed": k})
            for k in range(3)
        ]
        # One is solved, one waits, and the third finds no place.
        assert [reply.status for reply in replies] == [202, 202, 503]
        assert_problem(replies[2], 503, "busy")
        assert int(replies[2].headers["retry-after"]) >= 1
        held(small, signal.SIGCONT)
        assert [
            small.ask("GET", reply.headers["location"] + "?wait=30").status
            for reply in replies[:2]
        ] == [200, 200]


def test_a_slow_take_is_said_so_and_harms_no_other(tmp_path: Path) -> None:
    with running(tmp_path, None, "--processes", "1", "--solve-s", "0.3") as small:
        held(small, signal.SIGSTOP)
        slow = small.ask("POST", TAKES + "?wait=30", walk_job(30))
        told = assert_problem(slow, 422, "too_long")["detail"]
        assert "takes longer than 0.3 s" in told
        # The process was replaced; what is quick goes through, at once or in the end.
        until = time.monotonic() + PATIENCE_S
        while small.ask("POST", TAKES, walk_job(31)).status != 200:
            assert time.monotonic() < until


def test_many_faulty_shots_are_refused_after_some(service: Service) -> None:
    body = metre_job(*({"name": f"a{k}"} for k in range(20_000)))
    reply = service.ask("POST", "/v1/batches", body)
    assert reply.status == 422
    # A hundred shots' faults would be more than anybody reads; no more are looked for.
    assert 200 <= reply.json["n_faults"] < 5_000
    more = service.ask("POST", "/v1/batches", metre_job(*([{"name": "a"}] * 20_001)))
    assert more.json["faults"] == [
        {"path": "shots", "message": "20001 shots, limit 20000"}
    ]
    one = service.ask("POST", TAKES, body)
    assert one.json["faults"][0]["message"] == (
        "a take needs exactly one shot, got 20000"
    )
