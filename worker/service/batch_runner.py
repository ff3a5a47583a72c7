"""Runs batches, here one after the other, and tells everybody who listens.

A batch is the record that the run itself works from (`jobs/run/spool.py`): below the
service's own folder on a single machine, in the farm's spool before a farm. The service
adds which shots were told, so that events keep their numbers, and which
Idempotency-Keys were used:

    STATE/told/<batch>        places of shots, in the order in which they were told
    STATE/keys/<digest>       a key of a project: its batch, digest of the body
"""

import asyncio
import contextlib
import hashlib
import json
import logging
import time
from collections import OrderedDict
from collections.abc import Coroutine
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...jobs.errors import CarrellataError, InputError, ServiceError
from ...jobs.places.atomic import write_whole
from ...jobs.run.record import About
from ...jobs.run.spool import Spool
from .batch_process import End, RunProcess
from .batch_view import BatchState
from .recording import Desk
from .settings import ServiceSettings

if TYPE_CHECKING:
    from .farm_runs import FarmRuns

_log = logging.getLogger(__name__)

_MOST_RUNS = 3  # of a batch whose process dies
_BEAT_S = 10.0
_LOOK_S = 0.25  # between looks at a batch on a farm
_AWAY_S = 1.0  # between tries while the farm is not reachable
_PRUNE_S = 6 * 3600.0
_HELD, _HELD_ROWS = 8, 10_000  # ended batches that are kept read, and their rows


class KeyUsedError(CarrellataError):
    """An Idempotency-Key came again with another body."""


