"""What an entry of a queue must look like to be handed to a worker at all.

The queue's library would fall over some of what is not checked here, and would do more
with some than this farm ever asks for: run other tasks, wait, repeat, call others back.
"""

import base64
import binascii
import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

_Id = Annotated[str, Field(min_length=1, max_length=100)]
_Text = Annotated[str, Field(max_length=10_000)]
_Task = Literal[
    "carrellata.units", "carrellata.join", "carrellata.take", "carrellata.canary"
]


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore")


class _Headers(_Part):
    task: _Task
    id: _Id
    lang: Literal["py"]
    root_id: _Id | None = None
    parent_id: _Id | None = None
    retries: Annotated[int, Field(ge=0, le=1000)] = 0
    argsrepr: _Text = ""
    kwargsrepr: _Text = ""
    origin: _Text | None = None
    ignore_result: bool = True
    replaced_task_nesting: Literal[0] = 0
    stamps: dict[str, None] | None = None
    # Not used by this farm.
    shadow: None = None
    eta: None = None
    expires: None = None
    group: None = None
    group_index: None = None
    timelimit: list[None] | None = None
    stamped_headers: None = None


class _Delivery(_Part):
    exchange: _Text
    routing_key: _Text


class _Properties(_Part):
    delivery_tag: _Id
    delivery_info: _Delivery
    body_encoding: Literal["base64"]
    delivery_mode: Literal[1, 2] = 2
    priority: Literal[0] = 0
    correlation_id: _Id | None = None
    reply_to: _Id | None = None


class _Envelope(_Part):
    body: str
    content_type: Annotated[Literal["application/json"], Field(alias="content-type")]
    content_encoding: Annotated[Literal["utf-8"], Field(alias="content-encoding")]
    headers: _Headers
    properties: _Properties


def envelope_fault(entry: object) -> str | None:
    """Return what keeps an entry of a queue from being a message; None if nothing."""
    try:
        envelope = _Envelope.model_validate(entry)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        return f"{'.'.join(map(str, first['loc'])) or 'entry'}: {first['msg']}"
    try:
        body = json.loads(base64.b64decode(envelope.body, validate=True))
    except (binascii.Error, ValueError, RecursionError):
        return "body: is not JSON in base64"
    return _call_fault(body)


def _call_fault(body: Any) -> str | None:
    """Return why a body is no call with one argument and nothing to follow."""
    if not isinstance(body, list) or len(body) != 3:
        return "body: must be a list of arguments, names and options"
    words, named, options = body
    if not isinstance(words, list) or len(words) != 1 or named != {}:
        return "body: must be a call with one argument"
    if not isinstance(options, dict) or any(options.values()):
        return "body: has options that are not used here"
    return None
