"""What claims propose: track along the view, and places from which they are told."""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask, person, views
from shots import GATE, framing, walk

from carrellata.solver.action.claim import Claim
from carrellata.solver.claims.everyone import blocking_of
from carrellata.solver.setups.claimed import closing, views_told
from carrellata.solver.setups.propose import distance_of
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask
from carrellata.solver.setups.trial import Rehearsal

SECONDS = np.arange(121) / 24


def claiming(ask: Ask, *claims: Claim, **fields: object) -> Ask:
    return replace(ask, shot=replace(ask.shot, claims=claims, **fields))


def standing_to_a_closer_size() -> Ask:
    """Somebody who stands, full for three seconds of five, then cowboy."""
    ask = open_ask(person(np.zeros((121, 3))), "full", kit=(35, 50))
    cue = framing("cowboy", start_s=float(ask.shot.subjects[0].times_s[72]))
    return claiming(ask, framings=(ask.shot.framings[0], cue))


def test_closing_in_lays_track_along_the_view_though_sticks_would_hold() -> None:
    ask = standing_to_a_closer_size()
    free = [each.setup.rig.kind for each in candidates(ask) if each.holds]
    assert "sticks" in free
    best = candidates(claiming(ask, Claim(verb="closes_in", who=("a",))))[0]
    assert best.holds
    assert (best.setup.rig.kind, best.setup.hold) == ("track", "size")
    first, last = best.trial.cams[[0, -1], :3]
    eyes = np.array([0.0, 0.935 * 1.75, 0.0])
    assert np.linalg.norm(first - eyes) >= 1.2 * np.linalg.norm(last - eyes)
    # Along the sight line: the move points at who stands at the origin.
    move, sight = (last - first)[[0, 2]], -last[[0, 2]]
    cosine = move @ sight / np.linalg.norm(move) / np.linalg.norm(sight)
    assert cosine > np.cos(np.radians(20))


def test_without_a_change_of_size_there_is_nothing_to_close_in_by() -> None:
    ask = open_ask(person(np.zeros((121, 3))), "full", kit=(35,))
    stage = Rehearsal(claiming(ask, Claim(verb="closes_in", who=("a",))))
    assert closing(stage.known, ask.lenses) == []


@pytest.mark.parametrize("verb", ["closes_in", "draws_back"])
def test_the_track_runs_between_the_places_of_the_two_sizes(verb: str) -> None:
    ask = claiming(standing_to_a_closer_size(), Claim(verb=verb, who=("a",)))
    stage = Rehearsal(ask)
    found = closing(stage.known, ask.lenses[:1])
    if verb == "draws_back":  # the size only grows
        assert all(each.layout.reach_m == 0.0 for each in found)
        return
    full, cowboy = (one.distance_m for one in ask.shot.framings)
    far = distance_of(ask, ask.lenses[0])
    assert len(found) == len(ask.views)
    for each in found:
        middle = np.hypot(each.layout.x, each.layout.z)
        assert middle == pytest.approx(far * (1 + cowboy / full) / 2)
        assert each.layout.reach_m == pytest.approx(far * (1 - cowboy / full) / 2)


def test_views_are_added_from_which_somebody_is_alone() -> None:
    walker = person(walk(0.6, start=(-1.5, 0, 0))(SECONDS))
    other = person(np.tile([0.0, 0.0, -5.0], (121, 1)), name="b", share=0.0)
    ask = claiming(
        open_ask([walker, other], "medium", kit=(35,)), Claim(verb="alone", who=("a",))
    )
    stage = Rehearsal(ask)
    told = views_told(stage.known, blocking_of(ask.shot))
    assert told
    assert not {view.bearing_rad for view in told} & {
        view.bearing_rad for view in ask.views
    }
    half_deg = np.degrees(np.arctan(GATE.half_tangents(35.0)[0]))
    far = distance_of(ask, ask.lenses[0])
    # The way is along +X, which bears -90 degrees.
    bearing = -np.pi / 2 + told[0].bearing_rad
    camera = np.array([-np.sin(bearing), -np.cos(bearing)]) * far
    for x in (-1.5, 0.0, 1.5):
        to_a, to_b = np.array([x, 0.0]) - camera, np.array([0.0, -5.0]) - camera
        cosine = to_a @ to_b / np.linalg.norm(to_a) / np.linalg.norm(to_b)
        assert np.degrees(np.arccos(cosine)) > half_deg - 2


def test_a_view_that_the_shot_says_is_kept() -> None:
    ask = open_ask(person(walk(0.8)(SECONDS)), seen_from=views("profile"))
    stage = Rehearsal(claiming(ask, Claim(verb="toward", who=("a",))))
    assert views_told(stage.known, blocking_of(ask.shot)) == ()
