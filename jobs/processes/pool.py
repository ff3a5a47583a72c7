"""Runs a function over shots: here, or in a pool of processes.

Workers are started afresh rather than forked from this process, ignore the
keyboard's interrupt (the parent decides), and end when the parent is killed.
"""

import gc
import multiprocessing
import os
import pickle
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent import futures
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import forkserver
from multiprocessing.connection import wait
from multiprocessing.context import ForkServerContext
from pathlib import Path
from typing import Any, Protocol, TypeVar

from .garbage import SELDOM
from .threads import use_one_thread

S = TypeVar("S")
T = TypeVar("T")

_ROUNDS = 4  # parts that each process still gets of what is left
_IN_HAND = 4  # parts given to each process at a time; those are lost with one


class Run(Protocol):
    """Calls `function(work, shot)` for every shot and yields results as they come.

    A shot, or whatever stands for one, that takes its process with it yields
    `lost(work, shot)`; those that the others had in hand are done again. What takes a
    process little longer than being told of it is handed over some at once, fewer
    towards the end, so that no process waits long for the others.
    """

    def __call__(
        self,
        function: Callable[[Any, S], T],
        shots: Sequence[S],
        *,
        lost: Callable[[Any, S], T],
        at_once: int = 1,
    ) -> Iterator[T]:
        """Yield a result for each shot, in any order; at most `at_once` go together."""


@contextmanager
def runner(
    work: object, n_workers: int, *, preload: Sequence[str] = ()
) -> Iterator[Run]:
    """Give what runs functions over shots.

    Leaving the context waits for the shots in hand and drops those not begun.

    Args:
        work: first argument of every call. It is written once, to a file that each
            process reads; sent to one process after the other, a large one would keep
            the later ones waiting.
        n_workers: processes; up to 1 runs in this one.
        preload: modules that are imported once, in the process that all workers are
            forked from.
    """
    if n_workers <= 1:

        def run_here(
            function: Callable[[Any, S], T],
            shots: Sequence[S],
            *,
            lost: Callable[[Any, S], T],
            at_once: int = 1,
        ) -> Iterator[T]:
            for shot in shots:
                yield function(work, shot)

        yield run_here
        return

    context = _server(preload)
    with _written(work) as file:

        def start(count: int) -> ProcessPoolExecutor:
            return ProcessPoolExecutor(
                count, mp_context=context, initializer=_start, initargs=(file,)
            )

        pool = _Pool(start, work, n_workers)
        try:
            with _collecting_rarely():
                yield pool.run
        finally:
            pool.close()


def start_early(preload: Sequence[str]) -> None:
    """Start the process that workers are forked from, for a `runner` that comes soon.

    It imports while this process goes on with other work. A later call does nothing.

    Args:
        preload: as `runner` will be given.
    """
    _server(preload)
    forkserver.ensure_running()


def _server(preload: Sequence[str]) -> ForkServerContext:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([*preload, *_used_by_main()])
    return context


def _used_by_main() -> list[str]:
    """Return the modules that the main one takes things from.

    Each worker runs the main module again, under another name, and finds them loaded.
    """
    used = vars(sys.modules["__main__"]).values()
    names = {getattr(one, "__module__", getattr(one, "__name__", None)) for one in used}
    return sorted({str(name) for name in names} & sys.modules.keys() - {"__main__"})


@contextmanager
def _written(work: object) -> Iterator[str]:
    """Write what every call needs to a file of its own; give its path."""
    with tempfile.NamedTemporaryFile(prefix="carrellata-work-") as file:
        pickle.dump(work, file, pickle.HIGHEST_PROTOCOL)
        file.flush()
        yield file.name


class _Pool:
    """Processes that are started afresh where one of them is killed."""

    def __init__(
        self, start: Callable[[int], ProcessPoolExecutor], work: object, n_workers: int
    ) -> None:
        self._start = start
        self._work = work
        self._n_workers = n_workers
        self._executor = start(n_workers)

    def close(self) -> None:
        """Wait for the shots in hand and drop those not begun."""
        self._executor.shutdown(wait=True, cancel_futures=True)

    def run(
        self,
        function: Callable[[Any, S], T],
        shots: Sequence[S],
        *,
        lost: Callable[[Any, S], T],
        at_once: int = 1,
    ) -> Iterator[T]:
        """Yield a result for each shot; see `Run`."""
        parts = _parted(shots, at_once, self._n_workers)
        in_hand: dict[Future[list[T]], list[S]] = {}
        more = True
        while more or in_hand:
            suspects: list[S] = []
            while more and len(in_hand) < _IN_HAND * self._n_workers:
                some = next(parts, None)
                if some is None:
                    more = False
                    break
                try:
                    in_hand[self._executor.submit(_call_each, function, some)] = some
                except BrokenProcessPool:  # by a shot before
                    suspects += some
                    break
            done, _ = futures.wait(in_hand, return_when=futures.FIRST_COMPLETED)
            for future in done:
                some = in_hand.pop(future)
                try:
                    results = future.result()
                except BrokenProcessPool:
                    suspects += some
                else:
                    yield from results
            if suspects:
                # One of those in hand took its process with it, and the pool breaks.
                for future, some in in_hand.items():
                    try:
                        results = future.result()
                    except BrokenProcessPool:
                        suspects += some
                    else:
                        yield from results
                in_hand.clear()
                self.close()
                for shot in suspects:
                    yield self._alone(function, shot, lost)
                self._executor = self._start(self._n_workers)

    def _alone(
        self, function: Callable[[Any, S], T], shot: S, lost: Callable[[Any, S], T]
    ) -> T:
        """Return the result of a shot that harms no other where it is killed."""
        with self._start(1) as executor:
            try:
                return executor.submit(_call_each, function, [shot]).result()[0]
            except BrokenProcessPool:
                return lost(self._work, shot)


@contextmanager
def _collecting_rarely() -> Iterator[None]:
    """Look for cycles seldom, while results come in that have none and are all held.

    Every look goes through all that is held, which was four fifths of reading it.
    """
    before = gc.get_threshold()
    gc.set_threshold(*SELDOM)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def n_processors() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0))


_held: list[object] = []  # what this worker process was started with


def _start(file: str) -> None:
    """Make this process a worker, given where what every call needs was written."""
    use_one_thread()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _held.append(pickle.loads(Path(file).read_bytes()))
    gc.freeze()  # what is loaded stays, and need not be looked through again
    threading.Thread(target=_end_with_parent, args=(file,), daemon=True).start()


def _parted(shots: Sequence[S], at_once: int, n_workers: int) -> Iterator[list[S]]:
    """Yield the shots in their order, some at once, at the end one by one."""
    start = 0
    while start < len(shots):
        left = len(shots) - start
        count = max(1, min(at_once, left // (_ROUNDS * n_workers)))
        yield list(shots[start : start + count])
        start += count


def _call_each(function: Callable[[Any, S], T], shots: Sequence[S]) -> list[T]:
    return [function(_held[0], shot) for shot in shots]


def _end_with_parent(file: str) -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    wait([parent.sentinel])
    Path(file).unlink(missing_ok=True)  # who was killed could not
    os._exit(1)
