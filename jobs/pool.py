"""Runs a function over shots: here, or in a pool of processes.

Workers are started afresh rather than forked from this process, ignore the
keyboard's interrupt (the parent decides), and end when the parent is killed.
"""

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

from .threads import use_one_thread

S = TypeVar("S")
T = TypeVar("T")

WARMED = f"{__package__}.warmed"
WARMED_TO_CHOOSE = f"{__package__}.warmed_to_choose"


class Run(Protocol):
    """Calls `function(work, shot)` for every shot and yields results as they come.

    A shot, or whatever stands for one, that was lost with its process yields
    `lost(work, shot)`.
    """

    def __call__(
        self,
        function: Callable[[Any, S], T],
        shots: Sequence[S],
        *,
        lost: Callable[[Any, S], T],
    ) -> Iterator[T]:
        """Yield a result for each shot, in any order."""


@contextmanager
def runner(
    work: object, n_workers: int, *, preload: Sequence[str] = (WARMED,)
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
    ) -> Iterator[T]:
        shot_of, unsent = {}, []
        for shot in shots:
            try:
                shot_of[executor.submit(_call, function, shot)] = shot
            except BrokenProcessPool:  # by a shot before
                unsent.append(shot)
        for future in as_completed(shot_of):
            try:
                result: T = future.result()
            except BrokenProcessPool:
                result = lost(work, shot_of[future])
            yield result
        for shot in unsent:
            yield lost(work, shot)

    try:
        yield run_in_pool
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


def n_processors() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0))


_held: list[object] = []  # what this worker process was started with


def _start(work: object) -> None:
    """Make this process a worker."""
    use_one_thread()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _held.append(work)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _call(function: Callable[[Any, S], T], shot: S) -> T:
    return function(_held[0], shot)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    wait([parent.sentinel])
    os._exit(1)
