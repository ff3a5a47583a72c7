"""Medians of runs taken in turns."""

import gc
import statistics
import time
from collections.abc import Callable, Mapping

import numpy as np


def paired(
    runs: Mapping[str, Callable[[], object]],
    repeats: int,
    *,
    warm: bool = True,
    clock: Callable[[], float] = time.perf_counter,
) -> dict[str, list[float]]:
    """Return the times [s] of several runs, each repeated, in turns.

    Args:
        runs: by name; every round runs each of them once.
        repeats: rounds that count.
        warm: whether a round that does not count comes first.
        clock: what is read, of wall time unless told otherwise.
    """
    times: dict[str, list[float]] = {name: [] for name in runs}
    for k in range(repeats + warm):
        for name, run in runs.items():
            gc.collect()
            start = clock()
            run()
            taken = clock() - start
            if k >= warm:
                times[name].append(taken)
    return times


def medians(times: Mapping[str, list[float]]) -> dict[str, float]:
    """Return the median of each run's times [s]."""
    return {name: statistics.median(each) for name, each in times.items()}


def ratio(times: Mapping[str, list[float]], one: str, other: str) -> float:
    """Return the median of `one` over `other`, round by round."""
    pairs = zip(times[one], times[other], strict=True)
    return statistics.median(a / b for a, b in pairs)


def exponent(sizes: list[float], times: list[float]) -> float:
    """Return the slope of log time over log size by least squares."""
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])
