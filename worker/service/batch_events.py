"""A batch's progress as server-sent events."""

import json
from collections.abc import AsyncIterator
from typing import Any

from .batch_runner import Batches
from .batch_view import BatchState


async def events(
    batches: Batches, batch: BatchState, after: int
) -> AsyncIterator[bytes]:
    """Yield a batch's progress as server-sent events.

    Args:
        batches: that run it.
        batch: the batch.
        after: number of the last event that the client has; rows count from 1.
    """
    seen = max(0, min(after, len(batch.rows)))
    state = ""
    while True:
        for row in batch.rows[seen:]:
            seen += 1
            yield _event("shot", row, number=seen)
        if batch.state != state:
            state = batch.state
            yield _event("end" if batch.has_ended else "state", batch.plain())
        if batch.has_ended and seen == len(batch.rows):
            return
        await batches.wait_change(batch, (seen, state))
        if batches.leaving:
            return
        if (len(batch.rows), batch.state) == (seen, state):
            yield b": still here\n\n"


def _event(name: str, value: dict[str, Any], number: int | None = None) -> bytes:
    line = "" if number is None else f"id: {number}\n"
    return f"{line}event: {name}\ndata: {json.dumps(value)}\n\n".encode()
