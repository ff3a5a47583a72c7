"""Cuts drawn in plain coordinates, whose faults a textbook names."""

from dataclasses import replace
from math import degrees, pi

import pytest
from ends import an_end, around, held, mirrored, moved

from carrellata.solver.cuts.appearance import Appearance
from carrellata.solver.cuts.continuity import (
    CutShot,
    cut_findings,
    cut_news,
    lens_use,
)
from carrellata.solver.cuts.end import CutEnd, ShotEnds
from carrellata.solver.cuts.findings import Finding
from carrellata.solver.cuts.lines import lines_of

A, B = (0.0, 0.0), (2.0, 0.0)


Ends = CutEnd | ShotEnds | None


def shot(name: str, ends: Ends, *, elapsed: bool = False, scene: str = "s") -> CutShot:
    whole = held(ends) if isinstance(ends, CutEnd) else ends
    return CutShot(name=name, scene=scene, elapsed=elapsed, ends=whole)


def cut(*ends: Ends) -> tuple[Finding, ...]:
    """Findings of the last of some shots, named 010, 020, ..."""
    shots = [shot(f"{k + 1:02d}0", one) for k, one in enumerate(ends)]
    return cut_findings(shots)[-1]


def names(*ends: Ends) -> list[str]:
    return [finding.name for finding in cut(*ends)]


def single(of: str, camera: tuple[float, float], **rest: object) -> CutEnd:
    """A single of one of two who face each other along the page."""
    at, other, there = (A, "b", B) if of == "a" else (B, "a", A)
    return an_end(camera, subject=of, at=at, partner=(other, there), **rest)


# -- the line of action ------------------------------------------------------


def test_reverses_from_one_side_of_a_pair_keep_the_line() -> None:
    # Both cameras stand below the page's line from a to b.
    assert names(single("a", (3.0, -2.0)), single("b", (-1.0, -2.0))) == []


def test_a_reverse_from_the_other_side_crosses_the_line() -> None:
    (found,) = cut(single("a", (3.0, -2.0)), single("b", (-1.0, 2.0)))
    assert (found.name, found.severity) == ("crosses_line", "fault")
    assert found.numbers["against"] == "010"
    assert found.numbers["subject"] == "a|b"
    # Seen from a, (3, -2) lies atan(2 / 3) right of b; from b, (-1, 2) lies as far
    # left of the line that runs on from a to b, by 180 degrees less that angle.
    assert found.numbers["from_deg"] == pytest.approx(-33.690, abs=1e-3)
    assert found.numbers["to_deg"] == pytest.approx(180 - 33.690, abs=1e-3)
    assert "180-degree rule" in found.source


def test_a_two_shot_and_a_single_share_the_line_of_the_pair() -> None:
    wide = single("a", (1.0, -8.0), size="full")
    assert names(wide, single("b", (-1.0, -2.0), size="chest")) == []
    assert "crosses_line" in names(wide, single("b", (-1.0, 2.0), size="chest"))


def test_a_walker_seen_from_both_sides_is_one_finding_not_two() -> None:
    right = an_end((0.0, -6.0), walks=(1.4, 0.0))
    left = an_end((0.0, 6.0), walks=(1.4, 0.0))
    assert right.across_m_s == pytest.approx(1.4)
    assert left.across_m_s == pytest.approx(-1.4)
    assert names(right, left) == ["crosses_line"]


def test_a_camera_within_ten_degrees_of_the_line_forgives_the_side() -> None:
    beside = an_end(around(-60.0), walks=(1.4, 0.0))
    for ahead_deg, name in ((9.0, "near_axis"), (11.0, "crosses_line")):
        found = cut(beside, an_end(around(ahead_deg), walks=(1.4, 0.0)))
        assert [one.name for one in found] == [name]
    behind = an_end(around(171.0), walks=(1.4, 0.0))
    assert names(beside, behind) == ["near_axis"]


def test_a_subject_that_turned_unseen_is_screen_direction_and_no_crossing() -> None:
    one = an_end((0.0, -6.0), walks=(1.4, 0.0))
    two = an_end((0.5, -6.0), walks=(-1.4, 0.0), size="medium")
    assert names(one, two) == ["screen_direction"]


def test_one_of_a_pair_who_runs_the_other_way_is_screen_direction() -> None:
    def run(speed: float, camera: tuple[float, float]) -> CutEnd:
        return an_end(camera, walks=(speed, 0.0), partner=("b", B), size="medium")

    found = cut(run(2.0, (0.0, -6.0)), run(-2.0, (5.0, -5.0)))
    assert [one.name for one in found] == ["screen_direction"]
    assert found[0].severity == "warning"
    # From (5, -5) the camera looks up and left: its right is (1, 1) / sqrt 2.
    assert found[0].numbers["to_m_s"] == pytest.approx(-2 / 2**0.5)
    assert names(run(0.4, (0.0, -6.0)), run(-0.4, (5.0, -5.0))) == []


