"""Entries of a queue: one as the library writes it passes, anything else does not."""

import base64
import json
from typing import Any

import pytest

from carrellata.worker.farm.envelope import envelope_fault
from carrellata.worker.farm.messages import (
    JoinMessage,
    MessageError,
    UnitsMessage,
    read_message,
)

OPTIONS = {"callbacks": None, "errbacks": None, "chain": None, "chord": None}


def entry(body: Any = None, **headers: Any) -> dict[str, Any]:
    # As celery 5.7 writes it.
    call = [[{"batch": "0" * 16}], {}, OPTIONS] if body is None else body
    return {
        "body": base64.b64encode(json.dumps(call).encode()).decode(),
        "content-encoding": "utf-8",
        "content-type": "application/json",
        "headers": {
            "lang": "py",
            "task": "carrellata.units",
            "id": "aca5c771",
            "shadow": None,
            "eta": None,
            "expires": None,
            "group": None,
            "group_index": None,
            "retries": 0,
            "timelimit": [None, None],
            "root_id": "aca5c771",
            "parent_id": None,
            "argsrepr": "[...]",
            "kwargsrepr": "{}",
            "origin": "gen1@host",
            "ignore_result": True,
            "replaced_task_nesting": 0,
            "stamped_headers": None,
            "stamps": {},
            **headers,
        },
        "properties": {
            "correlation_id": "aca5c771",
            "reply_to": "30135f68",
            "delivery_mode": 2,
            "delivery_info": {"exchange": "", "routing_key": "batch"},
            "priority": 0,
            "body_encoding": "base64",
            "delivery_tag": "11b22d1a",
        },
    }


def test_entry_of_the_library_passes() -> None:
    assert envelope_fault(entry()) is None


@pytest.mark.parametrize(
    "headers",
    [
        {"task": "os.system"},
        {"eta": "2030-01-01T00:00:00"},
        {"expires": 5},
        {"timelimit": [1e9, None]},
        {"group": "g"},
        {"retries": "0"},
        {"stamped_headers": ["x"]},
        {"id": None},
    ],
)
def test_header_that_the_farm_never_sets_is_refused(headers: dict[str, Any]) -> None:
    fault = envelope_fault(entry(**headers))
    assert fault is not None
    assert fault.startswith(f"headers.{next(iter(headers))}")


@pytest.mark.parametrize(
    "body",
    [
        [],
        [[], {}, {}],
        [[1, 2], {}, {}],
        [[1], {"a": 1}, {}],
        [[1], {}, {"callbacks": [{"task": "carrellata.join"}]}],
        {"a": 1},
        None,
        "x",
    ],
)
def test_body_that_is_no_call_is_refused(body: Any) -> None:
    spoilt = entry()
    text = json.dumps(body).encode()
    spoilt["body"] = base64.b64encode(text).decode()
    assert str(envelope_fault(spoilt)).startswith("body: ")


def test_message_names_its_first_fault() -> None:
    good = {"batch": "0" * 16, "phase": "take", "shots": [0, 5]}
    assert read_message(UnitsMessage, good).shots == [0, 5]
    for change, place in (
        ({"shots": []}, "shots"),
        ({"shots": [True]}, "shots.0"),
        ({"batch": "../x"}, "batch"),
        ({"phase": "Take"}, "phase"),
        ({"extra": 1}, "extra"),
    ):
        with pytest.raises(MessageError, match=rf"^{place}: "):
            read_message(UnitsMessage, good | change)
    with pytest.raises(MessageError, match=r"^message: "):
        read_message(JoinMessage, None)
