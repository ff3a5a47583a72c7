"""What a cut inside an action costs is what it costs between two shots."""

from dataclasses import replace
from functools import cache
from itertools import pairwise, permutations

import numpy as np
from covered import camera, five_cameras, pair

from carrellata.solver.action.claim import Claim
from carrellata.solver.coverage.cut import ChosenCut, CutAsk, NoCut, choose_cut
from carrellata.solver.coverage.cutting import NEVER, cut_table
from carrellata.solver.coverage.lengths import Lengths
from carrellata.solver.coverage.part import part_of
from carrellata.solver.coverage.pictures import Pictures, pictures_of
from carrellata.solver.coverage.worth import Beat, PictureCosts, Speech
from carrellata.solver.cuts.brings import LOOK, news_of
from carrellata.solver.cuts.continuity import CutShot, cut_findings
from carrellata.solver.cuts.cost import CutCosts
from carrellata.solver.cuts.end import ShotEnds, shot_ends
from carrellata.solver.cuts.open_shot import OpenShot, State
from carrellata.solver.cuts.sequence import choose_sequence
from carrellata.solver.take import Take, operate

FIRST, LAST = 1001, 1480
VIEWS = dict.fromkeys(("single_a", "single_b", "across"), "three_quarter")


@cache
def takes() -> dict[str, Take]:
    across = camera(pair(), (1.5, 1.6, -4.0), focal_mm=75)
    return {**five_cameras(), "across": operate(across)}


@cache
def pictures() -> tuple[Pictures, ...]:
    return tuple(
        pictures_of(take, name, VIEWS.get(name, "")) for name, take in takes().items()
    )


def ends_of(camera: str, first: int, last: int) -> ShotEnds:
    return shot_ends(part_of(takes()[camera], first, last))


def shot_of(camera: str, first: int, last: int) -> OpenShot:
    ends = ends_of(camera, first, last)
    state = State(
        score=0.0, first=ends.first, last=ends.last, view=VIEWS.get(camera, "")
    )
    return OpenShot(name=f"{camera}{first}", scene="hall", states=(state,))


def test_a_cut_costs_what_it_costs_between_shots_of_a_sequence() -> None:
    costs, names = CutCosts(), list(takes())
    table = cut_table(pictures(), costs)
    rng = np.random.default_rng(4)
    kinds = set()
    for i, j in permutations(range(len(names)), 2):
        for frame in rng.integers(FIRST + 20, LAST - 20, 6).tolist():
            shots = shot_of(names[i], FIRST, frame - 1), shot_of(names[j], frame, LAST)
            wanted = choose_sequence(shots, costs=costs).cuts[1]
            at = i, j, frame - FIRST
            found = {name: part[at] / 1e6 for name, part in table.parts.items()}
            assert {k: v for k, v in found.items() if v} == wanted
            kinds |= set(wanted)
    assert {"eye_jump", "thirty_degrees", "line_of_action", "same_view"} <= kinds


def test_a_cut_that_brings_nothing_is_not_made() -> None:
    names = list(takes())
    table = cut_table(pictures(), CutCosts())
    rng = np.random.default_rng(5)
    for i, j in permutations(range(len(names)), 2):
        for frame in rng.integers(FIRST + 20, LAST - 20, 6).tolist():
            before = ends_of(names[i], FIRST, frame - 1)
            after = ends_of(names[j], frame, LAST)
            news = [one for one in news_of(before, after) if one.what != LOOK]
            assert table.brings[i, j, frame - FIRST] == bool(news)
    one = pictures()[0]
    changes = np.flatnonzero((one.shown[:, 1:] != one.shown[:, :-1]).any(axis=0)) + 1
    to_itself = cut_table((one, one), CutCosts()).brings[0, 1]
    np.testing.assert_array_equal(np.flatnonzero(to_itself), changes)


def test_no_cut_falls_into_a_pan_that_has_not_settled() -> None:
    one, two = pictures()[1], pictures()[2]
    turning = np.zeros(one.n_frames, dtype=np.bool_)
    turning[100:200] = True
    swung = replace(one, moving=turning)
    table = cut_table((swung, two), CutCosts())
    assert (table.cost[0, 1, 101:201] >= NEVER).all()
    assert (table.cost[1, 0, 100:200] >= NEVER).all()
    loose = cut_table((swung, two), CutCosts(), settle=False)
    assert (loose.cost[0, 1, 101:201] < NEVER).all()