def test_without_travel_gaze_or_partner_there_is_no_line() -> None:
    assert names(an_end((0.0, -6.0)), an_end((0.0, 6.0))) == []


def test_the_gaze_of_one_who_stands_is_a_line() -> None:
    left, right = (an_end((0.0, y), faces_deg=0.0) for y in (-6.0, 6.0))
    assert names(left, right) == ["crosses_line"]


def test_the_line_is_judged_against_the_last_shot_of_the_same_subject() -> None:
    one = an_end((0.0, -6.0), walks=(1.4, 0.0))
    other = an_end((20.0, 3.0), at=(20.0, 0.0), subject="b", faces_deg=0.0)
    back = an_end((0.0, 6.0), walks=(1.4, 0.0), focal_mm=75.0)
    (found,) = cut(one, other, back)
    assert (found.name, found.numbers["against"]) == ("crosses_line", "010")


def test_the_side_at_the_cut_counts_and_not_the_side_on_average() -> None:
    # The shot begins below the line and is walked past: it ends above it.
    passed = ShotEnds(
        first=an_end(around(-80.0), walks=(1.4, 0.0)),
        last=an_end(around(80.0), walks=(1.4, 0.0)),
    )
    after = an_end(around(40.0), walks=(1.4, 0.0))
    findings = cut_findings([shot("010", passed), shot("020", after)])
    assert [one.name for one in findings[0]] == ["crosses_in_shot"]
    assert [one.name for one in findings[1]] == ["size_unchanged"]


def test_the_line_is_that_of_the_two_whichever_shot_follows_whom() -> None:
    # The first shot follows the runner, with the other behind; the second the other.
    chase = an_end((0.0, -6.0), walks=(4.0, 0.0), partner=("b", (-5.0, 0.0)))
    for y, expected in ((-4.0, []), (4.0, ["crosses_line"])):
        pursuer = an_end((-5.0, y), subject="b", at=(-5.0, 0.0), walks=(4.0, 0.0),
                         partner=("a", A), focal_mm=75.0)  # fmt: skip
        assert names(chase, pursuer) == expected


def test_who_is_left_alone_is_held_against_their_own_line() -> None:
    both = an_end((0.0, -6.0), subject="b", at=B, partner=("a", A))
    with_own = replace(both, others=(("a", 0.0, 0.0, 0.0, 1.4, -pi / 2),))
    alone = an_end((0.5, 6.0), walks=(1.4, 0.0), focal_mm=75.0)
    (found,) = cut(with_own, alone)
    assert (found.name, found.numbers["subject"]) == ("crosses_line", "a")
    assert found.numbers["line"] in ("travel", "changed")


def test_a_line_of_two_who_are_not_followed_is_a_warning() -> None:
    def seen(camera: tuple[float, float]) -> CutEnd:
        end = an_end(camera, at=(0.0, 20.0), focal_mm=75.0)
        others = (("b", -9.0, 0.0, 0.0, 0.0, None), ("c", -6.0, 0.0, -3.0, 0.0, None))
        return replace(end, others=others)

    found = cut(seen((-2.0, -3.0)), seen((-7.0, 6.0)))
    crossed = {f.numbers["subject"]: f.severity for f in found if "line" in f.name}
    assert crossed == {"b|c": "warning"}


def test_who_goes_by_the_right_comes_in_by_the_left() -> None:
    def shown(came: str | None, went: str | None, at: float) -> ShotEnds:
        end = an_end(around(at), focal_mm=50.0 + at)
        one = Appearance("b", came is None, went is None, True, came, went)
        return ShotEnds(first=end, last=end, people=(one,))

    assert names(shown(None, "right", 0), shown("left", None, 70)) == []
    (found,) = cut(shown(None, "right", 0), shown("right", None, 70))
    assert (found.name, found.severity) == ("same_side", "warning")
    assert found.numbers == {"against": "010", "subject": "b", "side": "right"}
    between = an_end(around(140), focal_mm=35.0)
    found = cut(shown(None, "left", 0), held(between), shown("left", None, 70))
    assert [f.name for f in found] == ["same_side"]
    seen_again = cut(
        shown(None, "left", 0), shown("right", "right", 70), shown("left", None, 140)
    )
    assert [f.name for f in seen_again] == []


@pytest.mark.parametrize("change", ["elapsed", "scene"])
def test_time_that_elapsed_and_another_scene_say_nothing_of_space(change: str) -> None:
    one = an_end((0.0, -6.0), walks=(1.4, 0.0), u=-0.9)
    two = an_end((0.0, 6.0), walks=(1.4, 0.0), u=0.9, at=(0.0, 1.0))
    follow = (
        shot("020", two, elapsed=True)
        if change == "elapsed"
        else shot("020", two, scene="other")
    )
    assert cut_findings([shot("010", one), follow])[1] == ()


