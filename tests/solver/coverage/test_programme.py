"""The programme of the cut equals looking at every cut there is."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest

from carrellata.solver.coverage.cutting import NEVER
from carrellata.solver.coverage.lengths import LengthCosts
from carrellata.solver.coverage.programme import CutProblem, solve_cut

N, STEP, CAMERAS = 40, 4, 3


def random_problem(seed: int) -> CutProblem:
    """Return three cameras over 40 frames, cut in steps of 4; some cuts not made."""
    rng = np.random.default_rng(seed)
    cuts = rng.integers(-2, 9, (CAMERAS, CAMERAS, N))
    cuts[rng.random(cuts.shape) < 0.2] = NEVER
    cuts[range(CAMERAS), range(CAMERAS)] = NEVER
    points = rng.integers(0, 12, (2, N + 1))
    points[:, np.arange(N + 1) % STEP != 0] = NEVER
    points[:, [0, 32, 36, 40]] = NEVER
    row = rng.integers(0, 2, N + 1)
    lengths = LengthCosts(points=points, row=row, liked=np.ones(2))
    ends = np.where(rng.random((2, CAMERAS)) < 0.3, NEVER, 0)
    ends[:, 0] = 0
    return CutProblem(
        frames=rng.integers(0, 4, (CAMERAS, N)),
        cuts=cuts,
        lengths=lengths,
        first=ends[0],
        last=ends[1],
    )


def every_cut(problem: CutProblem) -> Iterator[tuple[tuple[int, ...], list[int], int]]:
    """Yield every cut that is allowed: starts, cameras and cost."""
    places = range(STEP, N, STEP)
    for count in range(len(places) + 1):
        for inner in combinations(places, count):
            starts = (0, *inner)
            stops = (*inner, N)
            costs = [
                problem.lengths.of(a, b) for a, b in zip(starts, stops, strict=True)
            ]
            if max(costs) >= NEVER:
                continue
            yield from _cast(problem, starts, stops, [], sum(costs))


def _cast(
    problem: CutProblem,
    starts: tuple[int, ...],
    stops: tuple[int, ...],
    cameras: list[int],
    cost: int,
) -> Iterator[tuple[tuple[int, ...], list[int], int]]:
    k = len(cameras)
    if k == len(starts):
        if problem.last[cameras[-1]] == 0:
            yield starts, cameras, cost
        return
    for j in range(CAMERAS):
        into = problem.cuts[cameras[-1], j, starts[k]] if k else problem.first[j]
        if into >= NEVER:
            continue
        more = int(into) + int(problem.frames[j, starts[k] : stops[k]].sum())
        yield from _cast(problem, starts, stops, [*cameras, j], cost + more)


@pytest.mark.parametrize("seed", range(6))
def test_best_cut_costs_the_least_of_all_cuts(seed: int) -> None:
    problem = random_problem(seed)
    least, through = NEVER, np.full((CAMERAS, CAMERAS, N), NEVER)
    known = set()
    for starts, cameras, cost in every_cut(problem):
        least = min(least, cost)
        known.add((starts, tuple(cameras), cost))
        for k in range(1, len(starts)):
            at = cameras[k - 1], cameras[k], starts[k]
            through[at] = min(through[at], cost)
    found = solve_cut(problem)
    assert found is not None
    assert found.total == least
    assert (found.starts, found.cameras, found.total) in known
    np.testing.assert_array_equal(found.through, through)


def test_nothing_allowed_is_no_cut() -> None:
    problem = random_problem(1)
    closed = CutProblem(
        frames=problem.frames,
        cuts=np.full_like(problem.cuts, NEVER),
        lengths=problem.lengths,
        first=problem.first,
        last=problem.last,
    )
    assert solve_cut(closed) is None
