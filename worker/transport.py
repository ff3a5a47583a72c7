"""Redis as the queue's transport, with a guard against what is no message.

Whoever can write to Redis can put anything on a queue. An entry that is not an
envelope of the queue's own form would otherwise end the worker that takes it; here it
is refused, with a reason in the log, and gone.
"""

import logging
from typing import Any

from kombu.transport import redis

from .logs import log

_TEXT_HEADERS = ("task", "id")
_SHOWN = 100


class Channel(redis.Channel):
    """A channel whose entries need not be JSON."""

    def _brpop_read(self, **options: Any) -> Any:
        try:
            return super()._brpop_read(**options)
        except ValueError as error:
            refuse(f"is not JSON: {error}")
            return True


class Transport(redis.Transport):
    """A transport that hands on envelopes only."""

    Channel = Channel

    def _deliver(self, message: Any, queue: str) -> None:
        reason = envelope_fault(message)
        if reason is None:
            super()._deliver(message, queue)
        else:
            refuse(reason)


def refuse(reason: str) -> None:
    """Log why an entry of a queue was dropped."""
    log(logging.ERROR, "message refused", reason=reason[:300])


def envelope_fault(message: object) -> str | None:
    """Return what keeps an entry of a queue from being a message; None if nothing."""
    if not isinstance(message, dict):
        return f"must be a table, got {type(message).__name__}"
    if not isinstance(message.get("body"), str):
        return "body must be text"
    if message.get("content-type") != "application/json":
        shown = str(message.get("content-type"))[:_SHOWN]
        return f"content-type must be application/json, got {shown}"
    if message.get("content-encoding") != "utf-8":
        return "content-encoding must be utf-8"
    return _headers_fault(message.get("headers")) or _properties_fault(
        message.get("properties")
    )


def _headers_fault(headers: object) -> str | None:
    if not isinstance(headers, dict):
        return "headers must be a table"
    for name in _TEXT_HEADERS:
        if not isinstance(headers.get(name), str):
            return f"headers.{name} must be text"
    for name in ("eta", "expires"):
        if headers.get(name) is not None:
            return f"headers.{name} is not used here"
    if headers.get("timelimit") not in (None, [None, None]):
        return "headers.timelimit is not used here"
    return None


def _properties_fault(properties: object) -> str | None:
    if not isinstance(properties, dict):
        return "properties must be a table"
    if properties.get("body_encoding") != "base64":
        return "properties.body_encoding must be base64"
    if not isinstance(properties.get("delivery_tag"), str):
        return "properties.delivery_tag must be text"
    info = properties.get("delivery_info")
    if not isinstance(info, dict):
        return "properties.delivery_info must be a table"
    for name in ("exchange", "routing_key"):
        if not isinstance(info.get(name), str):
            return f"properties.delivery_info.{name} must be text"
    return None
