"""The lines of a set: edges of boxes and outlines of pillars, seen and hidden."""

import numpy as np
import pytest
from set_scenes import box, set_of

from carrellata.solver.arrays import FloatArray
from carrellata.solver.sight.lines import edge_pieces, pieces_seen, section, standing

SIDES = 24


def _pillar(x: float, z: float) -> FloatArray:
    """Return the side of a round pillar of 0.5 m radius and 3 m, faces out."""
    angle = 2 * np.pi * np.arange(SIDES + 1) / SIDES
    ring = np.column_stack([x + 0.5 * np.cos(angle), z + 0.5 * np.sin(angle)])
    ring[-1] = ring[0]
    low = np.insert(ring, 1, 0.0, axis=1)
    high = np.insert(ring, 1, 3.0, axis=1)
    p, q, r, s = low[:-1], low[1:], high[1:], high[:-1]
    return np.concatenate([np.stack([p, r, q], axis=1), np.stack([p, s, r], axis=1)])


def test_a_box_has_twelve_edges_and_no_diagonals() -> None:
    mesh = set_of({"box": box((0.0, 0.0, 0.0), (1.0, 2.0, 3.0))})
    lengths = np.linalg.norm(np.diff(mesh.edges.ends, axis=1)[:, 0], axis=1)
    assert sorted(lengths.round(9).tolist()) == [1.0] * 4 + [2.0] * 4 + [3.0] * 4
    assert not mesh.edges.smooth.any()


def test_a_pillar_is_drawn_by_its_outline() -> None:
    mesh = set_of({"pillar": _pillar(0.0, 0.0)}, flags=0)
    pieces = edge_pieces(mesh, np.array([0.0, 1.5, 5.0]), 500)
    upright = pieces.smooth
    assert upright.sum() == 2 * SIDES  # two pieces of 1.5 m each
    shown = np.ones((1, len(pieces.ends)), np.bool_)
    seen = pieces_seen(mesh, pieces, np.array([[0.0, 1.5, 8.0]]), shown)[0]
    x = pieces.ends[seen & upright].mean(axis=1)[:, 0]
    # Tangents from 8 m touch at 0.5 * sqrt(1 - (0.5 / 8)**2), to within a side.
    assert len(x) == 4
    assert sorted(x) == pytest.approx([-0.499, -0.499, 0.499, 0.499], abs=0.01)


def test_what_a_wall_hides_is_not_drawn_unless_it_is_taken_out() -> None:
    parts = {
        "wall": box((-3.0, 0.0, 0.0), (3.0, 3.0, 0.1)),
        "crate": box((-0.5, 0.0, -2.0), (0.5, 1.0, -1.0)),
    }
    mesh = set_of(parts, wild=("wall",))
    lens = np.array([[0.0, 1.5, 5.0]])
    for gone, crates in (([False, False], False), ([True, False], True)):
        stood = standing(mesh, np.array(gone))
        pieces = edge_pieces(stood, np.array([0.0, 1.0, 0.0]), 500)
        shown = np.ones((1, len(pieces.ends)), np.bool_)
        seen = pieces_seen(stood, pieces, lens, shown)[0]
        assert (pieces.ends[seen, :, 2] < -0.5).any() == crates


def test_a_section_of_a_box_is_its_outline() -> None:
    mesh = set_of({"box": box((0.0, 0.0, 0.0), (2.0, 1.0, 3.0))})
    lines = section(mesh, 0.5)
    length = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum()
    assert length == pytest.approx(2 * (2.0 + 3.0))
    assert len(section(mesh, 1.5)) == 0
    assert len(section(mesh.without(0), 0.5)) == 0
