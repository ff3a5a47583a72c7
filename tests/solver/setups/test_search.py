"""The setup that a known action gets: the simplest that holds the shot."""

from typing import Any

import numpy as np
import pytest
from asks import lenses, open_ask, person, views
from shots import circle, walk

from carrellata.solver.rigs.faults import rail_faults
from carrellata.solver.setups import search
from carrellata.solver.setups.constrained import within_limits
from carrellata.solver.setups.descend import Steps, descend
from carrellata.solver.setups.judge import HEAD_HELD, SIZED, VIEWED
from carrellata.solver.setups.proposal import Proposal, build
from carrellata.solver.setups.propose import distance_of, propose_standing
from carrellata.solver.setups.score import Judged, judged
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask, in_setup
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.stage.stage import Stage, floor_margin
from carrellata.solver.take import operate

SECONDS = np.arange(121) / 24


def best(ask: Ask) -> Judged:
    return candidates(ask)[0]


def still(t: np.ndarray) -> np.ndarray:
    return np.zeros((len(t), 3))


@pytest.mark.parametrize("size", ["full", "cowboy", "medium"])
def test_someone_who_stands_is_filmed_from_sticks(size: str) -> None:
    found = best(open_ask(person(still(SECONDS)), size))
    assert found.holds
    assert found.setup.rig.kind == "sticks"


def test_a_walk_across_is_filmed_from_sticks() -> None:
    found = best(open_ask(person(walk(1.4)(SECONDS)), "full"))
    assert found.holds
    assert found.setup.rig.kind == "sticks"


def test_a_circle_is_filmed_from_near_its_centre() -> None:
    # 35 mm gives the full figure at 7.0 m, the radius of the circle.
    path = circle(radius=7.0, speed=3.0)(np.arange(300) / 24)
    found = best(open_ask(person(path), kit=(35,), kinds=("sticks",)))
    x, _, z = found.setup.rig.shape.origin
    assert found.holds
    assert np.hypot(x, z) < 1.0


def test_a_circle_without_sticks_and_lines_gets_a_concentric_arc() -> None:
    path = circle(radius=4.0, speed=0.7)(np.arange(241) / 24)
    ask = open_ask(person(path), kinds=("arc",), seen_from=views("profile"), kit=(35,))
    proposed = candidates(ask, refine=False)[0]
    shape = proposed.setup.rig.shape
    assert proposed.holds
    assert np.hypot(shape.origin[0], shape.origin[2]) < 0.05
    assert shape.radius == pytest.approx(4.0 + 7.0, abs=0.05)
    # The search flattens it a little: less track for the same view.
    refined = best(ask)
    assert refined.score < proposed.score
    assert refined.trial.numbers[VIEWED] == 1.0


def test_a_runner_whom_sticks_hold_at_no_size_gets_a_parallel_track() -> None:
    path = walk(3.0, start=(-7.5, 0.0, 0.0))(SECONDS)
    ask = open_ask(person(path), "cowboy", kit=(35,), seen_from=views("profile"))
    found = candidates(ask)
    winner = found[0]
    direction = winner.setup.rig.shape.direction
    assert winner.setup.rig.kind == "track"
    assert winner.holds
    assert abs(direction[2]) < np.sin(np.radians(12))
    on_sticks = [each for each in found if each.setup.rig.kind == "sticks"]
    assert on_sticks
    sized = [each.trial.numbers[SIZED] for each in on_sticks if each.holds]
    assert all(share < 0.6 for share in sized)


def test_a_walk_toward_the_camera_gets_a_track_along_the_view() -> None:
    path = walk(1.4)(SECONDS)
    ask = open_ask(person(path), kit=(35,), seen_from=views("front"))
    winner = best(ask)
    direction = winner.setup.rig.shape.direction
    assert winner.setup.rig.kind == "track"
    assert abs(direction[2]) < np.sin(np.radians(8))
    assert winner.trial.numbers[VIEWED] == 1.0
    assert winner.trial.numbers[SIZED] > 0.95


def test_where_a_line_does_there_is_no_arc() -> None:
    path = walk(1.4)(SECONDS)
    found = best(open_ask(person(path), kinds=("track", "arc")))
    assert found.setup.rig.kind == "track"