class Batches:
    """The batches of a service."""

    def __init__(self, settings: ServiceSettings) -> None:
        """Keep where things are; `start` reads what is there."""
        self._settings = settings
        self._farm: FarmRuns | None = None
        self.spool = Spool(folder=settings.state / "batches")
        if settings.farm:
            from . import farm_runs

            self._farm = farm_runs.FarmRuns()
            self.spool = self._farm.farm.spool
        hidden = {settings.out, settings.state, settings.root, self.spool.folder}
        self._hidden = tuple(sorted(map(str, hidden - {None}), key=len, reverse=True))
        self._active: dict[tuple[str, str], BatchState] = {}
        self._ended: OrderedDict[tuple[str, str], BatchState] = OrderedDict()
        self._queue: asyncio.Queue[BatchState] = asyncio.Queue()
        self._changed = asyncio.Condition()
        self.leaving = False  # whoever listens for progress is told no more
        self._runners: set[asyncio.Task[None]] = set()
        self._processes: dict[str, RunProcess] = {}
        self._running: set[str] = set()

    def start(self) -> None:
        """Take up what a service before this one left, and begin to run."""
        found = [self.spool.about(name) for name in self.spool.open_batches()]
        left = [one for one in found if one is not None and one.project]
        if self._farm is None:  # a machine does one at a time; a farm shares itself
            self._spawn(self._run_all())
        for about in sorted(left, key=lambda one: one.submitted_s):
            batch = self._view(about)
            batch.read(self.spool, everything=False)
            self._take_up(batch)
        self._spawn(self._prune_daily())

    async def stop(self) -> None:
        """End the runs in hand; they go on when a service starts again."""
        for runner in self._runners:
            runner.cancel()
        await asyncio.gather(*self._runners, return_exceptions=True)

    async def take_up(self, about: About) -> BatchState:
        """Queue a batch whose record has been written."""
        batch = self._view(about)
        self._take_up(batch)
        return batch

    def use_key(self, project: str, key: str | None, batch: str, body: str) -> None:
        """Note that a key leads to a batch, before the batch is there.

        Raises:
            OSError: it could not be written.
        """
        if key is not None:
            data = json.dumps({"batch": batch, "body": body}).encode()
            write_whole(self._key(project, key), data)

    def earlier(self, project: str, key: str | None, body: bytes) -> BatchState | None:
        """Return the batch that was submitted with a key, or None.

        Raises:
            KeyUsedError: it was submitted with another body.
        """
        if key is None:
            return None
        try:
            used = json.loads(self._key(project, key).read_bytes())
        except (FileNotFoundError, ValueError):
            return None
        batch = self.find(project, used["batch"])
        if batch is not None and used["body"] != hashlib.sha256(body).hexdigest():
            message = "this Idempotency-Key was used with another body"
            raise KeyUsedError(message)
        return batch

    def find(self, project: str, name: str) -> BatchState | None:
        """Return a batch of a project, or None where it has none of this name."""
        active = self._active.get((project, name))
        if active is not None:
            return active
        place = project, name
        batch = self._ended.get(place)
        if batch is None:
            about = self.spool.about(name)
            end = None if about is None else self.spool.closed(name)
            if about is None or about.project != project or end is None:
                return None
            batch = self._view(about)
            batch.state, batch.detail = end["state"], end["error"] or None
            batch.read(self.spool, everything=True)
            self._hold_ended(place, batch)
        return batch

    def desk(self, project: str, key: str | None) -> Desk:
        """Return where a batch of a project is written down."""
        folder = Path("/") if self._farm is None else self._farm.farm.settings.roots[0]
        return Desk(
            spool=self.spool,
            out=str(self._settings.out / project),
            folder=folder,
            farm=self._farm is not None,
            key=key,
        )

    def n_active(self, project: str) -> int:
        """Return how many batches of a project wait or run."""
        return sum(owner == project for owner, _ in self._active)

    async def cancel(self, batch: BatchState) -> None:
        """Cancel a batch that has not ended.

        Raises:
            OSError: it could not be noted.
        """
        await asyncio.to_thread(self.spool.ask_cancel, batch.about.batch)
        batch.state = "cancelling"
        if self._farm is not None:
            pass  # whoever looks at it passes it on
        elif batch.about.batch in self._running:
            process = self._processes.get(batch.about.batch)
            if process is not None:
                process.stop()
        else:
            self._end(batch, "cancelled")
        await self._tell()

    async def wait_change(self, batch: BatchState, seen: tuple[int, str]) -> None:
        """Return when a batch has more rows or another state, or after a while."""

        def changed() -> bool:
            return self.leaving or (len(batch.rows), batch.state) != seen

        async with self._changed:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(_BEAT_S):
                    await self._changed.wait_for(changed)

    async def leave(self) -> None:
        """Let all who listen for progress go: the service is about to stop."""
        self.leaving = True
        await self._tell()

    def take_folder(self, project: str, sequence: str) -> Path:
        """Return where the takes of a sequence lie."""
        return self._settings.out / project / sequence

    def _key(self, project: str, key: str) -> Path:
        name = hashlib.sha256(f"{project}\0{key}".encode()).hexdigest()
        return self._settings.state / "keys" / name

    def _view(self, about: About) -> BatchState:
        told = self._settings.state / "told" / about.batch
        batch = BatchState(about=about, told=told, hidden=self._hidden)
        if self.spool.asked_cancel(about.batch):
            batch.state = "cancelling"
        return batch

    def _hold_ended(self, place: tuple[str, str], batch: BatchState) -> None:
        self._ended[place] = batch
        while len(self._ended) > 1 and (
            len(self._ended) > _HELD
            or sum(len(one.rows) for one in self._ended.values()) > _HELD_ROWS
        ):
            self._ended.popitem(last=False)

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(work)
        self._runners.add(task)
        task.add_done_callback(self._runners.discard)

    def _take_up(self, batch: BatchState) -> None:
        self._active[batch.about.project, batch.about.batch] = batch
        if self._farm is None:
            self._queue.put_nowait(batch)
        else:
            self._spawn(self._follow(batch, self._farm))

    async def _prune_daily(self) -> None:
        """Remove records of batches that are past their lifetime."""
        while True:
            before_s = time.time() - self._settings.keep_s
            if self._farm is None:  # a farm's sweeper sees to its own
                await asyncio.to_thread(self.spool.prune, before_s)
            for name in ("told", "keys"):
                folder = self._settings.state / name
                await asyncio.to_thread(_remove_older, folder, before_s)
            await asyncio.sleep(_PRUNE_S)

    async def _run_all(self) -> None:
        while True:
            batch = await self._queue.get()
            if batch.has_ended:
                continue
            if batch.state == "cancelling":
                self._end(batch, "cancelled")
            else:
                await self._run_out(batch)

    async def _run_out(self, batch: BatchState) -> None:
        """Run a batch to its end, again where its process dies."""
        batch.state = "running"
        self._running.add(batch.about.batch)
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
            self._running.discard(batch.about.batch)

    async def _run_once(self, batch: BatchState) -> End | None:
        """Return how a run ended, or None where its process died."""
        name = batch.about.batch
        request = {
            "spool": str(self.spool.folder),
            "batch": name,
            "workers": self._settings.batch_workers,
        }
        process = await RunProcess.start(request)
        self._processes[name] = process
        try:
            async for place in process.done():
                if batch.add(self.spool, [place]):
                    await self._tell()
        finally:
            await process.finish()
            del self._processes[name]
        return process.end

    async def _follow(self, batch: BatchState, farm: "FarmRuns") -> None:
        """Look at a batch on the farm until it has ended, and tell of its shots."""
        name = batch.about.batch
        while not batch.has_ended:
            stop = batch.state == "cancelling"
            try:
                now = await asyncio.to_thread(farm.look, name, batch.missing, stop=stop)
            except ServiceError as error:
                _log.warning("batch %s waits: %s", name, error)
                await asyncio.sleep(_AWAY_S)
                continue
            except InputError as error:
                self._end(batch, "failed", error.fault.message)
                break
            changed = await asyncio.to_thread(batch.add, self.spool, now.done)
            if now.closed:
                batch.state, batch.detail = now.state, now.error or None
                self._leave(batch)
            elif batch.state != "cancelling":
                changed = changed or batch.state != now.state
                batch.state = now.state
            if changed or now.closed:
                await self._tell()
            if not now.closed:
                await asyncio.sleep(_LOOK_S)
        await self._tell()

    def _end(self, batch: BatchState, state: str, detail: str | None = None) -> None:
        batch.state, batch.detail = state, detail
        self._leave(batch)
        end = {
            "state": state,
            "counts": batch.counts(),
            "finished_s": time.time(),
            "error": detail or "",
        }
        try:
            self.spool.close(batch.about.batch, end)
        except OSError:
            _log.exception("the end of batch %s is not on disk", batch.about.batch)

    def _leave(self, batch: BatchState) -> None:
        place = batch.about.project, batch.about.batch
        self._active.pop(place, None)
        self._hold_ended(place, batch)

    async def _tell(self) -> None:
        async with self._changed:
            self._changed.notify_all()


def _remove_older(folder: Path, before_s: float) -> None:
    """Remove files that were last written before a time [Unix s]."""
    for path in folder.iterdir() if folder.is_dir() else ():
        with contextlib.suppress(FileNotFoundError):
            if path.stat().st_mtime < before_s:
                path.unlink()
