"""Claims decide which setup is taken: as musts, and as points."""

from dataclasses import replace

import numpy as np
import pytest
from asks import OPEN_VIEWS, open_ask, person
from shots import walk

from carrellata.jobs.takes.why_no_take import no_setup_words
from carrellata.solver.action.claim import Claim
from carrellata.solver.claims.everyone import frames_of_take
from carrellata.solver.claims.measured import outcomes_of
from carrellata.solver.setups.judge import HEAD_HELD
from carrellata.solver.setups.no_setup import why_none
from carrellata.solver.setups.score import judged
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask, in_setup, view_family
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.take import operate

SECONDS = np.arange(97) / 24
TOWARD = Claim(verb="toward", who=("a",))


def claiming(ask: Ask, *claims: Claim) -> Ask:
    return replace(ask, shot=replace(ask.shot, claims=claims))


@pytest.fixture(scope="module")
def walker() -> Ask:
    return open_ask(person(walk(0.8)(SECONDS)), "full", kit=(35, 75))


def test_a_must_decides_the_view_and_the_take_tells_the_same(walker: Ask) -> None:
    (free,) = candidates(walker)[:1]
    assert free.setup.view is not None
    assert free.setup.view.name != "front"
    ask = claiming(walker, TOWARD)
    best = candidates(ask)[0]
    assert best.holds
    assert best.setup.view is not None
    assert view_family(best.setup.view.angle_rad) == "front"
    assert best.trial.numbers[HEAD_HELD] == 1.0
    take = operate(in_setup(ask.shot, best.setup))
    (outcome,) = outcomes_of(ask.shot.claims, frames_of_take(take))
    assert outcome.held
    assert outcome.plain() == best.trial.claims[0].plain()


def test_a_claim_that_is_no_must_costs_its_weight(walker: Ask) -> None:
    ask = claiming(walker, replace(TOWARD, must=False, weight=2.0))
    profile = next(view for view in OPEN_VIEWS if view.name == "profile")
    seen = replace(ask, views=(profile,), kinds=("sticks",))
    best = candidates(seen, refine=False)[0]
    short = best.trial.claims[0].short
    assert short > 0.0
    assert best.holds
    assert best.parts["claims"] == pytest.approx(2.0 * short, abs=1e-6)
    plain = judged(claiming(seen), best.trial._replace(claims=()))
    assert best.score == pytest.approx(plain.score + 2.0 * short, abs=1e-5)


def test_a_must_that_no_setup_meets_is_named_and_so_is_what_helps(walker: Ask) -> None:
    profile = next(view for view in OPEN_VIEWS if view.name == "profile")
    ask = claiming(replace(walker, views=(profile,), kinds=("sticks",)), TOWARD)
    stage = Rehearsal(ask)
    tried = candidates(ask, stage, refine=False)
    assert not any(each.holds for each in tried)
    reason = why_none(stage, tried)
    assert reason.broken.keys() == {"claim:toward a"}
    helps = {change.limit for change in reason.changes}
    assert {"view", "claim:toward a"} <= helps
    words = no_setup_words(reason)
    assert 'does not tell "toward a"' in words
    assert 'without claim "toward a"' in words
