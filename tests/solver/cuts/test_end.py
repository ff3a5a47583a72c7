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
    hand_over,
    shot,
    sticks,
    walk,
)

from carrellata.solver.action.subject import Subject
from carrellata.solver.cuts.at_cut import cut_action
from carrellata.solver.cuts.end import ShotEnds, shot_ends, trial_ends
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
    assert (last.line, last.line_of) == ("travel", "a")
    assert last.line_rad == pytest.approx(-np.pi / 2)
    assert last.velocity == pytest.approx((1.4, 0.0, 0.0))
    # The camera stands on +Z, on the walker's right; it runs right on the screen.
    assert first.side == last.side == -1
    assert first.across_m_s > 1.2
    # Walked from x = -4 to 1.6: the camera at (0, 12) bears atan(4 / 12) past abeam.
    assert first.off_line_rad == pytest.approx(-np.arctan2(12.0, 4.0))
    assert last.off_line_rad == pytest.approx(-np.arctan2(12.0, -1.6))
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


def test_two_in_the_frame_have_the_line_between_them() -> None:
    end = cut_action(_two((1.0, 0.6))).last
    assert (end.line, end.line_of, end.subject) == ("pair", "courier|guard", "guard")
    # From courier at -1.5 to guard at 1.5 is along +X, whoever is primary.
    assert end.line_rad == pytest.approx(-np.pi / 2)
    other = cut_action(_two((0.6, 1.0))).last
    assert (other.subject, other.line_rad) == ("courier", end.line_rad)
    assert end.others == (("courier", -1.5, 0.0, 0.0, 0.0),)


def test_a_single_of_one_of_two_can_declare_their_line() -> None:
    three = _two((1.0, 0.0), acted(walk(0.0), 3.0, name="third"))
    assert cut_action(three).last.line == "none"
    declared = cut_action(three, ("guard", "courier")).last
    assert (declared.line, declared.line_of) == ("pair", "courier|guard")


def test_a_single_of_one_who_stands_by_another_keeps_the_line_of_the_two() -> None:
    single = cut_action(_two((1.0, 0.0))).last
    assert (single.line, single.line_of, single.subject) == (
        "pair", "courier|guard", "guard",
    )  # fmt: skip
    walks = acted(walk(1.4), 3.0, name="guard")
    stands = acted(walk(0.0, start=(0.0, 0.0, -3.0)), 3.0, name="courier")
    assert cut_action(shot([walks, stands], sticks())).last.line == "travel"


def test_a_subject_that_is_left_inside_the_cut_is_seen_last_where_it_was() -> None:
    ends = shot_ends(operate(hand_over()))
    assert (ends.first.subject, ends.last.subject) == ("a", "b")
    (left,) = ends.left
    # The cue is at the 49th frame; the frame before is the last of the first subject.
    assert (left.subject, left.frame) == ("a", ends.first.frame + 47)
    assert left.place == pytest.approx((-3.5, 0.0, 0.0))


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
        assert trial_ends(take.shot, take.shot.lens, action, cams, screen) == shot_ends(
            take
        )
