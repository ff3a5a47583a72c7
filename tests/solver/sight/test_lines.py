"""The lines of a set: edges of boxes and outlines of pillars, seen and hidden."""

import numpy as np
import pytest
from set_scenes import box, divided, set_of

from carrellata.solver.arrays import FloatArray
from carrellata.solver.frame.edges_shown import BESIDE, pieces_shown
from carrellata.solver.frame.projection import Screen, project
from carrellata.solver.frame.sight import SightCamera
from carrellata.solver.sight import lines
from carrellata.solver.sight.joined import joined
from carrellata.solver.sight.lines import (
    best,
    edge_pieces,
    pieces_seen,
    section,
    standing,
)
from carrellata.solver.sight.set_mesh import SetMesh

SIDES = 24
MIDDLE = np.array([0.0, 1.0, 0.0])


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


def _from(*lens: tuple[float, ...]) -> SightCamera:
    """Return level cameras at places, that look along -Z through a wide lens."""
    cams = np.zeros((len(lens), 5))
    cams[:, :3] = lens
    return SightCamera(cams, 0.0, Screen(1.0, 1.0, 0.0))


def test_a_pillar_is_drawn_by_its_outline() -> None:
    mesh = set_of({"pillar": _pillar(0.0, 0.0)}, flags=0)
    pieces = edge_pieces(mesh)
    upright = pieces.smooth
    assert upright.sum() == 2 * SIDES  # two pieces of 1.5 m each
    camera = _from((0.0, 1.5, 8.0))
    shown = pieces_shown(pieces, camera)
    seen = pieces_seen(mesh, pieces, camera.cams[:, :3], shown)[0]
    x = pieces.ends[seen & upright].mean(axis=1)[:, 0]
    # Tangents from 8 m touch at 0.5 * sqrt(1 - (0.5 / 8)**2), to within a side.
    assert len(x) == 4
    assert sorted(x) == pytest.approx([-0.499, -0.499, 0.499, 0.499], abs=0.01)


def test_only_what_is_in_the_picture_or_just_beside_it_is_drawn() -> None:
    # At 4 m from the lens half the picture is 4 m wide, and BESIDE of it 5.2 m.
    cubes = {str(x): box((x, 1.0, -0.5), (x + 0.5, 2.0, 0.0)) for x in (0, 4, 5, 6)}
    mesh = set_of(cubes)
    pieces = edge_pieces(mesh)
    ahead, behind = pieces_shown(pieces, _from((0.0, 1.5, 4.0), (0.0, 1.5, -4.0)))
    near = pieces.ends[:, :, 2].min(axis=1) == 0.0
    shown = {mesh.names[k] for k in pieces.part[ahead & near].tolist()}
    assert shown == {"0", "4", "5"}
    assert not behind.any()
    left = pieces_shown(pieces, _from((20.0, 1.5, 4.0)))
    assert not left.any()


def test_what_is_shown_is_what_projecting_every_end_gives() -> None:
    rng = np.random.default_rng(9)
    lows = rng.uniform((-15, 0, -15), (15, 2, 15), (60, 3))
    crates = {
        str(k): box(tuple(low), tuple(low + rng.uniform(0.1, 3.0, 3)))
        for k, low in enumerate(lows)
    }
    pieces = edge_pieces(set_of(crates))
    cams = rng.uniform((-9, 0.5, -9, -3, -0.6), (9, 3.0, 9, 3, 0.6), (20, 5))
    camera = SightCamera(cams, 0.1, Screen(0.5, 0.2, 0.3))
    shown = pieces_shown(pieces, camera)
    points = pieces.ends.reshape(-1, 3)
    for f, cam in enumerate(cams):
        u, v, _ = project(points, cam[:3], cam[3], cam[4], 0.1, 0.5, 0.2)
        inside = (np.abs(u) <= BESIDE) & (np.abs(v + 0.3) <= BESIDE)
        assert (shown[f] == inside.reshape(-1, 2).any(axis=1)).all()
    assert 0.05 < shown.mean() < 0.5


def test_of_very_many_edges_the_long_ones_are_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(lines, "MOST_EDGES", 4)
    mesh = set_of({"box": box((0.0, 0.0, 0.0), (1.0, 2.0, 3.0))})
    pieces = edge_pieces(mesh)
    assert len(pieces.ends) == 4 * 2
    length = np.linalg.norm(pieces.ends[:, 1] - pieces.ends[:, 0], axis=1)
    assert length == pytest.approx(np.full(8, 1.5))


def test_what_a_wall_hides_is_not_drawn_unless_it_is_taken_out() -> None:
    parts = {
        "wall": box((-3.0, 0.0, 0.0), (3.0, 3.0, 0.1)),
        "crate": box((-0.5, 0.0, -2.0), (0.5, 1.0, -1.0)),
    }
    mesh = set_of(parts, wild=("wall",))
    lens = np.array([[0.0, 1.5, 5.0]])
    for gone, crates in (([False, False], False), ([True, False], True)):
        stood = standing(mesh, np.array(gone))
        pieces = edge_pieces(stood)
        shown = np.ones((1, len(pieces.ends)), np.bool_)
        seen = pieces_seen(stood, pieces, lens, shown)[0]
        assert (pieces.ends[seen, :, 2] < -0.5).any() == crates


