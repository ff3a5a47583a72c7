"""A cut that was given is judged as a chosen one, and cut anew only where it may be."""

from functools import cache
from itertools import product

import numpy as np
import pytest
from covered import five_cameras

from carrellata.solver.coverage.cut import ChosenCut, CutAsk, choose_cut
from carrellata.solver.coverage.given import GivenPicture, judge_cut
from carrellata.solver.coverage.lengths import MUST, Lengths
from carrellata.solver.coverage.pictures import Pictures, pictures_of

SECONDS = 12.0
N = round(SECONDS * 24)


@cache
def pictures() -> tuple[Pictures, ...]:
    takes = five_cameras(SECONDS)
    return tuple(pictures_of(take, name) for name, take in takes.items())


def chosen(ask: CutAsk) -> ChosenCut:
    found = choose_cut(pictures(), ask)
    assert isinstance(found, ChosenCut)
    return found


def given_of(cut: ChosenCut) -> list[GivenPicture]:
    return [GivenPicture(camera=one.camera, first=one.first) for one in cut.pictures]


def spans(cut: ChosenCut) -> list[tuple[str, int, int]]:
    return [(one.camera, one.first, one.last) for one in cut.pictures]


def test_chosen_cut_that_is_given_costs_what_it_did() -> None:
    best = chosen(CutAsk())
    judged = judge_cut(pictures(), CutAsk(), given_of(best))
    assert spans(judged) == spans(best)
    assert judged.points == best.points == judged.best_points
    assert [one.parts for one in judged.pictures] == [
        one.parts for one in best.pictures
    ]
    assert [one.cut for one in judged.pictures] == [one.cut for one in best.pictures]
    others = [
        other
        for one in judged.pictures
        for other in (one.other_time, one.other_camera)
        if other is not None
    ]
    assert others
    assert min(one.more for one in others) >= 0


def test_given_cut_is_the_sum_of_its_parts_and_says_what_betters_it() -> None:
    late = [
        GivenPicture("master", 0),
        GivenPicture("single_a", 60),
        GivenPicture("single_b", 200),
    ]
    judged = judge_cut(pictures(), CutAsk(), late)
    assert spans(judged) == [
        ("master", 0, 59),
        ("single_a", 60, 199),
        ("single_b", 200, N - 1),
    ]
    parts = [sum(one.parts.values()) + sum(one.cut.values()) for one in judged.pictures]
    broken = sum(len(one.broken) for one in judged.pictures)
    # Every part of every frame is rounded to a micro-point.
    assert judged.points == pytest.approx(sum(parts) + MUST * broken, abs=5e-6 * N)
    assert judged.best_points is not None
    assert judged.best_points < judged.points
    third = judged.pictures[2].other_time
    assert third is not None
    moved = judge_cut(
        pictures(), CutAsk(), [*late[:2], GivenPicture("single_b", third.frame)]
    )
    assert moved.points - judged.points == pytest.approx(third.more)
    second = judged.pictures[1].other_camera
    assert second is not None
    swapped = [late[0], GivenPicture(second.camera, 60), late[2]]
    other = judge_cut(pictures(), CutAsk(), swapped)
    assert other.points - judged.points == pytest.approx(second.more)


def test_rules_that_a_given_cut_breaks_are_told() -> None:
    ask = CutAsk(first="master", last="over_a", lengths=Lengths(longest_s=6.0))
    given = [
        GivenPicture("single_a", 0),
        GivenPicture("single_b", 12),
        GivenPicture("master", 36),
    ]
    judged = judge_cut(pictures(), ask, given)
    assert judged.pictures[0].broken == ("first", "shortest")
    assert judged.pictures[2].broken[:2] == ("last", "longest")
    assert judged.points > 4 * MUST


@pytest.mark.parametrize("seed", range(2))
def test_it_is_cut_anew_exactly_where_it_may_be_and_nowhere_else(seed: int) -> None:
    rng = np.random.default_rng(seed)
    names = [one.name for one in pictures()]
    cameras = [names[k] for k in _differing(rng, 5)]
    starts = [0, *(48 * k + int(rng.integers(0, 30)) for k in range(1, 5))]
    given = [GivenPicture(*one) for one in zip(cameras, starts, strict=True)]
    before, after = starts[2], starts[3]
    free = before - 2, before + 2
    ask = CutAsk(lengths=Lengths(shortest_s=0.12))
    judged = judge_cut(pictures(), ask, given, [free])
    # Every cut that keeps the rest has at most one picture of its own in so few frames.
    tried = []
    for a, b in product(range(free[0], free[1] + 2), repeat=2):
        for own in names if b > a else names[:1]:
            ways = [
                given[0],
                given[1],
                GivenPicture(own, a),
                GivenPicture(cameras[2], b),
            ]
            if b <= a:
                ways = [given[0], given[1], GivenPicture(cameras[2], a)]
            tried.append(_merged([*ways, *given[3:]]))
    costs = [judge_cut(pictures(), ask, one).points for one in set(tried)]
    assert judged.points == pytest.approx(min(costs), abs=1e-9)
    kept = [one for one in spans(judged) if one[2] < free[0] or one[1] > free[1]]
    assert (cameras[3], after, starts[4] - 1) in kept
    assert (cameras[0], 0, starts[1] - 1) in kept


def _differing(rng: np.random.Generator, count: int) -> list[int]:
    """Return cameras drawn at random, none twice in a row."""
    found = [int(rng.integers(0, 5))]
    while len(found) < count:
        found.append((found[-1] + int(rng.integers(1, 5))) % 5)
    return found


def _merged(given: list[GivenPicture]) -> tuple[GivenPicture, ...]:
    """Return a cut without pictures that go on with the camera before."""
    found: list[GivenPicture] = []
    for one in given:
        if not found or found[-1].camera != one.camera:
            found.append(one)
    return tuple(found)
