"""What a bound says before the work is never undone by the work."""

from dataclasses import replace

import numpy as np
import pytest
from asks import FloatArray, open_ask, person
from shots import circle, walk, zigzag

from carrellata.solver.action.subject import Subject
from carrellata.solver.setups import search
from carrellata.solver.setups.proposal import Proposal, build
from carrellata.solver.setups.propose import propose_rails, propose_standing
from carrellata.solver.setups.score import Judged, judged, least_score
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.shake import LEVELS

SECONDS = np.arange(73) / 24
PATHS = {
    "walk": walk(1.4),
    "runner": walk(5.0, start=(-9.0, 0.0, 0.0)),
    "circle": circle(radius=3.0, speed=2.0),
    "zigzag": zigzag(),
}
NEARBY = np.array([1.2, 0.0, 0.4])


def cast(path: FloatArray, *, pair: bool) -> list[Subject]:
    alone = person(path)
    if not pair:
        return [alone]
    return [alone, person(path + NEARBY, name="b", share=0.5, must_hold=True)]


def all_worked(ask: Ask) -> list[Judged]:
    """Return every proposal, simulated and judged, with nothing left out."""
    stage = Rehearsal(ask)
    layouts = [
        *propose_standing(stage.known),
        *propose_rails(stage.known, ask.lenses),
    ]
    built = [build(layout, ask) for layout in layouts]
    return [judged(ask, stage.tried(setup)) for setup in built if setup is not None]


@pytest.mark.parametrize("pair", [False, True])
@pytest.mark.parametrize("shake", ["locked", "rough"])
@pytest.mark.parametrize("name", PATHS)
def test_what_is_ruled_out_does_break_as_much(
    name: str, shake: str, pair: bool
) -> None:
    ruled_out = broken = 0
    for size in ("cowboy", "chest"):
        ask = open_ask(cast(PATHS[name](SECONDS), pair=pair), size, kit=(27, 50, 100))
        shot = replace(ask.shot, shake=LEVELS[shake], roll_rad=0.1)
        ask = replace(ask, shot=shot)
        stage = Rehearsal(ask)
        for verdict in all_worked(ask):
            total = sum(verdict.broken.values())
            broken += total > 0
            (again,) = stage.tried_within([verdict.setup], total)
            assert again is not None
            np.testing.assert_array_equal(again.numbers, verdict.trial.numbers)
            ruled_out += stage.tried_within([verdict.setup], 0.0) == [None]
    assert ruled_out > (0.3 if pair else 0.02) * broken


@pytest.mark.parametrize("pair", [False, True])
@pytest.mark.parametrize("name", PATHS)
def test_setups_worked_together_are_as_if_alone(name: str, pair: bool) -> None:
    ask = open_ask(cast(PATHS[name](SECONDS), pair=pair), "cowboy", kit=(35,))
    alone = all_worked(ask)
    setups = [verdict.setup for verdict in alone]
    together = Rehearsal(ask).tried_within(setups, np.inf)
    least = np.inf
    given_up = 0
    for verdict, trial in zip(alone, together, strict=True):
        total = sum(verdict.broken.values())
        if trial is None:
            given_up += 1
            assert total > least
        else:
            np.testing.assert_array_equal(trial.numbers, verdict.trial.numbers)
            np.testing.assert_array_equal(trial.cams, verdict.trial.cams)
        least = min(least, total)
    assert given_up > 0 or not any(verdict.broken for verdict in alone)


def test_the_first_that_holds_ends_a_batch() -> None:
    ask = open_ask(cast(PATHS["runner"](SECONDS), pair=True), "cowboy", kit=(35,))
    worst_first = sorted(all_worked(ask), key=lambda verdict: -verdict.rank[0])
    holds = [k for k, verdict in enumerate(worst_first) if verdict.holds]
    assert 0 < holds[0] < len(worst_first) - 1
    setups = [verdict.setup for verdict in worst_first]
    together = Rehearsal(ask).tried_within(setups, np.inf, first=True)
    done = [k for k, trial in enumerate(together) if trial is not None]
    assert done[0] == 0
    assert done[-1] == holds[0]


@pytest.mark.parametrize("name", PATHS)
def test_nothing_scores_less_than_its_least(name: str) -> None:
    ask = open_ask(person(PATHS[name](SECONDS)), "medium", kit=(27, 50, 100))
    for verdict in all_worked(ask):
        setup = verdict.setup
        least = least_score(ask, setup.rig.kind, setup.lens, setup.view)
        assert verdict.score >= least - 1e-6


@pytest.mark.parametrize("pair", [False, True])
@pytest.mark.parametrize("name", PATHS)
def test_what_is_left_out_is_never_the_best_of_its_view(
    monkeypatch: pytest.MonkeyPatch, name: str, pair: bool
) -> None:
    monkeypatch.setattr(search, "LOOSER", ())
    ask = open_ask(cast(PATHS[name](SECONDS), pair=pair), "cowboy", kit=(35,))
    found = candidates(ask, refine=False)
    everything = all_worked(ask)
    assert len(found) <= len(everything) - (name == "walk")

    def best(verdicts: list[Judged]) -> dict[object, float]:
        least: dict[object, float] = {}
        for each in verdicts:
            view = each.setup.view
            if each.holds:
                least[view] = min(least.get(view, np.inf), each.score)
        return least

    assert best(found) == best(everything)


def test_a_kind_that_cannot_win_is_not_refined(monkeypatch: pytest.MonkeyPatch) -> None:
    ask = open_ask(person(walk(1.4)(SECONDS)), "full")
    refined: list[str] = []
    refine = search._Search.refine

    def spy(self: search._Search, proposal: Proposal, start: Judged) -> Judged:
        refined.append(proposal.layout.kind)
        return refine(self, proposal, start)

    monkeypatch.setattr(search._Search, "refine", spy)
    best = candidates(ask)[0]
    assert best.setup.rig.kind == "sticks"
    assert best.score < 2.0  # what any track costs
    assert set(refined) <= {"sticks"}
