"""The ends of operated takes against what the action and the take say there."""

import json
from dataclasses import replace

import numpy as np
import pytest
from shots import (
    EYES,
    HEIGHT_M,
    LENS_HEIGHT_M,
    SHOTS,
    acted,
    framing,
    shot,
    sticks,
    walk,
)

from carrellata.solver.action.subject import Subject
from carrellata.solver.cuts.at_cut import cut_action
from carrellata.solver.cuts.end import ShotEnds, shot_ends, trial_ends
from carrellata.solver.cuts.lines import lines_of
from carrellata.solver.shot import Shot
from carrellata.solver.take import operate


@pytest.mark.parametrize("name", sorted(SHOTS))
def test_ends_are_the_take_at_the_first_and_last_frame_of_the_cut(name: str) -> None:
    one = SHOTS[name]()
    take = operate(replace(one, first=one.first + 5, handles=(5, 7), last=one.last - 7))
    ends = shot_ends(take)
    first, last = ends.first, ends.last
    for end, frame in ((first, one.first + 5), (last, one.last - 7)):
        k = int(np.flatnonzero(take.frame == frame)[0])
        assert (end.frame, end.time_s) == (frame, take.times_s[k])
        assert end.subject == one.subjects[take.subject[k]].name
        assert end.lens == tuple(take.base[k])
        assert (end.u, end.v, end.size) == (take.u[k], take.v[k], take.size[k])
        eyes = one.subjects[take.subject[k]].at(take.times_s[k : k + 1], 1.0)[0]
        assert end.eyes == pytest.approx(tuple(eyes))
        assert end.focal_mm == one.lens.focal_mm
        assert (end.tan_u, end.tan_v) == one.tangents


def test_ends_go_through_json_without_loss() -> None:
    for name in ("hand_over", "sprint_on_sticks", "look_room_turn"):
        ends = shot_ends(operate(SHOTS[name]()))
        assert ShotEnds.from_plain(json.loads(json.dumps(ends.plain()))) == ends


def test_a_walk_to_the_right_of_a_camera_that_looks_along_minus_z() -> None:
    take = operate(shot(acted(walk(1.4), 4.0), sticks(12.0)))
    ends = shot_ends(take)
    first, last = ends.first, ends.last
    # Heading +X is a quarter turn to the right of -Z.
    assert (last.line, last.subject) == ("travel", "a")
    assert last.line_rad == pytest.approx(-np.pi / 2)
    assert last.velocity == pytest.approx((1.4, 0.0, 0.0))
    # The camera stands on +Z, on the walker's right; it runs right on the screen.
    one, two = lines_of(first)[first.subject], lines_of(last)[last.subject]
    assert one.side(first.lens) == two.side(last.lens) == -1
    assert first.across_m_s > 1.2
    # Walked from x = -4 to 1.6: the camera at (0, 12) bears atan(4 / 12) past abeam.
    assert one.off_rad(first.lens) == pytest.approx(-np.arctan2(12.0, 4.0))
    assert two.off_rad(last.lens) == pytest.approx(-np.arctan2(12.0, -1.6))
    assert last.height_m == pytest.approx(LENS_HEIGHT_M)
    rise = LENS_HEIGHT_M - EYES * HEIGHT_M
    assert last.elevation_rad == pytest.approx(np.arctan2(rise, np.hypot(1.6, 12.0)))


def test_one_who_has_stopped_keeps_the_line_of_the_last_travel() -> None:
    def stops(t: np.ndarray) -> np.ndarray:
        return np.column_stack([0 * t, 0 * t, -1.5 * np.minimum(t, 2.0)])

    action = cut_action(shot(acted(stops, 5.0), sticks(12.0)))
    assert (action.first.line, action.last.line) == ("travel", "last_travel")
    assert action.last.line_rad == pytest.approx(0.0)
    assert action.last.velocity == pytest.approx((0.0, 0.0, 0.0))