def test_a_section_of_a_box_is_its_outline() -> None:
    mesh = set_of({"box": box((0.0, 0.0, 0.0), (2.0, 1.0, 3.0))})
    cut = section(mesh, 0.5, MIDDLE, 100)
    length = np.linalg.norm(cut[:, 1] - cut[:, 0], axis=1).sum()
    assert length == pytest.approx(2 * (2.0 + 3.0))
    # Each wall is two triangles, and one line.
    assert len(cut) == 4
    assert len(section(mesh, 1.5, MIDDLE, 100)) == 0
    assert len(section(mesh.without(0), 0.5, MIDDLE, 100)) == 0


def test_of_many_lines_of_a_section_the_near_ones_are_drawn() -> None:
    crates = {
        f"crate{k}": box((2.0 * k, 0.0, 0.0), (2.0 * k + 1.0, 1.0, 1.0))
        for k in range(20)
    }
    cut = section(set_of(crates), 0.5, np.array([20.0, 1.0, 0.5]), 12)
    assert cut.shape == (12, 2, 2)
    assert cut[:, :, 0].min() >= 16.0
    assert cut[:, :, 0].max() <= 25.0


def test_a_wall_in_many_triangles_is_drawn_as_one_in_two() -> None:
    plain = box((-3.0, 0.0, 0.0), (3.0, 3.0, 0.1))
    fine = divided(divided(divided(plain)))
    one, many = set_of({"wall": plain}), set_of({"wall": fine})
    assert len(many.edges.ends) == len(one.edges.ends) == 12

    def ends(mesh: SetMesh) -> set[tuple[tuple[float, ...], ...]]:
        rows = mesh.edges.ends.round(6) + 0.0
        return {tuple(sorted(map(tuple, edge))) for edge in rows.tolist()}

    assert ends(many) == ends(one)
    cut = section(many, 0.5, MIDDLE, 100)
    assert len(cut) == 4


def test_lines_are_joined_where_they_touch_and_are_alike() -> None:
    ends = np.array(
        [
            [(0, 0, 0), (1, 0, 0)],
            [(2, 0, 0), (1, 0, 0)],
            [(3, 0, 0), (4, 0, 0)],  # a gap before it
            [(2, 0, 0), (2.5, 0, 0)],  # of another kind
            [(0, 0, 1e-2), (1, 0, 1e-2)],  # beside
            [(1.5, 0, 0), (1.75, 0, 0)],  # inside the first two
        ],
        dtype=np.float64,
    )
    found, row = joined(ends, np.array([0, 0, 0, 1, 0, 0]))
    spans = sorted(
        (float(z[0]), float(x[0]), float(x[1])) for x, _, z in found.transpose(0, 2, 1)
    )
    assert spans == [(0, 0, 2), (0, 2, 2.5), (0, 3, 4), (0.01, 0, 1)]
    assert len(row) == 4


def test_a_piece_is_looked_at_again_where_what_is_seen_of_it_changes() -> None:
    parts = {
        "wall": box((-1.0, 0.0, 0.0), (1.0, 3.0, 0.1)),
        "crate": box((-2.5, 0.0, -2.0), (2.5, 1.0, -1.0)),
    }
    mesh = set_of(parts)
    pieces = edge_pieces(mesh)
    lens = np.linspace((-4.0, 1.5, 5.0), (4.0, 1.5, 5.0), 12)
    shown = np.ones((12, len(pieces.ends)), np.bool_)
    shown[3, :5] = shown[8, ::2] = False
    seen = pieces_seen(mesh, pieces, lens, shown)
    alone = np.array(
        [
            pieces_seen(mesh, pieces, lens[k : k + 1], shown[k : k + 1])[0]
            for k in range(12)
        ]
    )
    # Every second one is as if looked at alone, others but where both beside agree.
    assert (seen[::2] == alone[::2]).all()
    assert (seen[-1] == alone[-1]).all()
    differs = np.argwhere(seen != alone)
    assert len(differs) < 0.02 * seen.size
    for f, n in differs:
        assert seen[f - 1, n] == seen[f + 1, n] == seen[f, n]
    assert (seen[1:] != seen[:-1]).any()


def test_the_best_rows_are_those_of_a_stable_sort() -> None:
    rng = np.random.default_rng(6)
    for n in (0, 5, 40, 400):
        worth = rng.integers(0, 12, n) / 4.0
        sorted_ = np.argsort(-worth, kind="stable")[:40]
        assert best(worth, 40).tolist() == sorted(sorted_.tolist())


def test_sticks_see_at_every_moment_what_one_look_sees() -> None:
    parts = {
        "wall": box((-1.0, 0.0, 0.0), (1.0, 3.0, 0.1)),
        "crate": box((-2.5, 0.0, -2.0), (2.5, 1.0, -1.0)),
    }
    mesh = set_of(parts)
    pieces = edge_pieces(mesh)
    lens = np.array([[0.0, 1.5, 5.0]] * 3)
    rng = np.random.default_rng(7)
    shown = rng.random((3, len(pieces.ends))) < 0.6
    seen = pieces_seen(mesh, pieces, lens, shown)
    for k in range(3):
        alone = pieces_seen(mesh, pieces, lens[k : k + 1], shown[k : k + 1])[0]
        assert (seen[k] == alone).all()
        moved = np.array([lens[k], lens[k] + [0.0, 0.0, 1.0]])
        beside = pieces_seen(mesh, pieces, moved, shown[[k, k]])[0]
        assert (beside == alone).all()
