"""Redis as the queue's transport, with a guard against what is no message.

Whoever can write to Redis can put anything on a queue. An entry that is not an
envelope of the queue's own form would otherwise end the worker that takes it; here it
is refused, with a reason in the log, and gone.
"""

import logging
from collections.abc import Callable
from typing import Any

from kombu.transport import redis

from .envelope import envelope_fault
from .holding import note_done, note_held
from .logs import log

_MOST_SHOWN = 300
_UNREADABLE = (ValueError, TypeError, LookupError, AttributeError, RecursionError)


class QoS(redis.QoS):
    """Notes which messages this worker holds."""

    def append(self, message: Any, delivery_tag: str) -> None:
        """Take a message, noted before anything can be lost of it."""
        with self.pipe_or_acquire() as pipe:
            note_held(pipe, delivery_tag)
            pipe.execute()
        super().append(message, delivery_tag)

    def ack(self, delivery_tag: str) -> None:
        """End with a message."""
        super().ack(delivery_tag)
        self._done(delivery_tag)

    def reject(self, delivery_tag: str, requeue: bool = False) -> None:
        """Give a message back, or drop it."""
        super().reject(delivery_tag, requeue=requeue)
        self._done(delivery_tag)

    def _done(self, delivery_tag: str) -> None:
        with self.pipe_or_acquire() as pipe:
            note_done(pipe, delivery_tag)
            pipe.execute()


class Channel(redis.Channel):
    """A channel whose entries need not be JSON."""

    QoS = QoS

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


on_refused: list[Callable[[], None]] = []
"""Called when an entry of a queue was dropped."""


def refuse(reason: str) -> None:
    """Log why an entry of a queue was dropped."""
    log(logging.ERROR, "message refused", reason=reason[:_MOST_SHOWN])
    for told in on_refused:
        told()
