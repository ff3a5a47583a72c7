"""Anything may be put on a queue: what is no message is refused, and no worker dies."""

import base64
import json
import random
from typing import Any

import pytest
from farms import TestFarm, until
from walks import many_shots, walking_job

from carrellata.worker.farm.health import farm_health

pytestmark = pytest.mark.slow

N_MESSAGES = 1000
SEED = 20_261


def envelope(body: object, **fields: Any) -> dict[str, Any]:
    """Return an entry of a queue as the queue's library writes it."""
    text = json.dumps(body).encode()
    whole = {
        "body": base64.b64encode(text).decode(),
        "content-encoding": "utf-8",
        "content-type": "application/json",
        "headers": {
            "lang": "py",
            "task": "carrellata.units",
            "id": "x",
            "argsrepr": "",
        },
        "properties": {
            "correlation_id": "x",
            "delivery_mode": 2,
            "delivery_info": {"exchange": "", "routing_key": "batch"},
            "priority": 0,
            "body_encoding": "base64",
            "delivery_tag": "t",
        },
    }
    return whole | fields


def call(*words: object) -> list[object]:
    return [list(words), {}, {"callbacks": None, "errbacks": None, "chain": None}]


def bodies(batch: str) -> list[object]:
    """Return bodies that are no call of ours, each in its own way."""
    units = {"batch": batch, "phase": "take", "shots": [0]}
    words: list[object] = [
        {},
        {"batch": batch},
        units | {"shots": []},
        units | {"shots": [99]},
        units | {"shots": [-1]},
        units | {"shots": ["0"]},
        units | {"shots": [0.5]},
        units | {"shots": [True]},
        units | {"phase": "nothing"},
        units | {"phase": "../take"},
        units | {"batch": "../../etc"},
        units | {"batch": "0123456789abcdef"},
        units | {"more": 1},
        "text",
        None,
        [1, 2],
        7,
        {"shots": [0] * 2000, "batch": batch, "phase": "take"},
        units | {"batch": {"__type__": "datetime", "__value__": "never"}},
    ]
    calls = [call(one) for one in words]
    odd: list[object] = [
        call(),
        call(units, units),
        [[], {"batch": 1}, {}],
        [],
        {},
        "x",
        None,
        [[units]],
        [[units], {}, None],
        [units, {}, {}],
        17,
    ]
    return [*calls, *odd]


def entries(batch: str) -> list[str | bytes]:
    """Return what may lie on a queue and is no message of ours."""
    good = envelope(call({"batch": batch, "phase": "take", "shots": [0]}))
    broken: list[Any] = [envelope(body) for body in bodies(batch)]
    broken += [{k: v for k, v in good.items() if k != name} for name in good]
    broken += [good | {name: None} for name in good]
    broken += [good | {name: [1, {"a": 2}]} for name in good]
    broken += [good | {"body": "!!! not base64 !!!"}, good | {"body": ""}]
    broken += [good | {"content-type": "application/x-python-serialize"}]
    broken += [good | {"content-type": "application/x-yaml"}]
    broken += [good | {"content-encoding": "binary"}]
    headers, properties = good["headers"], good["properties"]
    for name in ("task", "id"):
        broken.append(good | {"headers": headers | {name: 7}})
        broken.append(good | {"headers": {k: headers[k] for k in headers if k != name}})
    for name, value in (
        ("task", "os.system"),
        ("task", "celery.backend_cleanup"),
        ("eta", "2030-01-01T00:00:00"),
        ("eta", "no time"),
        ("expires", "yesterday"),
        ("timelimit", [1e9, 1e9]),
        ("timelimit", "long"),
    ):
        broken.append(good | {"headers": headers | {name: value}})
    for name in ("delivery_tag", "delivery_info", "body_encoding"):
        kept = {k: properties[k] for k in properties if k != name}
        broken.append(good | {"properties": kept})
        broken.append(good | {"properties": properties | {name: 5}})
    text: list[str | bytes] = [json.dumps(one) for one in broken]
    deep = "[" * 5000 + "]" * 5000
    text += [b"", b"\x80\x04\x95", b"\xff\xfe", "null", "[]", '"x"', "{", deep]
    text.append(json.dumps(good)[:-20])
    coded = {"__type__": "uuid", "__value__": {"hex": 5}}  # the library's own codes
    text.append(json.dumps(coded))
    text.append(json.dumps(envelope(call(coded))))
    return text


def test_malformed_messages_are_refused_and_no_worker_dies(farm: TestFarm) -> None:
    worker = farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(2)))).batch
    assert farm.end(batch).counts == {"solved": 2}
    kinds = entries(batch)
    assert len(kinds) > 70
    order = random.Random(SEED)
    sent = [kinds[k % len(kinds)] for k in range(N_MESSAGES)]
    order.shuffle(sent)
    n_before = len(worker.lines())
    with farm.server.client() as client:
        for entry in sent:
            client.lpush(order.choice(["batch", "joins"]), entry)
    until(farm.is_empty)

    def errors() -> list[dict[str, Any]]:
        lines = worker.lines()[n_before:]
        return [line for line in lines if line["level"] in ("error", "critical")]

    # The last lines may be written after the last message is gone.
    until(lambda: len(errors()) >= N_MESSAGES)
    refused = errors()
    assert len(refused) == N_MESSAGES
    ours = [line for line in refused if line["message"] == "message refused"]
    assert all(line["reason"] for line in ours)
    assert len(ours) > 0.9 * N_MESSAGES
    # Those that never came to a task are counted too.
    until(lambda: farm_health(farm.farm()).counts["refused"] >= len(ours))
    assert farm_health(farm.farm()).counts["refused"] == len(ours)
    assert worker.alive
    # It works on, and what was there is as it was.
    done = farm.end(farm.submit(farm.job(walking_job(*many_shots(3)))).batch)
    assert done.counts == {"solved": 3} or done.counts == {"kept": 2, "solved": 1}


def test_no_secret_stands_in_a_log(farm: TestFarm) -> None:
    secret = "correct-horse-battery"
    with farm.server.client() as client:
        client.config_set("requirepass", secret)
    farm.address = f"redis://:{secret}@127.0.0.1:{farm.server.port}/0"
    worker = farm.worker()
    assert farm.end(farm.submit(farm.job(walking_job(*many_shots(2)))).batch).counts
    farm.server.kill()
    until(lambda: len([x for x in worker.lines() if x["level"] == "error"]))
    ended = farm.run("status")
    assert ended.returncode == 3
    assert secret not in worker.log.read_text() + ended.stderr + ended.stdout
    done = worker.said("shot done")
    assert {line["shot"] for line in done} == {"000", "010"}
    assert all(line["job"] and len(line["key"]) == 64 for line in done)
