"""Why nothing holds: only what would really help is named, and only the least of it."""

from dataclasses import replace

import numpy as np
import pytest
from asks import lenses, open_ask, person, views
from shots import walk

from carrellata.jobs.takes.why_no_take import no_setup_words
from carrellata.solver.setups import no_setup
from carrellata.solver.setups.no_setup import LOOSER, why_none
from carrellata.solver.setups.search import candidates, something_holds
from carrellata.solver.setups.setup import Ask
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.stage.stage import Stage

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


def test_in_a_small_room_a_shorter_lens_comes_before_a_larger_floor() -> None:
    room = np.array([(-1.5, -2.5), (4.0, -2.5), (4.0, 4.0), (-1.5, 4.0)])
    stage = Stage(floor=room, heights=(0.3, 2.6), min_distance_m=1.0)
    kit = lenses(18, 25, 35, 50, 75, 100)
    standing = person(walk(0.2)(SECONDS))
    ask = open_ask(standing, "full", kit=(75,), stage=stage, seen_from=views("profile"))
    ask = replace(ask, kit=kit)
    tried = candidates(ask)
    assert not any(each.holds for each in tried)
    found = why_none(Rehearsal(ask), tried)
    assert found.limit == "lens_mm"
    best = found.changes[0].amount
    assert best < 75
    chosen = tuple(lens for lens in kit if lens.focal_mm == best)
    assert any(each.holds for each in candidates(replace(ask, lenses=chosen)))
    # With none nearer in length to the asked one does a proposal hold.
    for lens in kit:
        if best < lens.focal_mm < 75:
            assert not something_holds(Rehearsal(replace(ask, lenses=(lens,))))


def test_a_hole_that_all_cameras_would_stand_in_is_named() -> None:
    path = walk(0.0)(SECONDS) + np.array([4.0, 0.0, 0.0])
    edge = np.array([(-30.0, -20.0), (30.0, -20.0), (30.0, 20.0), (-30.0, 20.0)])
    # She stands still in the middle, and holes cover all the floor round her.
    wide, rest = (
        np.array([(x, -19.9), (29.9 * side, -19.9), (29.9 * side, 19.9), (x, 19.9)])
        for x, side in ((-0.5, 1.0), (0.5, -1.0))
    )
    stage = Stage(
        heights=(0.3, 2.6), min_distance_m=1.0, floor=edge, outline=(edge, wide, rest)
    )
    ask = open_ask(person(path), kit=(35,), seen_from=views("profile"), stage=stage)
    tried = candidates(ask)
    assert not any(each.holds for each in tried)
    reason = why_none(Rehearsal(ask), tried)
    limits = [change.limit for change in reason.changes]
    assert {"floor_hole:0", "floor_hole:1"} & set(limits)
    assert "floor" not in limits
    words = no_setup_words(reason)
    assert "the rig stands in stage.floor_holes[" in words
    assert 'without floor-hole "' in words
