"""One setup for each camera of an action, chosen together, exactly.

What a choice costs is the sum of what each setup costs by itself and what each pair of
setups costs. Branch and bound over the cameras in their order: what is left to choose
costs at least the least that each camera adds to those chosen, and the least that each
pair of those left adds. Among equals the choice wins whose setups come first, the first
camera before the second.

Where not all cameras can roll at once they are divided into the fewest runs of the
action, every way of dividing them looked at.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from ..arrays import IntArray
from ..compiled.kernel import kernel
from .cutting import NEVER

Pairs = Mapping[tuple[int, int], IntArray]
"""What each pair of setups of two cameras costs, (m, m') for cameras j < k."""


class Together(NamedTuple):
    """A choice for some cameras.

    Attributes:
        chosen: index of the setup of each camera.
        total: what they cost [micro-points].
    """

    chosen: tuple[int, ...]
    total: int


def choose_together(own: Sequence[IntArray], pairs: Pairs) -> Together | None:
    """Return the setups that cost least; None where every choice is forbidden.

    Args:
        own: what each setup of each camera costs, (m,) each, at least one.
        pairs: what pairs cost; `NEVER` forbids one.
    """
    c, m = len(own), max(map(len, own))
    alone = np.full((c, m), NEVER)
    both = np.zeros((c, c, m, m), dtype=np.int64)
    for k, costs in enumerate(own):
        alone[k, : len(costs)] = costs
    for (j, k), costs in pairs.items():
        rows, columns = costs.shape
        both[j, k, :rows, :columns] = costs
    least = np.zeros((c, c), dtype=np.int64)
    for j, k in combinations(range(c), 2):
        least[j, k] = pairs[j, k].min() if (j, k) in pairs else 0
    left = np.array([least[k:, k:].sum() for k in range(c + 1)])
    chosen = np.full(c, -1, dtype=np.int64)
    total = int(branch(alone, both, left, chosen))
    if total >= NEVER:
        return None
    return Together(tuple(chosen.tolist()), total)


@kernel
def branch(alone, both, left, chosen):
    """Fill the setups that cost least, and return what they cost; `NEVER` for none.

    Args:
        alone: what each setup costs, (c, m); `NEVER` where there is none.
        both: what pairs cost, (c, c, m, m), the first camera before the second.
        left: the least that the pairs among the cameras from k on cost, (c + 1,).
        chosen: filled, (c,).
    """
    never = np.int64(1) << 60
    c, m = alone.shape
    # What each setup costs with those chosen so far, by how many are.
    added = np.empty((c + 1, c, m), dtype=np.int64)
    added[0] = alone
    spent = np.zeros(c + 1, dtype=np.int64)
    at = np.full(c, np.int64(-1))
    best = never
    k = 0
    while k >= 0:
        at[k] += 1
        if at[k] == m:
            at[k] = -1
            k -= 1
            continue
        cost = added[k, k, at[k]]
        if cost >= never:
            continue
        spent[k + 1] = spent[k] + cost
        bound = spent[k + 1] + left[k + 1]
        for j in range(k + 1, c):
            least = never
            for a in range(m):
                cost = added[k, j, a]
                if cost < never:
                    cost = min(cost + both[k, j, at[k], a], never)
                added[k + 1, j, a] = cost
                least = min(least, cost)
            bound = never if least >= never else bound + least
            if bound >= never:
                break
        if bound >= best:
            continue
        if k == c - 1:
            best = spent[c]
            chosen[:] = at
        else:
            k += 1
    return best


def fewest_runs(
    clash: Mapping[tuple[int, int], bool], n_cameras: int
) -> tuple[tuple[int, ...], ...]:
    """Return cameras divided into the fewest runs in which no two clash.

    Args:
        clash: of each pair j < k, whether the two cannot roll at once.
        n_cameras: at most 8 or so: all divisions are looked at.

    Returns:
        The cameras of each run; of several divisions the one whose first runs have
        more cameras, then earlier ones.
    """
    best: tuple[tuple[int, ...], ...] | None = None
    for runs in divisions(n_cameras):
        if best is not None and len(runs) > len(best):
            continue
        if any(clash[pair] for run in runs for pair in combinations(run, 2)):
            continue
        if best is None or _rank(runs) < _rank(best):
            best = runs
    assert best is not None
    return best


def _rank(runs: tuple[tuple[int, ...], ...]) -> tuple[object, ...]:
    return len(runs), [-len(run) for run in runs], runs


def divisions(n: int) -> Iterator[tuple[tuple[int, ...], ...]]:
    """Yield every way to divide the numbers below n into groups."""
    if n == 0:
        yield ()
        return
    for runs in divisions(n - 1):
        for k, run in enumerate(runs):
            yield (*runs[:k], (*run, n - 1), *runs[k + 1 :])
        yield (*runs, (n - 1,))
