"""What a line meets of a set, against brute force and known answers."""

import numpy as np
import pytest
from set_scenes import box, brute_force, set_of, turned, wall_with_door

from carrellata.solver.errors import SolverError
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.sight.tree import THIN

LINES = 400


def _random(n: int) -> np.ndarray:
    rng = np.random.default_rng(7)
    middle = rng.uniform(-10.0, 10.0, (n, 1, 3)) * [1.0, 0.3, 1.0]
    return middle + rng.normal(0.0, 0.15, (n, 3, 3))


def _lines(n: int, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    scale = [10.0, 3.0, 10.0]
    return rng.uniform(-1, 1, (n, 3)) * scale, rng.uniform(-1, 1, (n, 3)) * scale


def test_ten_thousand_random_triangles_give_what_brute_force_gives() -> None:
    corners = _random(10_000)
    mesh = SetMesh(
        names=tuple(f"t{k}" for k in range(len(corners))),
        wild=np.zeros(len(corners), np.bool_),
        corners=corners,
        part=np.arange(len(corners)),
        flags=np.zeros(len(corners)),
    )
    starts, ends = _lines(LINES)
    found, where = brute_force(corners, starts, ends)
    assert 50 < (found >= 0).sum() < LINES - 50  # both answers are there
    np.testing.assert_array_equal(mesh.met(starts, ends), found)
    np.testing.assert_allclose(
        mesh.clear(starts, ends), np.minimum(where, 1.0), rtol=0, atol=1e-9
    )
    # The other way round another triangle is the nearest, and again the same one.
    back, _ = brute_force(corners, ends, starts)
    assert (back != found).any()
    np.testing.assert_array_equal(mesh.met(ends, starts), back)


def test_the_answers_do_not_change_when_the_scene_is_turned_or_scaled() -> None:
    corners = _random(2_000)
    part = np.arange(len(corners))
    starts, ends = _lines(LINES, seed=5)

    def met(change) -> np.ndarray:
        mesh = SetMesh(
            names=tuple(map(str, part)),
            wild=np.zeros(len(part), np.bool_),
            corners=change(corners),
            part=part,
            flags=np.zeros(len(part)),
        )
        return mesh.met(change(starts), change(ends))

    plain = met(lambda p: p)
    for change in (
        lambda p: turned(p, 0.7),
        lambda p: turned(turned(p, 1.1, axis=0), -0.4, axis=2),
        lambda p: p[..., [0, 2, 1]] * [1.0, 1.0, -1.0],
        lambda p: p * 100.0,
        lambda p: p + np.array([300.0, 5.0, -200.0]),
    ):
        np.testing.assert_array_equal(met(change), plain)


def test_lines_along_axes_and_edges_meet_a_box() -> None:
    mesh = set_of({"box": box((-1.0, 0.0, -1.0), (1.0, 2.0, 1.0))})
    ends = np.array([[0.0, 1.0, 5.0], [1.0, 1.0, 5.0], [0.3, 5.0, 0.3], [1.01, 1, 5.0]])
    starts = np.array([[0.0, 1.0, -5.0], [1.0, 1, -5.0], [0.3, -5, 0.3], [1.01, 1, -5]])
    assert mesh.met(starts, ends).tolist() == [0, 0, 0, -1]


def test_a_doorway_lets_through_what_goes_through_it() -> None:
    mesh = set_of(wall_with_door(0.9))
    start = np.array([[0.0, 1.5, -4.0]])
    ends = np.array([[0.0, 1.5, 4.0], [0.8, 1.5, 4.0], [1.0, 1.5, 4.0], [0, 3.0, 4.0]])
    met = mesh.met(np.repeat(start, 4, axis=0), ends)
    # At z = 0 the lines are half way: at x = 0, 0.4, 0.5 and 2.25 m high.
    assert met.tolist() == [-1, -1, 0, 0]


def test_wild_and_thin_parts_and_parts_taken_out_stop_no_line() -> None:
    wall = box((-1.0, 0.0, 0.0), (1.0, 3.0, 0.1))
    line = np.array([[0.0, 1.0, -2.0]]), np.array([[0.0, 1.0, 2.0]])
    assert set_of({"wall": wall}).met(*line).tolist() == [0]
    assert set_of({"wall": wall}, wild=("wall",)).met(*line).tolist() == [-1]
    assert set_of({"wall": wall}).without(0).met(*line).tolist() == [-1]
    assert set_of({"wall": wall}, flags=THIN).met(*line).tolist() == [-1]


def test_nothing_stands_in_an_empty_set() -> None:
    empty = SetMesh((), np.zeros(0, np.bool_), np.empty((0, 3, 3)), *[np.zeros(0)] * 2)
    assert empty.met(np.zeros((2, 3)), np.ones((2, 3))).tolist() == [-1, -1]


def test_many_triangles_in_one_place_make_no_endless_tree() -> None:
    one = np.array([[[0.0, 0, 0], [1.0, 0, 0], [0, 1.0, 0]]])
    mesh = set_of({"pile": np.repeat(one, 1000, axis=0)}, flags=0)
    line = np.array([[0.2, 0.2, -1.0]]), np.array([[0.2, 0.2, 1.0]])
    assert mesh.met(*line).tolist() == [0]
    assert len(mesh.tree.size) < 2 * 1000


def test_a_set_whose_arrays_do_not_agree_is_refused() -> None:
    corners = np.zeros((2, 3, 3))
    with pytest.raises(SolverError, match="parts and flags"):
        SetMesh(("a",), np.zeros(1, np.bool_), corners, np.zeros(1), np.zeros(2))
    with pytest.raises(SolverError, match="belong to one"):
        SetMesh(("a",), np.zeros(1, np.bool_), corners, np.full(2, 1), np.zeros(2))


def test_the_tree_is_the_same_whenever_it_is_built() -> None:
    corners = _random(3_000)
    build = [set_of({"all": corners}).tree for _ in range(2)]
    for one, two in zip(*build, strict=True):
        assert one.tobytes() == two.tobytes()
