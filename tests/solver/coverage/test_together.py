"""Setups chosen together cost the least of all choices."""

from itertools import combinations, product

import numpy as np
import pytest

from carrellata.solver.coverage.cutting import NEVER
from carrellata.solver.coverage.together import (
    choose_together,
    divisions,
    fewest_runs,
)


@pytest.mark.parametrize("seed", range(12))
def test_choice_costs_the_least_of_all_choices_and_is_the_first_of_them(
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 6, 4)
    own = [rng.integers(0, 12, m) for m in counts]
    pairs = {
        (j, k): np.where(
            rng.random((counts[j], counts[k])) < 0.45,
            NEVER,
            rng.integers(-3, 4, (counts[j], counts[k])),
        )
        for j, k in combinations(range(4), 2)
    }
    every = []
    for choice in product(*map(range, counts)):
        costs = [int(one[a]) for one, a in zip(own, choice, strict=True)]
        costs += [int(pairs[j, k][choice[j], choice[k]]) for j, k in pairs]
        if max(costs) < NEVER:
            every.append((sum(costs), choice))
    found = choose_together(own, pairs)
    if not every:
        assert found is None
        return
    assert found is not None
    assert (found.total, found.chosen) == min(every)


def test_some_choices_are_there_and_some_are_not() -> None:
    own = [np.array([1, 2]), np.array([5, 0])]
    forbidden = {(0, 1): np.array([[0, NEVER], [NEVER, NEVER]])}
    found = choose_together(own, forbidden)
    assert found is not None
    assert found == ((0, 0), 6)
    assert choose_together(own, {(0, 1): np.full((2, 2), NEVER)}) is None


def test_fewest_runs_hold_all_cameras_and_no_clash() -> None:
    assert len(list(divisions(5))) == 52  # Bell's number
    pairs = list(combinations(range(5), 2))
    clash = {pair: pair in {(0, 1), (0, 2), (1, 2), (3, 4)} for pair in pairs}
    runs = fewest_runs(clash, 5)
    assert sorted(k for run in runs for k in run) == [0, 1, 2, 3, 4]
    assert len(runs) == 3
    assert not any(clash[pair] for run in runs for pair in combinations(run, 2))
    assert fewest_runs(dict.fromkeys(pairs, False), 5) == ((0, 1, 2, 3, 4),)
