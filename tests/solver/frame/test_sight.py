"""Whom a camera sees in a set: known answers for boxes, pillars and people."""

import numpy as np
import pytest
from set_scenes import box, set_of, turned

from carrellata.solver.frame.projection import Screen
from carrellata.solver.frame.sight import (
    AT_EYES,
    OUT_OF_FRAME,
    POINTS,
    SightCamera,
    Sighted,
    bodies_seen,
    segment_gap,
    sighted,
)
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.stage.stage import Stage

HEIGHT = 1.8
WIDE = Screen(1.0, 1.0, 0.0)
"""Shows 45 degrees to all sides of where it looks."""


def _people(*places: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return feet and eyes of people who stand, (p, 1, 3) [m]."""
    floor = np.array([[[x, 0.0, z]] for x, z in places])
    return floor, floor + np.array([0.0, 0.935 * HEIGHT, 0.0])


def _seen(
    mesh: SetMesh,
    people: tuple[np.ndarray, np.ndarray],
    *,
    lens: tuple[float, float, float] = (0.0, 1.5, 0.0),
    screen: Screen = WIDE,
    stage: Stage | None = None,
) -> Sighted:
    """Return what a lens that looks along -Z sees."""
    bodies = bodies_seen(*people, np.ones(len(people[0]), np.bool_))
    camera = SightCamera(np.array([[*lens, 0.0, 0.0]]), 0.0, screen)
    return sighted(stage or Stage(set=mesh), mesh, bodies, camera)


def test_a_counter_hides_what_is_below_its_line_of_sight() -> None:
    # From 1.5 m over 3 m to the counter and 3 m on: a counter of 1.1 m hides what is
    # below 0.7 m, one of 1.3 m what is below 1.1 m, and one of 1.6 m below 1.7 m.
    hips, chest, eyes, crown = (HEIGHT * f for f in (0.516, 0.727, 0.935, 1.0))
    for high, share in ((1.1, 0.0), (1.3, 0.25), (1.45, 0.5), (1.6, 0.75), (1.7, 1.0)):
        counter = set_of({"counter": box((-2, 0, -3.0), (2, high, -2.99))})
        hidden_below = 1.5 + 2 * (high - 1.5)
        below = [point < hidden_below - 0.01 for point in (crown, eyes, chest, hips)]
        seen = _seen(counter, _people((0.0, -6.0)))
        assert (seen.hider[0, :, 0] >= 0).tolist() == below
        assert seen.share_hidden[0, 0] == pytest.approx(share)
        assert seen.eyes_hidden[0, 0] == below[AT_EYES]


def test_a_pillar_hides_who_stands_behind_it_and_nobody_beside() -> None:
    pillar = set_of({"pillar": box((-0.25, 0, -3.25), (0.25, 4, -2.75))})
    # The edge of its shadow at 6 m is at 0.25 * 6 / 2.75 = 0.545 m.
    for aside, hidden in ((0.0, True), (0.5, True), (0.6, False), (1.0, False)):
        seen = _seen(pillar, _people((aside, -6.0), (9.0, -2.0)))
        assert seen.eyes_hidden[0, 0] == hidden
        assert seen.hider[0, AT_EYES, 0] == (2 if hidden else -1)  # after two people


def test_a_body_is_a_capsule_that_hides_what_is_behind_it() -> None:
    empty = set_of({"far": box((50, 0, 50), (51, 1, 51))})
    for aside, hides in ((0.20, True), (0.30, False)):
        # Half way between: the line to somebody 2 * aside off passes at `aside`.
        seen = _seen(empty, _people((2 * aside, -6.0), (0.0, -3.0)))
        assert seen.eyes_hidden[0, 0] == hides
    # A small one hides the hips and not the head.
    floor, eyes = _people((0.0, -6.0), (0.0, -3.0))
    eyes[1] = floor[1] + np.array([0.0, 0.935 * 1.2, 0.0])
    seen = _seen(empty, (floor, eyes))
    assert (seen.hider[0, :, 0] >= 0).tolist() == [False, False, False, False]
    seen = _seen(empty, (floor, eyes), lens=(0.0, 1.0, 0.0))
    assert (seen.hider[0, :, 0] >= 0).tolist() == [False, False, True, True]


def test_points_out_of_the_picture_do_not_count() -> None:
    counter = set_of({"counter": box((-2, 0, -3.0), (2, 1.3, -2.99))})
    close = Screen(0.1, 0.1, 0.0)  # shows 0.9 to 2.1 m at 6 m
    seen = _seen(counter, _people((0.0, -6.0)), screen=close)
    assert seen.share_hidden[0, 0] == pytest.approx(0.25)
    closer = Screen(0.05, 0.05, 0.0)  # shows 1.2 to 1.8 m
    seen = _seen(counter, _people((0.0, -6.0)), screen=closer)
    assert seen.hider[0, POINTS.index("hips"), 0] == OUT_OF_FRAME
    assert seen.share_hidden[0, 0] == 0.0
    behind = _seen(counter, _people((0.0, 6.0)))
    assert (behind.hider == OUT_OF_FRAME).all()
    assert behind.share_hidden[0, 0] == 0.0


def test_a_chair_hides_nobody_who_sits_on_it() -> None:
    around = set_of({"chair": box((-0.1, 0, -6.1), (0.1, 1.2, -5.9))})
    assert _seen(around, _people((0.0, -6.0))).share_hidden[0, 0] == 0.0


def test_a_wild_wall_in_the_way_is_taken_out_and_hides_nobody() -> None:
    parts = {
        "wild": box((-2, 0, -3.0), (2, 3, -2.9)),
        "beside": box((5, 0, -3.0), (6, 3, -2.9)),
        "last": box((-2, 0, -9.0), (2, 3, -8.9)),
    }
    mesh = set_of(parts, wild=("wild", "beside", "last"))
    seen = _seen(mesh, _people((0.0, -6.0)))
    assert seen.share_hidden[0, 0] == 0.0
    assert seen.taken_out.tolist() == [True, False, False]
    # Where a wall that stays hides them all the same, it need not go.
    parts["stays"] = box((-2, 0, -4.0), (2, 3, -3.9))
    mesh = set_of(parts, wild=("wild", "beside", "last"))
    seen = _seen(mesh, _people((0.0, -6.0)))
    assert seen.share_hidden[0, 0] == 1.0
    assert seen.taken_out.tolist() == [False] * 4


def test_keep_outs_hide_as_they_do_without_a_set() -> None:
    mesh = set_of({"far": box((50, 0, 50), (51, 1, 51))})
    stage = Stage(
        keep_outs=np.array([[[-1, 0, -3], [1, 2, -2]]]),
        names=("kiosk",),
        sight_forbidden=np.array([False]),
        set=mesh,
    )
    seen = _seen(mesh, _people((0.0, -6.0), (5.0, -6.0)), stage=stage)
    assert seen.hider[0, AT_EYES, 0] == 0
    assert seen.hider[1, AT_EYES, 0] == -1


def test_the_gap_of_segments_is_the_least_of_all_their_points() -> None:
    rng = np.random.default_rng(4)
    share = np.linspace(0.0, 1.0, 201)[:, None]
    for _ in range(60):
        a, b, p, q = rng.uniform(-1, 1, (4, 3))
        one, two = a + share * (b - a), p + share * (q - p)
        least = np.linalg.norm(one[:, None] - two, axis=2).min()
        assert segment_gap(a, b, p, q) == pytest.approx(least, abs=0.012)
        assert segment_gap(a, b, p, q) <= least + 1e-12
    point = np.array([0.0, 1.0, 0.0])
    a, b = np.zeros(3), np.array([2.0, 0.0, 0.0])
    assert segment_gap(a, b, point, point) == pytest.approx(1.0)
    assert segment_gap(a, a, point, point) == pytest.approx(1.0)


@pytest.mark.parametrize("angle", [0.6, -1.9, 3.0])
def test_who_is_seen_does_not_change_when_all_is_turned(angle: float) -> None:
    rng = np.random.default_rng(4)
    parts = {}
    for k in range(12):
        x, z = rng.uniform(-4, 4), rng.uniform(-9, -2)
        parts[f"crate{k}"] = box((x, 0.0, z), (x + 0.5, rng.uniform(0.8, 2.2), z + 0.5))
    places = [(rng.uniform(-4, 4), rng.uniform(-10, -3)) for _ in range(12)]
    mesh, (floor, eyes) = set_of(parts), _people(*places)
    plain = _seen(mesh, (floor, eyes))
    assert 5 < (plain.hider >= 0).sum() < 40
    around = set_of({name: turned(each, -angle) for name, each in parts.items()})
    bodies = bodies_seen(
        turned(floor, -angle), turned(eyes, -angle), np.ones(len(floor), np.bool_)
    )
    cams = np.array([[0.0, 1.5, 0.0, angle, 0.0]])
    found = sighted(Stage(set=around), around, bodies, SightCamera(cams, 0.0, WIDE))
    np.testing.assert_array_equal(found.hider, plain.hider)
