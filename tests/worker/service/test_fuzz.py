"""Spoilt requests: every answer is a take, or a problem that names the fault."""

import copy
import json
import random
import socket
from contextlib import closing
from typing import Any

import pytest
from service_process import JSON_TYPE, Service, walk_job

FEW, MANY = 1000, 10_000
ODD_VALUES: tuple[Any, ...] = (
    None,
    True,
    False,
    0,
    -1,
    1,
    0.5,
    -0.0,
    1e308,
    -1e308,
    2**31,
    2**63,
    2**64,
    10**25,
    float("nan"),
    float("inf"),
    float("-inf"),
    "",
    "choose",
    "nan",
    "0",
    "\u0000",
    "\ud800",
    "\u202e",
    "../../etc/passwd",
    "file:///etc/passwd",
    "x" * 20_000,
    [],
    {},
    [[]],
    [None],
    [0, 0],
    [1, 2, 3],
    {"": 0},
    {"kind": "sticks"},
    {"kind": "choose"},
    {"a": {"b": {"c": {"d": [[[[[]]]]]}}}},
)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return every place inside a value."""
    found = [path] if path else []
    if isinstance(value, dict):
        for name in value:
            found += places(value[name], (*path, name))
    elif isinstance(value, list):
        for k in range(min(len(value), 3)):
            found += places(value[k], (*path, k))
    return found


def spoil(job: Any, chance: random.Random) -> None:
    """Change one place of a job."""
    path = chance.choice(places(job))
    inner = job
    for part in path[:-1]:
        inner = inner[part]
    way = chance.randrange(6)
    if way == 0:
        del inner[path[-1]]
    elif way == 1 and isinstance(inner, dict):
        inner[chance.choice(("x", "frames", "rig", "lens", "\udcff", ""))] = 1
    elif way == 2 and isinstance(inner[path[-1]], list) and inner[path[-1]]:
        inner[path[-1]] = inner[path[-1]][: chance.randrange(len(inner[path[-1]]))]
    elif way == 3 and isinstance(inner[path[-1]], int | float):
        inner[path[-1]] = inner[path[-1]] * chance.choice((-1, 1e3, 1e-9, 1e12))
    else:
        inner[path[-1]] = copy.deepcopy(chance.choice(ODD_VALUES))


def spoilt_body(number: int) -> bytes:
    """Return a body; the same for the same number."""
    chance = random.Random(number)
    job = json.loads(BASE)
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        spoil(job, chance)
    body = json.dumps(job).encode()
    way = chance.randrange(12)
    if way == 0:
        return body[: chance.randrange(len(body))]
    if way == 1:
        return job_text(job).encode(chance.choice(("utf-16", "utf-32")))
    if way == 2:
        at = chance.randrange(len(body))
        return body[:at] + chance.randbytes(chance.randrange(1, 9)) + body[at:]
    if way == 3:
        depth = chance.choice((10, 31, 33, 500, 100_000))
        return b'{"shots":' * depth + body + b"}" * depth
    if way == 4:
        return b"\xef\xbb\xbf" + body
    if way == 5:
        return chance.randbytes(chance.randrange(300))
    return body


def job_text(job: Any) -> str:
    return json.dumps(job)


BASE = json.dumps(
    walk_job(
        24,
        cues=[{"frame": 1010, "size": "medium"}],
        framing={"size": "full", "headroom": 0.08, "lead_room": 0.1},
        crew={"preset": "brisk", "operator": {"reaction_s": 0.2}},
        frames=[1004, 1020],
        handles=[2, 3],
    )
)


def assert_sound(status: int, content_type: str, body: bytes, what: str) -> None:
    if status == 200:
        assert json.loads(body)["rows"] > 0, what
        return
    assert status in (400, 413, 422), f"{what}: {status} {body[:300]!r}"
    assert content_type == "application/problem+json", what
    found = json.loads(body)
    assert found["faults"], f"{what}: {found}"
    for fault in found["faults"]:
        assert fault["message"], what
    text = body.decode()
    assert "Traceback" not in text, what
    assert "/site-packages/" not in text, what
    assert "/tmp/" not in text, what


def fuzz(service: Service, numbers: range) -> dict[int, int]:
    """Send spoilt bodies over one connection; return how often each status came."""
    counts: dict[int, int] = {}
    connection = service.connect()
    headers = {**JSON_TYPE, "Authorization": f"Bearer {service.tokens['fuzz']}"}
    with closing(connection):
        for number in numbers:
            body = spoilt_body(number)
            connection.request("POST", "/v1/takes?wait=30", body, headers)
            answer = connection.getresponse()
            content = answer.read()
            kind = answer.getheader("Content-Type", "")
            assert_sound(answer.status, kind, content, f"body {number}")
            counts[answer.status] = counts.get(answer.status, 0) + 1
    return counts


@pytest.mark.slow
def test_spoilt_bodies_give_a_take_or_a_named_fault(service: Service) -> None:
    counts = fuzz(service, range(FEW))
    print(counts)
    # The bodies are neither all sound nor all nonsense.
    assert min(counts[200], counts[400], counts[422]) > FEW // 50
    assert "Traceback" not in service.log


@pytest.mark.long
def test_many_spoilt_bodies_give_a_take_or_a_named_fault(service: Service) -> None:
    print(fuzz(service, range(FEW, FEW + MANY)))
    assert "Traceback" not in service.log


@pytest.mark.slow
def test_spoilt_requests_are_answered_or_hung_up_on(service: Service) -> None:
    sound = service.head(2, "fuzz") + b"{}"
    for number in range(300):
        chance = random.Random(number)
        raw = bytearray(sound)
        for _ in range(chance.randrange(1, 6)):
            at = chance.randrange(len(raw))
            raw[at : at + chance.randrange(3)] = chance.randbytes(chance.randrange(4))
        with service.wire() as wire:
            wire.sendall(bytes(raw))
            wire.shutdown(socket.SHUT_WR)
            answer = b""
            while part := wire.recv(65536):
                answer += part
        # An unreadable request gets 400 from the protocol or nothing at all.
        assert answer == b"" or answer.startswith(b"HTTP/1.1 4"), (number, answer)
    assert service.ask("POST", "/v1/takes", walk_job(24)).status == 200
    assert "Traceback" not in service.log


def test_every_odd_value_is_used() -> None:
    used = b"".join(spoilt_body(number) for number in range(2000))
    assert b"NaN" in used
    assert b"Infinity" in used
    assert str(10**25).encode() in used
    assert b"\\ud800" in used
