"""Views and lenses of neighbouring shots differ, as far as that is worth its points."""

from dataclasses import replace

import pytest
from ends import an_end, around

from carrellata.solver.cuts.cost import CutCosts, with_habits
from carrellata.solver.cuts.open_shot import OpenShot, State
from carrellata.solver.cuts.sequence import choose_sequence


def test_a_slightly_worse_view_is_taken_rather_than_the_same_again() -> None:
    shots = [
        OpenShot(
            name=f"0{k}0",
            scene="hall",
            states=tuple(
                State(score=score, first=end, last=end, view=view)
                for score, view, end in (
                    (0.0, "profile", an_end(around(40.0 * k))),
                    (0.7, "front", an_end(around(40.0 * k))),
                    (0.1, "", an_end(around(40.0 * k))),
                )
            ),
        )
        for k in range(3)
    ]
    named = [replace(shot, states=shot.states[:2]) for shot in shots]
    varied = choose_sequence(named)
    assert varied.chosen == (0, 1, 0)
    assert varied.cuts[1] == {}
    same = choose_sequence(named, costs=CutCosts(same_view=0.3))
    assert same.chosen == (0, 0, 0)
    assert same.cuts[1] == {"same_view": 0.3}
    assert choose_sequence(shots).chosen == (0, 2, 0)


def test_the_third_shot_on_one_lens_pays_where_variety_is_asked() -> None:
    shots = [
        OpenShot(
            name=f"0{k}0",
            scene="hall",
            states=tuple(
                State(score=s, first=end, last=end)
                for s, end in (
                    (0.0, an_end(around(40.0 * k))),
                    (1.0, an_end(around(40.0 * k), focal_mm=35.0)),
                )
            ),
        )
        for k in range(5)
    ]
    assert choose_sequence(shots).chosen == (0, 0, 0, 0, 0)
    varied = choose_sequence(shots, costs=CutCosts(lens_run=1.5))
    assert varied.chosen.count(1) == 1
    assert varied.chosen[2] == 1
    assert varied.total == pytest.approx(1.0)


def test_habits_draw_lenses_to_their_shares_by_the_points_of_variety() -> None:
    shares = {35.0: 0.6, 50.0: 0.3}
    costs = with_habits(CutCosts(), 2.0, shares)
    end = an_end(around(0.0))
    for focal, points in ((35.0, 0.0), (50.0, 1.0), (75.0, 2.0)):
        used = replace(end, focal_mm=focal)
        shot = OpenShot(
            name="010", scene="hall", states=(State(score=0.5, first=used, last=used),)
        )
        assert choose_sequence([shot], costs=costs).total == pytest.approx(0.5 + points)
    assert with_habits(CutCosts(), 0.0, shares, {"full": 1.0}) == CutCosts()
    assert with_habits(CutCosts(), 2.0, {}) == CutCosts(lens_run=2.0)
    assert with_habits(CutCosts(lens_run=1.0), 2.0, {}) == CutCosts(lens_run=1.0)


def test_habits_draw_open_sizes_to_their_shares() -> None:
    costs = with_habits(CutCosts(), 2.0, {}, {"full": 0.2, "medium": 0.4})
    for size, points in (("medium", 0.0), ("full", 1.0), ("close", 2.0), ("", 0.0)):
        end = an_end(around(0.0), size=size or "full")
        state = State(score=0.5, first=end, last=end, size=size)
        shot = OpenShot(name="010", scene="hall", states=(state,))
        total = choose_sequence([shot], costs=replace(costs, lens_run=0.0)).total
        assert total == pytest.approx(0.5 + points)


def test_a_cut_at_a_small_turn_takes_another_size() -> None:
    def of(size: str, angle: float, score: float) -> State:
        end = an_end(around(angle), size=size)
        return State(score=score, first=end, last=end, size=size)

    first = OpenShot(name="010", scene="hall", states=(of("full", 0.0, 0.0),))
    second = OpenShot(
        name="020",
        scene="hall",
        states=(of("full", 10.0, 0.0), of("medium", 10.0, 1.0)),
    )
    assert choose_sequence([first, second]).chosen == (0, 1)
