"""Why nothing holds: only what would really help is named, and only the least of it."""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask, person, views
from shots import walk

from carrellata.solver.setups import no_setup
from carrellata.solver.setups.no_setup import LOOSER, why_none
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask
from carrellata.solver.setups.trial import Rehearsal

SECONDS = np.arange(49) / 24


def pair_at_chest(apart_m: float) -> Ask:
    path = walk(1.4)(SECONDS)
    other = person(
        path + np.array([0.3, 0.0, apart_m]), name="b", share=0.5, must_hold=True
    )
    return open_ask(
        [person(path), other], "chest", kit=(75, 100), seen_from=views("front")
    )


def test_two_who_do_not_fit_are_offered_a_looser_framing() -> None:
    ask = pair_at_chest(2.0)
    tried = candidates(ask)
    assert not any(each.holds for each in tried)
    (change,) = (
        c for c in why_none(Rehearsal(ask), tried).changes if c.limit == "framing.size"
    )
    assert change.amount in LOOSER
    framing = ask.shot.framings[0]
    looser = replace(framing, distance_m=framing.distance_m * change.amount)
    again = replace(ask, shot=replace(ask.shot, framings=(looser,)))
    assert candidates(again)[0].holds


def test_a_limit_that_is_not_the_only_one_is_not_tried(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ask = pair_at_chest(2.0)
    tried = candidates(ask)
    assert all(each.broken.keys() - {"min_distance"} for each in tried)
    stages = []

    def spy(changed: Rehearsal) -> bool:
        stages.append(changed.ask.stage)
        return False

    monkeypatch.setattr(no_setup, "something_holds", spy)
    assert why_none(Rehearsal(ask), tried).changes == ()
    assert stages
    assert all(stage == ask.stage for stage in stages)
