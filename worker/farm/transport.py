"""Redis as the queue's transport, with a guard against what is no message.

Whoever can write to Redis can put anything on a queue. An entry that is not an
envelope of the queue's own form would otherwise end the worker that takes it; here it
is refused, with a reason in the log, and gone.
"""

import logging
from typing import Any

from kombu.transport import redis

from .envelope import envelope_fault
from .logs import log

_MOST_SHOWN = 300
_UNREADABLE = (ValueError, TypeError, LookupError, AttributeError, RecursionError)


class Channel(redis.Channel):
    """A channel whose entries need not be JSON."""

    def _brpop_read(self, **options: Any) -> Any:
        self.connection.is_read = False
        try:
            return super()._brpop_read(**options)
        except _UNREADABLE as error:
            if self.connection.is_read:
                raise
            refuse(f"is not JSON: {error}")
            return True


class Transport(redis.Transport):
    """A transport that hands on envelopes only."""

    Channel = Channel

    is_read = False
    """Whether the entry in hand was JSON."""

    def _deliver(self, message: Any, queue: str) -> None:
        self.is_read = True
        reason = envelope_fault(message)
        if reason is None:
            super()._deliver(message, queue)
        else:
            refuse(reason)


def refuse(reason: str) -> None:
    """Log why an entry of a queue was dropped."""
    log(logging.ERROR, "message refused", reason=reason[:_MOST_SHOWN])