def cut_of(ask: CutAsk) -> ChosenCut:
    found = choose_cut(pictures(), ask)
    assert isinstance(found, ChosenCut)
    return found


def on_at(cut: ChosenCut, frame: int) -> str:
    return next(one.camera for one in cut.pictures if one.first <= frame <= one.last)


def test_pictures_cover_the_action_within_their_lengths() -> None:
    cut = cut_of(CutAsk(lengths=Lengths(shortest_s=1.0, longest_s=6.0)))
    edges = [(one.first, one.last) for one in cut.pictures]
    assert edges[0][0] == 0
    assert edges[-1][1] == LAST - FIRST
    assert all(b[0] == a[1] + 1 for a, b in pairwise(edges))
    held = [last - first + 1 for first, last in edges]
    assert min(held) >= 24
    assert max(held) <= 144
    assert len(cut.pictures) > 3


def test_cut_has_no_fault_by_the_rules_for_shots() -> None:
    cut = cut_of(CutAsk())
    shots = [
        CutShot(
            name=str(k),
            scene="hall",
            elapsed=False,
            ends=ends_of(one.camera, FIRST + one.first, FIRST + one.last),
        )
        for k, one in enumerate(cut.pictures)
    ]
    found = {one.name for per in cut_findings(shots) for one in per}
    assert not {"crosses_line", "adds_nothing"} & found


def test_who_speaks_is_seen_and_beats_are_told() -> None:
    speeches = tuple(
        Speech(who=who, first=first, last=first + 71)
        for who, first in (("ann", 0), ("ben", 144), ("ann", 240), ("ben", 312))
    )
    beat = Beat(first=90, last=120, on=("ann", "ben"))
    closing = Beat(first=400, last=420, camera="over_b")
    costs = PictureCosts(speaker=20.0)
    ask = CutAsk(speeches=speeches, beats=(beat, closing), pictures=costs)
    cut = cut_of(ask)
    by = {one.name: one for one in pictures()}
    for speech in speeches:
        shown = [
            by[on_at(cut, frame)].shown[by["master"].people.index(speech.who), frame]
            for frame in range(speech.first, speech.last + 1)
        ]
        assert np.mean(shown) > 0.9
    assert all(by[on_at(cut, f)].shown[:, f].all() for f in range(90, 121))
    assert all(on_at(cut, f) == "over_b" for f in range(400, 421))
    assert sum(one.missed for one in cut.pictures) == 0


def test_beat_may_ask_for_what_a_claim_tells_at_every_frame() -> None:
    wide, free = Claim(verb="together", who=("ann", "ben")), cut_of(CutAsk())
    close = Claim(verb="small", who=("ann",), given={"figure": 0.9})
    for claim in (wide, close):
        beat = Beat(first=200, last=230, claim=claim)
        tells = {one.name: beat.told(one) for one in pictures()}
        assert {told.all() for told in tells.values()} == {True, False}
        cut = cut_of(CutAsk(beats=(beat,)))
        assert all(tells[on_at(cut, f)][f - 200] for f in range(200, 231))
        assert sum(one.missed for one in cut.pictures) == 0
        shown = pictures()[0].shown[:, 200:231].all(axis=0)
        if claim is wide:
            np.testing.assert_array_equal(tells["master"], shown)
    assert not all(tells[on_at(free, f)][f - 200] for f in range(200, 231))


def test_first_and_last_camera_are_kept_and_what_others_cost_is_said() -> None:
    cut = cut_of(CutAsk(first="master", last="master"))
    assert cut.pictures[0].camera == cut.pictures[-1].camera == "master"
    free = cut_of(CutAsk())
    assert free.points <= cut.points
    others = [one for one in free.pictures[1:] if one.other_camera is not None]
    assert others
    assert all(one.other_camera.more >= 0 for one in others)  # type: ignore[union-attr]
    assert any(one.other_time is not None for one in free.pictures)
    for one in free.pictures:
        if one.other_time is not None:
            assert abs(one.other_time.frame - one.first) >= 12


def test_no_cut_says_what_would_help() -> None:
    one = pictures()[0]
    twins = (one, replace(one, name="twin"))
    found = choose_cut(twins, CutAsk(lengths=Lengths(longest_s=5.0)))
    assert found == NoCut(helps=("longest",))


def test_one_camera_is_held_throughout() -> None:
    found = choose_cut(pictures()[:1], CutAsk())
    assert isinstance(found, ChosenCut)
    assert [(p.first, p.last) for p in found.pictures] == [(0, LAST - FIRST)]
