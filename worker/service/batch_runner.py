"""Runs batches, here one after the other, and tells everybody who listens."""

import asyncio
import contextlib
import hashlib
import json
import logging
import os
import signal
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from ...jobs.errors import CarrellataError
from .batch_store import Batch, BatchStore, Record, new_id, now_ns
from .settings import Settings
from .solving import CheckedBatch, Rules

_log = logging.getLogger(__name__)

_RUN = f"{__package__}.batch_run"
_LONGEST_LINE = 64 * 2**20
_GRACE_S = 2.0  # for a run to end in order; then it is killed
_ON_FARM = 16  # batches that are followed at one time
_MOST_RUNS = 3  # of a batch whose process dies
_BEAT_S = 10.0


def hold_signals() -> None:
    """Keep back what would end a process before it can say how it ended."""
    signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT, signal.SIGTERM))


class KeyUsedError(CarrellataError):
    """An Idempotency-Key came again with another body."""


class Batches:
    """The batches of a service."""

    def __init__(self, settings: Settings) -> None:
        """Keep where things are; `start` reads what is there."""
        self._settings = settings
        self._store = BatchStore(settings.state / "batches")
        self._active: dict[tuple[str, str], Batch] = {}
        self._by_key: dict[tuple[str, str], tuple[str, str]] = {}
        self._queue: asyncio.Queue[Batch] = asyncio.Queue()
        self._changed = asyncio.Condition()
        self._runners: list[asyncio.Task[None]] = []
        self._processes: dict[str, asyncio.subprocess.Process] = {}
        self._running: set[str] = set()

    def start(self) -> None:
        """Take up what a service before this one left, and begin to run."""
        for batch in self._store.all():
            self._know_key(batch.record)
            if not batch.has_ended:
                self._take_up(batch)
        # A machine does one at a time; a farm shares itself among many.
        count = _ON_FARM if self._settings.farm else 1
        self._runners = [asyncio.create_task(self._run_all()) for _ in range(count)]

    async def stop(self) -> None:
        """End the runs in hand; they go on when a service starts again."""
        for runner in self._runners:
            runner.cancel()
        await asyncio.gather(*self._runners, return_exceptions=True)

    async def submit(
        self, rules: Rules, checked: CheckedBatch, body: bytes, key: str | None
    ) -> Batch:
        """Write a batch down and queue it.

        Raises:
            OSError: it could not be written; nothing is queued.
        """
        record = Record(
            id=new_id(),
            project=rules.project,
            sequence=checked.sequence,
            shots=checked.shots,
            submitted_ns=now_ns(),
            root=None if rules.root is None else str(rules.root),
            file_bytes=rules.limits.file_bytes,
            samples=rules.limits.samples,
            key=key,
            body=hashlib.sha256(body).hexdigest(),
        )
        batch = await asyncio.to_thread(self._store.create, record, body)
        self._know_key(record)
        self._take_up(batch)
        return batch

    def earlier(self, project: str, key: str | None, body: bytes) -> Batch | None:
        """Return the batch that was submitted with a key, or None.

        Raises:
            KeyUsedError: it was submitted with another body.
        """
        if key is None or (project, key) not in self._by_key:
            return None
        name, digest = self._by_key[project, key]
        if digest != hashlib.sha256(body).hexdigest():
            message = "this Idempotency-Key was used with another body"
            raise KeyUsedError(message)
        return self.find(project, name)

    def find(self, project: str, name: str) -> Batch | None:
        """Return a batch of a project, or None where it has none of this name."""
        active = self._active.get((project, name))
        return self._store.find(project, name) if active is None else active

    def n_active(self, project: str) -> int:
        """Return how many batches of a project wait or run."""
        return sum(owner == project for owner, _ in self._active)

    async def cancel(self, batch: Batch) -> None:
        """Cancel a batch that has not ended.

        Raises:
            OSError: it could not be noted.
        """
        batch.cancel()
        if batch.record.id in self._running:
            self._signal(batch, signal.SIGINT)
            if not self._settings.farm:  # where others end what they have in hand
                loop = asyncio.get_running_loop()
                loop.call_later(_GRACE_S, self._signal, batch, signal.SIGKILL)
        else:
            self._end(batch, "cancelled")
        await self._tell()

    async def wait_change(self, batch: Batch, seen: tuple[int, str]) -> None:
        """Return when a batch has more rows or another state, or after a while."""

        def changed() -> bool:
            return (len(batch.rows), batch.state) != seen

        async with self._changed:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_BEAT_S):
                    await self._changed.wait_for(changed)

    def take_folder(self, project: str, sequence: str) -> Path:
        """Return where the takes of a sequence lie."""
        return self._settings.out / project / sequence

    def _know_key(self, record: Record) -> None:
        if record.key is not None:
            self._by_key[record.project, record.key] = (record.id, record.body)

    def _take_up(self, batch: Batch) -> None:
        self._active[batch.record.project, batch.record.id] = batch
        self._queue.put_nowait(batch)

    async def _run_all(self) -> None:
        while True:
            batch = await self._queue.get()
            if batch.state == "cancelling":
                self._end(batch, "cancelled")
            if not batch.has_ended:
                await self._run_out(batch)

    async def _run_out(self, batch: Batch) -> None:
        """Run a batch to its end, again where its process dies."""
        batch.state = "running"
        self._running.add(batch.record.id)
        await self._tell()
        try:
            for _ in range(_MOST_RUNS):
                end = await self._run_once(batch)
                # Somebody may have cancelled it meanwhile.
                if batch.state == "cancelling" and end != ("done", None):
                    end = ("cancelled", None)
                if end is not None:
                    break
            else:
                end = ("failed", f"its process died {_MOST_RUNS} times")
            self._end(batch, *end)
            await self._tell()
        finally:
            self._running.discard(batch.record.id)

    async def _run_once(self, batch: Batch) -> tuple[str, str | None] | None:
        """Return how a run ended, or None where its process died."""
        record = batch.record
        request = {
            "job": str(batch.folder / "job.json"),
            "out": str(self._settings.out / record.project),
            "root": record.root,
            "file_bytes": record.file_bytes,
            "samples": record.samples,
            "workers": self._settings.batch_workers,
            "project": record.project,
            "farm": self._settings.farm,
        }
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            _RUN,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=_LONGEST_LINE,
            start_new_session=True,
            preexec_fn=hold_signals,
        )
        self._processes[record.id] = process
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            process.stdin.write(json.dumps(request).encode() + b"\n")
            return await self._listen(batch, process.stdout)
        finally:
            await _finish(process)
            del self._processes[record.id]

    async def _listen(
        self, batch: Batch, lines: asyncio.StreamReader
    ) -> tuple[str, str | None] | None:
        async for line in lines:
            message: dict[str, Any] = json.loads(line)
            if "end" in message:
                return message["end"]["state"], message["end"]["detail"]
            if batch.add(message["row"]):
                await self._tell()
        return None

    def _end(self, batch: Batch, state: str, detail: str | None = None) -> None:
        self._active.pop((batch.record.project, batch.record.id), None)
        try:
            batch.end(state, detail)
        except OSError:
            _log.exception("the end of batch %s is not on disk", batch.record.id)

    async def _tell(self) -> None:
        async with self._changed:
            self._changed.notify_all()

    def _signal(self, batch: Batch, number: signal.Signals) -> None:
        process = self._processes.get(batch.record.id)
        if process is not None:
            _signal_process(process, number)


def _signal_process(
    process: asyncio.subprocess.Process, number: signal.Signals
) -> None:
    """Signal the process of a run; a kill takes its own processes with it."""
    with contextlib.suppress(ProcessLookupError):
        if number == signal.SIGKILL:
            os.killpg(process.pid, number)
        else:
            process.send_signal(number)


async def _finish(process: asyncio.subprocess.Process) -> None:
    """See a process out: in order if it ends by itself, by a kill if not."""
    assert process.stdin is not None
    process.stdin.close()
    try:
        async with asyncio.timeout(_GRACE_S):
            await process.wait()
    except TimeoutError:
        _signal_process(process, signal.SIGKILL)
        await process.wait()


async def events(batches: Batches, batch: Batch, after: int) -> AsyncIterator[bytes]:
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
        if (len(batch.rows), batch.state) == (seen, state):
            yield b": still here\n\n"


def _event(name: str, value: dict[str, Any], number: int | None = None) -> bytes:
    line = "" if number is None else f"id: {number}\n"
    return f"{line}event: {name}\ndata: {json.dumps(value)}\n\n".encode()
