"""Floors of any shape: what is on them, and how far from their edges."""

import numpy as np
import pytest

from carrellata.solver.rigs.faults import rail_faults
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.rigs.track import track
from carrellata.solver.stage.outline import hull, off_floor_boxes, outline_margin
from carrellata.solver.stage.stage import Stage, floor_margin, with_floor_boxed

BENT = np.array([(0, 0), (9, 0), (9, 9), (6, 9), (6, 3), (0, 3)], dtype=float)
HOLE = np.array([(7, 1), (8, 1), (8, 2), (7, 2)], dtype=float)


def test_margins_of_a_bent_floor_with_a_hole() -> None:
    points = np.array([(1, 1), (3, 6), (7.5, 1.5), (8.5, 1.5), (5.5, 3.5), (-3, 0)])
    margins = outline_margin([BENT, HOLE], points)
    assert margins == pytest.approx([1.0, -3.0, -0.5, 0.5, -0.5, -3.0])
    turned = outline_margin([BENT[::-1], HOLE[::-1]], points)
    np.testing.assert_array_equal(margins, turned)


def test_a_convex_floor_has_the_margins_of_its_rows() -> None:
    square = np.array([(0, 0), (4, 0), (4, 4), (0, 4)], dtype=float)
    points = np.random.default_rng(2).uniform(-3, 7, (200, 2))
    rows = floor_margin(Stage(floor=square), points)
    np.testing.assert_allclose(outline_margin([square], points), rows, atol=1e-12)


def test_the_hull_goes_once_round() -> None:
    assert hull(BENT).tolist() == [[0, 0], [9, 0], [9, 9], [6, 9], [0, 3]]


def test_a_rail_across_the_corner_of_a_bent_floor_leaves_it() -> None:
    stage = Stage(floor=hull(BENT), outline=(BENT, HOLE))
    across = track(np.array([1.0, 1.5, 2.0]), np.array([6.5, 1.5, 6.0]))
    assert rail_faults(stage, across)["floor"] > 0.5
    over = track(np.array([7.5, 1.5, 0.5]), np.array([7.5, 1.5, 5.0]))
    assert rail_faults(stage, over)["floor_hole:0"] == pytest.approx(0.5, abs=0.1)
    assert (
        rail_faults(stage, track(np.array([1.0, 1.5, 1]), np.array([6, 1.5, 1.0])))
        == {}
    )


def test_a_hole_that_a_rig_stands_in_is_named() -> None:
    other = HOLE + np.array([0.0, 5.0])
    stage = Stage(floor=hull(BENT), outline=(BENT, other, HOLE))
    stands = rail_faults(stage, sticks(np.array([7.5, 1.5, 1.5])))
    assert stands == {"floor_hole:1": pytest.approx(0.5)}


def test_boxes_hold_holes_and_notches_of_a_floor() -> None:
    boxes = off_floor_boxes([BENT, HOLE])
    assert [each.tolist() for each in boxes] == [
        [[0.0, 3.0], [6.0, 9.0]],
        [[7.0, 1.0], [8.0, 2.0]],
    ]
    assert off_floor_boxes([np.roll(BENT[::-1], 2, axis=0)])[0].tolist() == [
        [0.0, 3.0],
        [6.0, 9.0],
    ]
    assert off_floor_boxes([hull(BENT)]) == []
    random = np.random.default_rng(3)
    points = random.uniform((0.0, 0.0), (9.0, 9.0), (400, 2))
    on_hull = outline_margin([hull(BENT)], points) > 0
    off_floor = outline_margin([BENT, HOLE], points) < 0
    boxed = np.any(
        [((points >= low) & (points <= high)).all(axis=1) for low, high in boxes],
        axis=0,
    )
    assert (boxed | ~off_floor)[on_hull].all()


def test_laying_knows_a_floor_by_its_hull_and_boxes() -> None:
    plain = Stage(floor=hull(BENT))
    assert with_floor_boxed(plain) is plain
    boxed = with_floor_boxed(Stage(floor=hull(BENT), outline=(BENT, HOLE)))
    assert len(boxed.keep_outs) == len(boxed.names) == len(boxed.sight_forbidden) == 2
    rail = track(np.array([1.0, 1.5, 1.5]), np.array([8.8, 1.5, 1.5]))
    assert rail_faults(boxed, rail).keys() == {"floor_hole:0", "keep_out:off_floor1"}