def test_no_rail_and_no_sticks_stand_off_the_floor_or_in_a_keep_out() -> None:
    floor = np.array([[-6.0, -2.0], [6.0, -2.0], [6.0, 9.0], [-6.0, 9.0]])
    box = np.array([[[-1.5, 0.0, 5.5], [1.5, 2.5, 8.0]]])
    stage = Stage(
        floor=floor,
        keep_outs=box,
        names=("kiosk",),
        sight_forbidden=np.array([True]),
        heights=(0.3, 2.6),
        min_distance_m=1.0,
    )
    path = walk(1.4, start=(-3.5, 0.0, 0.0))(SECONDS)
    found = candidates(open_ask(person(path), stage=stage))
    holding = [each for each in found if each.holds]
    assert holding
    for each in holding:
        rig = each.setup.rig
        places = rig.places(np.linspace(0.0, rig.length_m, 200))
        x, z = places[:, 0], places[:, 2]
        assert ((x >= -6) & (x <= 6) & (z >= -2) & (z <= 9)).all()
        assert not ((np.abs(x) < 1.5) & (z > 5.5) & (z < 8.0)).any()
        assert each.trial.hidden == 0.0
    # The kiosk stands where the best free setup would.
    free = best(open_ask(person(path)))
    assert free.score < holding[0].score


def test_a_search_never_makes_the_judged_score_worse() -> None:
    for path in (walk(3.0), circle(radius=4.0, speed=2.0), walk(1.4)):
        ask = open_ask(person(path(SECONDS)), "medium")
        stage = Rehearsal(ask)
        plain = candidates(ask, stage, refine=False)
        for kind in ("sticks", "track", "arc"):
            before = [e.rank for e in plain if e.setup.rig.kind == kind]
            after = [e.rank for e in candidates(ask, stage) if e.setup.rig.kind == kind]
            if before:
                assert min(after) <= min(before)


def test_the_same_ask_gives_the_same_candidates() -> None:
    ask = open_ask(person(walk(3.0)(SECONDS)), "medium")
    one, other = candidates(ask), candidates(ask)
    assert [e.score for e in one] == [e.score for e in other]
    assert [e.setup.lens for e in one] == [e.setup.lens for e in other]


def test_what_is_fixed_stays_fixed() -> None:
    track_only = open_ask(
        person(walk(1.4)(SECONDS)),
        kit=(50,),
        kinds=("track",),
        seen_from=views("profile"),
        height_m=1.2,
    )
    for each in candidates(track_only):
        assert each.setup.lens is track_only.lenses[0]
        assert each.setup.rig.kind == "track"
        assert each.setup.rig.shape.origin[1] == 1.2
        assert each.setup.view is not None
        assert each.setup.view.name == "profile"


def test_straight_track_is_laid_in_whole_sections() -> None:
    stage = Stage(heights=(0.3, 2.6), straight_m=2.44, min_distance_m=1.0)
    path = walk(2.5)(SECONDS)
    ask = open_ask(person(path), kinds=("track",), stage=stage)
    for each in candidates(ask):
        sections = each.setup.rig.length_m / 2.44
        assert sections == pytest.approx(round(sections), abs=2e-3)


def test_curved_track_has_a_radius_that_is_in_stock() -> None:
    stage = Stage(heights=(0.3, 2.6), curve_radii_m=(3.1, 6.0), min_distance_m=1.0)
    path = circle(radius=4.0, speed=1.5)(SECONDS)
    found = candidates(open_ask(person(path), kinds=("arc",), stage=stage))
    assert found
    assert {round(each.setup.rig.shape.radius, 3) for each in found} <= {3.1, 6.0}


def test_where_a_head_would_be_cut_the_lens_stands_a_little_further_away() -> None:
    seconds = np.arange(97) / 24
    climb = np.clip(seconds - 1.5, 0.0, None)[:, None] * [0.6, 0.55, 0.0]
    path = walk(0.6)(np.minimum(seconds, 1.5)) + climb
    ask = open_ask(person(path), "full", kit=(50,), kinds=("sticks",))
    found = candidates(ask, refine=False)
    best = found[0]
    assert best.holds
    assert best.trial.numbers[HEAD_HELD] == 1.0
    as_asked = [
        judged(ask, Rehearsal(ask).tried(build(each, ask)))
        for each in propose_standing(Rehearsal(ask).known)
    ]
    assert all(each.trial.numbers[HEAD_HELD] < 1.0 for each in as_asked)
    eyes = Rehearsal(ask).action.eyes.mean(axis=0)
    further = np.linalg.norm(best.setup.rig.shape.origin - eyes)
    assert further > 1.05 * distance_of(ask, best.setup.lens)