def test_one_who_stands_has_the_line_of_the_gaze_or_none() -> None:
    stand = walk(0.0, start=(0.0, 0.0, 0.0))
    gazes = acted(stand, 3.0, facing_rad=np.full(73, 2.5))
    assert cut_action(shot(gazes, sticks())).last.line == "facing"
    assert cut_action(shot(gazes, sticks())).last.line_rad == pytest.approx(2.5)
    nobody = cut_action(shot(acted(stand, 3.0), sticks())).last
    assert (nobody.line, nobody.line_rad) == ("none", None)


def _two(weights: tuple[float, float], *more: Subject) -> Shot:
    people = [
        acted(walk(0.0, start=(x, 0.0, 0.0)), 3.0, name=name)
        for name, x in (("guard", 1.5), ("courier", -1.5))
    ]
    people += more
    shares = (*weights, *(0.0 for _ in more))
    return shot(people, sticks(), framings=(framing(weights=shares),))


def test_a_pair_has_its_line_whoever_is_followed() -> None:
    for weights, subject in (((1.0, 0.6), "guard"), ((0.0, 1.0), "courier")):
        end = cut_action(_two(weights)).last
        line = lines_of(end)["courier|guard"]
        assert end.subject == subject
        assert line.kind == "pair"
        # From courier at -1.5 to guard at 1.5 is along +X, whoever is primary.
        assert line.bearing_rad == pytest.approx(-np.pi / 2)
        assert line.x == {"guard": 1.5, "courier": -1.5}[subject]
    assert end.others == (("guard", 1.5, 0.0, 0.0, 0.0, None),)


def test_of_three_each_two_have_a_line_and_each_mover_its_own() -> None:
    three = _two((1.0, 0.0), acted(walk(0.8, start=(0.0, 0.0, 4.0)), 3.0, name="third"))
    assert set(lines_of(cut_action(three).last)) == {
        "courier|guard",
        "courier|third",
        "guard|third",
        "third",
    }


def test_two_who_stand_in_one_place_have_no_line() -> None:
    near = _two((1.0, 0.0), acted(walk(0.0, start=(1.7, 0, 0)), 3.0, name="twin"))
    assert "guard|twin" not in lines_of(cut_action(near).last)


def test_of_a_crowd_only_some_have_lines() -> None:
    crowd = [acted(walk(0.0, start=(k, 0, 3)), 3.0, name=f"{k:02d}") for k in range(30)]
    assert len(lines_of(cut_action(_two((1.0, 0.0), *crowd)).last)) == 28


def test_who_comes_and_goes_by_which_side() -> None:
    stands = acted(walk(0.0, start=(0.0, 0.0, 0.0)), 4.0, name="a")
    crosses = acted(walk(4.0, start=(-8.0, 0.0, -1.0)), 4.0, name="b")
    ends = shot_ends(operate(shot([stands, crosses], sticks(10.0), preset="steady")))
    a, b = ends.people
    assert (a.at_first, a.at_last, a.ever, a.came, a.went) == (
        True, True, True, None, None,
    )  # fmt: skip
    assert (b.at_first, b.at_last, b.ever) == (False, False, True)
    assert (b.came, b.went) == ("left", "right")


def test_a_hidden_subject_has_no_place_on_the_screen() -> None:
    shown = np.arange(97) < 60
    walker = acted(walk(), 4.0, fresh=shown, visible=shown)
    ends = shot_ends(operate(shot(walker, sticks(10.0))))
    first, last = ends.first, ends.last
    assert first.u is not None
    assert (last.u, last.v, last.size, last.scale) == (None, None, None, None)


def test_ends_of_a_trial_are_those_of_its_take() -> None:
    for name in ("runner_on_track", "hand_over"):
        take = operate(SHOTS[name]())
        cut = ~take.handle
        cams = np.column_stack([take.base, take.pan[:, 0]])[cut]
        screen = np.column_stack([take.u, take.v, take.size])[cut]
        action = cut_action(take.shot)
        found = trial_ends(take.shot, take.shot.lens, action, cams, screen)
        assert found == replace(shot_ends(take), people=())
