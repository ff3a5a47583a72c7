"""Floors of any shape: what is on them, and how far from their edges."""

import numpy as np
import pytest

from carrellata.solver.rigs.faults import rail_faults
from carrellata.solver.rigs.track import track
from carrellata.solver.stage.outline import hull, outline_margin
from carrellata.solver.stage.stage import Stage, floor_margin

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
    assert rail_faults(stage, over)["floor"] == pytest.approx(0.5, abs=0.1)
    assert (
        rail_faults(stage, track(np.array([1.0, 1.5, 1]), np.array([6, 1.5, 1.0])))
        == {}
    )
