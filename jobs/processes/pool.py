"""Runs a function over shots: here, or in a pool of processes.

Workers are started afresh rather than forked from this process, ignore the
keyboard's interrupt (the parent decides), and end when the parent is killed.
"""

import gc
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.connection import wait
from typing import Any, Protocol, TypeVar

from .garbage import SELDOM
from .threads import use_one_thread

S = TypeVar("S")
T = TypeVar("T")

_ROUNDS = 4  # parts that each process still gets of what is left


class Run(Protocol):
    """Calls `function(work, shot)` for every shot and yields results as they come.

    A shot, or whatever stands for one, that was lost with its process yields
    `lost(work, shot)`. What takes a process little longer than being told of it is
    handed over some at once, fewer towards the end, so that no process waits long for
    the others.
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
        work: first argument of every call; sent once to each process.
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

    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(preload))
    executor = ProcessPoolExecutor(
        n_workers, mp_context=context, initializer=_start, initargs=(work,)
    )

    def run_in_pool(
        function: Callable[[Any, S], T],
        shots: Sequence[S],
        *,
        lost: Callable[[Any, S], T],
        at_once: int = 1,
    ) -> Iterator[T]:
        shots_of, unsent = {}, []
        for some in _parted(shots, at_once, n_workers):
            try:
                shots_of[executor.submit(_call_each, function, some)] = some
            except BrokenProcessPool:  # by a shot before
                unsent += some
        for future in as_completed(shots_of):
            results: list[T]
            try:
                results = future.result()
            except BrokenProcessPool:
                results = [lost(work, shot) for shot in shots_of[future]]
            yield from results
        for shot in unsent:
            yield lost(work, shot)

    try:
        with _collecting_rarely():
            yield run_in_pool
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


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


def _start(work: object) -> None:
    """Make this process a worker."""
    use_one_thread()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _held.append(work)
    gc.freeze()  # what is loaded stays, and need not be looked through again
    threading.Thread(target=_end_with_parent, daemon=True).start()


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


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    wait([parent.sentinel])
    os._exit(1)