def test_a_scene_that_is_cut_back_to_remembers_its_line_only() -> None:
    one = an_end((0.0, -6.0), walks=(1.4, 0.0), u=-0.9)
    away = an_end((0.0, -6.0), subject="b")
    back = an_end((0.0, 6.0), walks=(1.4, 0.0), u=0.9)
    found = cut_findings(
        [shot("010", one), shot("020", away, scene="x"), shot("030", back)]
    )
    assert [one.name for one in found[2]] == ["crosses_line"]


def test_a_shot_that_failed_parts_its_neighbours() -> None:
    one = an_end(around(0.0))
    assert names(one, one) == ["adds_nothing"]
    assert names(one, None, one) == []


# -- thirty degrees and size --------------------------------------------------


@pytest.mark.parametrize(
    ("turn_deg", "size", "expected"),
    [
        (29.0, "full", ["adds_nothing"]),
        (31.0, "full", ["size_unchanged"]),
        (46.0, "full", []),
        (29.0, "cowboy", ["under_30_degrees"]),
        (31.0, "cowboy", []),
        (0.0, "medium", []),
        (90.0, "eyes", ["size_jump"]),
    ],
)
def test_a_cut_turns_thirty_degrees_or_changes_the_size(
    turn_deg: float, size: str, expected: list[str]
) -> None:
    one = an_end(around(-90.0), focal_mm=50.0)
    two = an_end(around(-90.0 + turn_deg), size=size, focal_mm=75.0)
    found = cut(one, two)
    assert [finding.name for finding in found] == expected
    for finding in found:
        assert finding.numbers["turn_deg"] == pytest.approx(turn_deg, abs=1e-9)


def test_a_jump_cut_is_worse_than_a_small_step_in() -> None:
    one = an_end(around(-90.0))
    (same,) = cut(one, an_end(around(-75.0), focal_mm=75.0))
    (step,) = cut(one, an_end(around(-75.0), focal_mm=75.0, size="cowboy"))
    assert (same.severity, step.severity) == ("warning", "note")


def test_sizes_are_compared_as_they_were_held_and_not_as_they_were_asked() -> None:
    one = an_end(around(-90.0), fill=0.9)
    # Asked full, but the camera is so near that it shows a medium.
    two = an_end(around(-90.0), fill=0.9 / 0.4)
    assert names(one, two) == []


def test_a_cut_to_the_same_picture_adds_nothing() -> None:
    one = an_end(around(-90.0))
    for other in (
        an_end(around(-70.0)),
        an_end(around(-70.0), focal_mm=75.0),
        an_end(around(-70.0), height_m=0.4),
    ):
        (found,) = cut(one, other)
        assert (found.name, found.severity) == ("adds_nothing", "warning")
        assert cut_news(shot("010", one), shot("020", other)) == ()


def test_another_subject_is_free_of_the_thirty_degrees() -> None:
    one = an_end(around(-90.0), subject="a")
    assert names(one, an_end(around(-80.0), subject="b")) == []


def test_a_camera_that_rises_thirty_degrees_turns_too() -> None:
    low = an_end((0.0, -6.0), height_m=1.6)
    # 6 tan 31 deg over the eyes, from 6 m off.
    high = an_end((0.0, -6.0), height_m=1.6 + 3.605)
    (found,) = cut(low, high)
    assert found.name == "size_unchanged"
    assert found.numbers["turn_deg"] == pytest.approx(31.0, abs=0.01)


# -- eye, reverses, lenses, places ---------------------------------------------


def test_the_eye_travels_in_half_frames_across_the_cut() -> None:
    one = an_end(around(-90.0), u=-0.6, v=0.0)
    for u, severity in ((0.3, None), (0.5, "note"), (0.95, "warning")):
        found = cut(one, an_end(around(0.0), u=u, v=0.0))
        assert [f.severity for f in found] == ([severity] if severity else [])
        if found:
            assert found[0].numbers["half_frames"] == pytest.approx(u + 0.6)


def test_up_and_down_the_eye_travels_less_in_a_wide_frame() -> None:
    one = an_end(around(-90.0), u=-0.8, v=1.0)
    (found,) = cut(one, an_end(around(0.0), u=0.2, v=-1.0))
    assert found.numbers["half_frames"] == pytest.approx((1 + (2 / 2.39) ** 2) ** 0.5)


def test_a_hidden_subject_has_no_place_for_the_eye() -> None:
    one = an_end(around(-90.0), u=-0.9)
    hidden = an_end(around(0.0), u=None, v=None)
    assert names(one, hidden) == []