def test_a_longer_lens_stands_further_off() -> None:
    far = {
        mm: best(open_ask(person(still(SECONDS)), kit=(mm,))) for mm in (25, 50, 100)
    }
    gaps = [np.hypot(*far[mm].setup.rig.shape.origin[[0, 2]]) for mm in (25, 50, 100)]
    assert gaps[1] / gaps[0] == pytest.approx(2.0, rel=0.05)
    assert gaps[2] / gaps[1] == pytest.approx(2.0, rel=0.05)
    assert lenses(25)[0].focal_mm == 25


def test_the_simplex_goes_down_a_bowl() -> None:
    seen: list[float] = []

    def bowl(steps: Steps) -> float:
        value = float(((np.array(steps) - [1.3, -0.4, 0.6]) ** 2).sum())
        seen.append(value)
        return value

    descend(bowl, 3, bowl((0.0, 0.0, 0.0)), 60)
    assert len(seen) == 61
    assert min(seen) < 1e-2


def test_a_descent_is_given_up_halfway_when_it_cannot_come_near() -> None:
    seen: list[float] = []

    def slope(steps: Steps) -> float:
        seen.append(10.0 - steps[0])
        return seen[-1]

    for to_beat, most in ((-1e6, 14), (9.5, 25)):
        seen.clear()
        descend(slope, 1, 10.0, 24, to_beat=to_beat)
        assert len(seen) <= most, to_beat
        assert (len(seen) >= 23) == (to_beat > 0)


def tight_stage() -> Stage:
    """Return a floor that ends before the best sticks, with two boxes on it."""
    return Stage(
        floor=np.array([[-5.0, -4.0], [5.0, -4.0], [5.0, 4.6], [-5.0, 4.6]]),
        keep_outs=np.array(
            [[[-2.4, 0.0, 3.2], [-0.8, 2.5, 4.8]], [[3.0, 0.0, -3.0], [4.0, 2.5, -2]]]
        ),
        names=("bench", "rack"),
        sight_forbidden=np.zeros(2, dtype=np.bool_),
        heights=(0.3, 2.6),
        min_distance_m=1.0,
    )


@pytest.mark.parametrize("size", ["full", "cowboy"])
def test_a_stage_that_spoils_the_best_setup_is_kept_to_by_the_convex_programme(
    size: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = walk(1.4, start=(-3.5, 0.0, 0.0))(SECONDS)
    stage = tight_stage()
    ask = open_ask(person(path), size, stage=stage, kit=(35, 50, 75))
    laid: list[Proposal] = []

    def spy(*args: Any) -> Proposal | None:
        found = within_limits(*args)
        if found is not None:
            laid.append(found)
        return found

    monkeypatch.setattr(search, "within_limits", spy)
    found = candidates(ask)
    assert laid
    for layout in laid:
        setup = build(layout, ask)
        assert setup is not None
        assert not rail_faults(stage, setup.rig)
    monkeypatch.setattr(search, "within_limits", lambda *_: None)
    assert found[0].rank <= candidates(ask)[0].rank
    take = operate(in_setup(ask.shot, found[0].setup))
    assert floor_margin(stage, take.base[:, [0, 2]]).min() >= 0.0


def test_a_lower_price_of_track_brings_moves() -> None:
    path = walk(2.0, start=(-5.0, 0.0, 0.0))(SECONDS)
    kinds = {}
    for price in (0.0, 1.0):
        found = best(open_ask(person(path), "cowboy", kit=(50,), rig_price=price))
        assert found.holds
        kinds[price] = found.setup.rig.kind
    assert kinds == {0.0: "track", 1.0: "sticks"}


def test_an_arc_that_meets_a_keep_out_is_laid_anew_beside_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = circle(radius=4.0, speed=0.7)(np.arange(241) / 24)
    left = views("profile")[:1]
    free = best(open_ask(person(path), kinds=("arc",), seen_from=left, kit=(35,)))
    rig = free.setup.rig
    x, _, z = rig.places(np.array([0.2 * rig.length_m]))[0]
    stage = Stage(
        keep_outs=np.array([[[x - 1, 0, z - 1], [x + 1, 2.5, z + 1]]]),
        names=("kiosk",),
        sight_forbidden=np.zeros(1, dtype=np.bool_),
        heights=(0.3, 2.6),
        min_distance_m=1.0,
    )
    ask = open_ask(person(path), kinds=("arc",), seen_from=left, kit=(35,), stage=stage)
    found = best(ask)
    assert found.holds
    assert not rail_faults(stage, found.setup.rig)
    monkeypatch.setattr(search, "within_limits", lambda *_: None)
    assert found.rank < best(ask).rank
