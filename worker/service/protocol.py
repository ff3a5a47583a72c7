"""HTTP/1.1 with a time for the head of a request to arrive."""

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol


def timed_protocol(head_s: float) -> "type[TimedProtocol]":
    """Return the protocol that waits so long for the head of a request."""
    return type("TimedProtocol", (TimedProtocol,), {"head_s": head_s})


class TimedProtocol(H11Protocol):
    """Closes a connection whose sender never comes to the point.

    Attributes:
        head_s: from the start of a connection or request to the end of its headers.
    """

    head_s = 10.0
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the clock of the first request."""
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Stop the clock where a head is whole, start it where one has begun."""
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the clock."""
        self._stop()
        super().connection_lost(exc)

    def _watch(self) -> None:
        if self.conn.their_state is not h11.IDLE:
            self._stop()
        elif self._deadline is None:
            self._deadline = self.loop.call_later(self.head_s, self._end)

    def _stop(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _end(self) -> None:
        self._deadline = None
        transport: Any = self.transport
        if self.conn.their_state is h11.IDLE and not transport.is_closing():
            transport.close()