def test_reverses_on_two_lenses_or_heights_are_unmatched() -> None:
    one = single("a", (3.0, -2.0), focal_mm=75.0)
    for other in ({"focal_mm": 50.0}, {"focal_mm": 75.0, "height_m": 0.9}):
        (found,) = cut(one, single("b", (-1.0, -2.0), **other))
        assert (found.name, found.severity) == ("unmatched_reverses", "note")
    assert names(one, single("b", (-1.0, -2.0), focal_mm=75.0)) == []


def test_the_third_shot_on_one_lens_is_noted_once() -> None:
    ends = [an_end(around(60.0 * k), focal_mm=35.0) for k in range(5)]
    found = cut_findings([shot(f"{k}", end) for k, end in enumerate(ends)])
    assert [[f.name for f in each] for each in found] == [[], [], ["lens_run"], [], []]


def test_lens_use_counts_shots() -> None:
    ends = [an_end(around(0.0), focal_mm=f) for f in (50.0, 35.0, 50.0)]
    assert lens_use([shot("1", end) for end in ends]) == {35.0: 1, 50.0: 2}


def test_a_subject_that_stands_elsewhere_after_a_continuous_cut_has_moved() -> None:
    one = an_end(around(-90.0))
    two = an_end(around(0.0, at=(0.8, 0.0)), at=(0.8, 0.0))
    (found,) = cut(one, two)
    assert (found.name, found.severity) == ("subject_moved", "note")
    assert found.numbers["moved_m"] == pytest.approx(0.8)
    far = an_end(around(0.0, at=(3.0, 0.0)), at=(3.0, 0.0))
    assert [f.severity for f in cut(one, far)] == ["warning"]


def test_what_its_speed_explains_is_no_move() -> None:
    one = an_end(around(-90.0), walks=(4.0, 0.0))
    two = an_end(around(-30.0, at=(1.2, 0.0)), at=(1.2, 0.0), walks=(4.0, 0.0))
    assert "subject_moved" not in names(one, two)


def test_one_who_is_not_followed_is_watched_too() -> None:
    one = single("a", (3.0, -2.0))
    two = an_end((-1.0, -2.0), subject="b", at=B, partner=("a", (-2.0, 0.0)))
    (found,) = cut(one, two)
    assert (found.name, found.numbers["subject"]) == ("subject_moved", "a")
    assert found.numbers["moved_m"] == pytest.approx(2.0)


# -- invariance ----------------------------------------------------------------

CASES = [
    (single("a", (3.0, -2.0)), single("b", (-1.0, 2.0), focal_mm=75.0)),
    (an_end(around(-60.0), walks=(1.4, 0.3)), an_end(around(8.0), walks=(1.4, 0.0))),
    (an_end(around(10.0), u=-0.8), an_end(around(30.0), u=0.7)),
    (an_end(around(-90.0), walks=(1.0, 0.0)), an_end(around(90.0), walks=(1.0, 0.0))),
]


@pytest.mark.parametrize("case", CASES)
def test_a_mirrored_scene_has_the_mirrored_findings(case: tuple[CutEnd, ...]) -> None:
    there, mirror = cut(*case), cut(*(mirrored(end) for end in case))
    assert there
    assert [f.name for f in there] == [f.name for f in mirror]
    assert [f.severity for f in there] == [f.severity for f in mirror]
    for one, two in zip(there, mirror, strict=True):
        for name, value in one.numbers.items():
            sign = -1 if name in ("from_deg", "to_deg", "from_u", "to_u") else 1
            if isinstance(value, float):
                assert two.numbers[name] == pytest.approx(sign * value, abs=1e-9)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("turn_rad", [0.7, 2.0, -2.9])
def test_a_world_turned_and_shifted_has_the_same_findings(
    case: tuple[CutEnd, ...], turn_rad: float
) -> None:
    there = cut(*case)
    elsewhere = cut(*(moved(end, turn_rad, (5.0, 1.0, -3.0)) for end in case))
    for one, two in zip(there, elsewhere, strict=True):
        assert one.name == two.name
        for name, value in one.numbers.items():
            near = pytest.approx(value, abs=1e-6) if isinstance(value, float) else value
            # The heights are the world's; the rest is of the two shots alone.
            if "height" not in name:
                assert two.numbers[name] == near


def test_angles_of_a_drawn_end_are_those_on_the_page() -> None:
    end = an_end((3.0, -3.0), walks=(1.0, 0.0), height_m=1.6 + 18**0.5)
    line = lines_of(end)[end.subject]
    assert degrees(line.off_rad(end.lens)) == pytest.approx(-45.0)
    assert (line.side(end.lens), line.is_near(end.lens)) == (-1, False)
    assert degrees(end.elevation_rad) == pytest.approx(45.0)
    assert end.height_m == pytest.approx(1.6 + 18**0.5)
    assert end.scale == pytest.approx(0.9)
