"""Processes that solve while somebody waits.

Each slot is one process and one pipe. The slot that was free last is used first, so
that one artist's requests meet the process that still holds their subjects. A process
that takes too long is ended, one that died is replaced; neither touches the others.
"""

import asyncio
import logging
import multiprocessing
import signal
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from ...jobs.errors import CarrellataError
from ...jobs.processes.threads import use_one_thread

T = TypeVar("T")

_log = logging.getLogger(__name__)
_PRELOADED = [f"{__package__}.warmed"]
_END_S = 2.0  # for a process to end when it is told to


class PoolFullError(CarrellataError):
    """More calls wait than may."""


class TooLongError(CarrellataError):
    """A call was ended because it took too long."""


class LostError(CarrellataError):
    """The process of a call died under it."""


class CrashError(CarrellataError):
    """A call raised what it should not; its trace is in the log."""


class SolverPool:
    """Processes with compiled kernels, and a queue before them."""

    def __init__(self, *, processes: int, limit_s: float, queue: int) -> None:
        """Prepare; `start` makes the processes.

        Args:
            processes: how many, from 1 up.
            limit_s: longest time for one call.
            queue: calls that may wait for a process.
        """
        self.processes = processes
        self.limit_s = limit_s
        self.queue = queue
        self.waiting = 0
        self.busy = 0
        self.lost = 0
        self.ready = False
        self._threads = ThreadPoolExecutor(processes, thread_name_prefix="slot")
        self._slots = [_Slot() for _ in range(processes)]
        self._free: asyncio.LifoQueue[_Slot] = asyncio.LifoQueue()

    async def start(self) -> None:
        """Start the processes and wait until they are warm."""
        loop = asyncio.get_running_loop()
        first, *others = self._slots
        # What the first compiles the others find.
        await loop.run_in_executor(self._threads, first.start)
        starts = [loop.run_in_executor(self._threads, slot.start) for slot in others]
        await asyncio.gather(*starts)
        for slot in self._slots:
            self._free.put_nowait(slot)
        self.ready = True

    async def call(self, function: Callable[..., T], *arguments: Any) -> T:
        """Return what a function of a module returns, called in one of the processes.

        Raises:
            PoolFullError: too many calls wait.
            TooLongError: it took longer than allowed.
            LostError: its process died.
            CrashError: it raised.
        """
        if self.waiting >= self.queue:
            message = "too many requests wait to be solved"
            raise PoolFullError(message)
        self.waiting += 1
        try:
            slot = await self._free.get()
        finally:
            self.waiting -= 1
        self.busy += 1
        loop = asyncio.get_running_loop()
        called = loop.run_in_executor(
            self._threads, slot.call, function, arguments, self.limit_s
        )
        # Nobody may wait any more, yet the slot is free only when the call is over.
        called.add_done_callback(lambda done: self._release(slot, done))
        try:
            result: T = await asyncio.shield(called)
        except LostError:
            self.lost += 1
            raise
        return result

    def stop(self) -> None:
        """End the processes, whatever they do."""
        self.ready = False
        for slot in self._slots:
            slot.end()
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _release(self, slot: "_Slot", done: asyncio.Future[Any]) -> None:
        if not done.cancelled():
            done.exception()  # seen, whether or not anybody waits
        self.busy -= 1
        self._free.put_nowait(slot)


class _Slot:
    """One process and the pipe to it; used by one thread at a time."""

    def __init__(self) -> None:
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection[Any, Any] | None = None
        self._ended = False

    def start(self) -> None:
        """Start the process and wait until it is warm."""
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(_PRELOADED)
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs,), daemon=True)
        process.start()
        theirs.close()
        self._process, self._pipe = process, ours
        ours.recv()

    def call(
        self, function: Callable[..., Any], arguments: tuple[Any, ...], limit_s: float
    ) -> Any:
        """Return what the function returns in the process."""
        pipe = self._pipe
        assert pipe is not None
        try:
            pipe.send((function, arguments))
            if not pipe.poll(limit_s):
                self._restart()
                message = f"takes longer than {limit_s:g} s"
                raise TooLongError(message)
            sound, value = pipe.recv()
        except (EOFError, OSError) as error:
            self._restart()
            message = "the process that solved it died"
            raise LostError(message) from error
        if not sound:
            message = "the service failed; its log says how"
            raise CrashError(message)
        return value

    def end(self) -> None:
        """End the process for good."""
        self._ended = True
        if self._process is not None:
            self._process.kill()
            self._process.join(_END_S)

    def _restart(self) -> None:
        assert self._process is not None
        assert self._pipe is not None
        self._process.kill()
        self._process.join(_END_S)
        self._pipe.close()
        if self._ended:
            return
        try:
            self.start()
        except (EOFError, OSError):
            _log.exception("a process could not be started; the next call tries again")


def _serve(pipe: "Connection[Any, Any]") -> None:
    """Answer calls until the service ends."""
    use_one_thread()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    from . import warmed  # noqa: F401 - where the fork did not bring it

    pipe.send(True)
    while True:
        try:
            function, arguments = pipe.recv()
        except EOFError:
            return
        try:
            answer = True, function(*arguments)
        except Exception:
            _log.exception("a call of %s failed", function.__name__)
            answer = False, None
        pipe.send(answer)
