"""Where the size is open, every size has its setups, for a third more work a size."""

from dataclasses import replace

import numpy as np
import pytest
from asks import FloatArray, open_ask, person
from shots import circle, framing, walk, zigzag

from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask, in_setup
from carrellata.solver.setups.sizes import candidates_of_sizes
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.take import operate

SECONDS = np.arange(97) / 24
PATHS = {"walk": walk(1.4), "circle": circle(radius=3.0, speed=2.0), "zigzag": zigzag()}
SIZES = ("cowboy", "medium")


def of_sizes(path: FloatArray) -> Ask:
    ask = open_ask(person(path), SIZES[0])
    return replace(ask, sizes=tuple((name, (framing(name),)) for name in SIZES))


@pytest.fixture(scope="module", params=PATHS)
def ask(request: pytest.FixtureRequest) -> Ask:
    return of_sizes(PATHS[request.param](SECONDS))


def test_two_sizes_take_at_most_a_third_more_trials(ask: Ask) -> None:
    stage = Rehearsal(ask.of_size(SIZES[0]))
    alone = candidates(stage.ask, stage)
    tried, n_trials = candidates_of_sizes(ask)
    assert n_trials <= stage.n_trials * 4 / 3 + 1
    first = [each.score for each in tried if each.setup.size == SIZES[0]]
    assert first == [each.score for each in alone]


def test_each_size_has_setups_that_are_judged_at_it(ask: Ask) -> None:
    tried, _ = candidates_of_sizes(ask)
    ranks = [each.rank for each in tried]
    assert ranks == sorted(ranks)
    for size in SIZES:
        best = next(each for each in tried if each.setup.size == size)
        shot = ask.of_size(size).shot
        take = operate(in_setup(shot, best.setup))
        span = shot.framings[0].top - shot.framings[0].bottom
        shown = np.nanmedian(take.size) / span
        assert shown == pytest.approx(np.nanmedian(best.trial.screen[:, 2]) / span)


@pytest.mark.parametrize("name", ["walk", "circle"])
def test_a_short_search_finds_setups_on_several_views(name: str) -> None:
    tried, _ = candidates_of_sizes(of_sizes(PATHS[name](SECONDS)))
    for size in SIZES:
        mine = [each for each in tried if each.setup.size == size and each.holds]
        assert len({each.setup.view for each in mine}) >= 3


def test_where_nothing_holds_at_the_first_size_the_next_is_searched_whole() -> None:
    # Two who stand apart do not fit into a close frame.
    stand = np.zeros((97, 3))
    pair = [
        person(stand),
        person(stand + np.array([3.0, 0.0, 0.0]), name="b", share=0.5, must_hold=True),
    ]
    ask = open_ask(pair, "close", kit=(35,))
    weights = tuple(one.share for one in pair)
    sizes = tuple((n, (framing(n, weights=weights),)) for n in ("close", "full"))
    tried, _ = candidates_of_sizes(replace(ask, sizes=sizes))
    holding = {each.setup.size for each in tried if each.holds}
    stage = Rehearsal(replace(ask, shot=replace(ask.shot, framings=sizes[1][1])))
    alone = candidates(stage.ask, stage)
    assert holding == {"full"}
    assert min(e.score for e in tried if e.holds) == alone[0].score
