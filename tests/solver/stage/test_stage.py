import numpy as np
import pytest

from carrellata.solver.errors import SolverError
from carrellata.solver.stage.stage import (
    Stage,
    floor_margin,
    floor_rows,
    hidden_by,
    rail_crosses,
    sight_hidden,
)

SQUARE = np.array([(0, 0), (6, 0), (6, 4), (0, 4)], dtype=np.float64)


def boxes(*corners, sight=None):
    """Return a stage with these boxes."""
    m = len(corners)
    return Stage(
        keep_outs=np.array(corners, dtype=np.float64),
        names=tuple(f"box{k}" for k in range(m)),
        sight_forbidden=np.zeros(m, np.bool_) if sight is None else np.array(sight),
    )


def some_polygon(rng):
    """Return a convex polygon: points on an ellipse, in order."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 9)))
    return rng.normal(0, 5, 2) + np.column_stack(
        (rng.uniform(2, 8) * np.cos(angle), rng.uniform(2, 8) * np.sin(angle))
    )


def test_a_floor_is_the_same_either_way_round() -> None:
    points = np.random.default_rng(1).uniform(-2, 8, (200, 2))
    one, other = Stage(floor=SQUARE), Stage(floor=SQUARE[::-1])
    assert floor_margin(one, points) == pytest.approx(floor_margin(other, points))


def test_edges_point_out_of_the_floor() -> None:
    normals, bounds = floor_rows(Stage(floor=SQUARE))
    assert np.hypot(*normals.T) == pytest.approx(np.ones(4))
    assert np.all(normals @ SQUARE.mean(axis=0) < bounds)
    assert floor_margin(Stage(floor=SQUARE), np.array([(1.0, 2.0), (9.0, 8.0)])) == (
        pytest.approx((1.0, -5.0))
    )


def test_margin_is_the_distance_to_a_densely_sampled_edge() -> None:
    rng = np.random.default_rng(7)
    share = np.linspace(0, 1, 4001)[:, None]
    for _ in range(20):
        stage = Stage(floor=some_polygon(rng))
        corners = stage.floor
        edge = np.concatenate(
            [
                corners[k - 1] + share * (corners[k] - corners[k - 1])
                for k in range(len(corners))
            ]
        )
        points = rng.uniform(-15, 15, (20, 2))
        gap = np.hypot(*(points[:, None] - edge).transpose(2, 0, 1)).min(axis=1)
        margin = floor_margin(stage, points)
        # An edge of 16 m in 4000 steps leaves 2 mm between samples.
        assert np.abs(margin) == pytest.approx(gap, abs=4e-3)
        normals, bounds = floor_rows(stage)
        inside = np.all(points @ normals.T <= bounds, axis=1)
        assert np.array_equal(margin >= 0, inside)


def test_no_floor_bounds_nothing() -> None:
    far = np.array([(1e6, -1e6)])
    assert floor_margin(Stage(), far)[0] == np.inf


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ([(0, 0), (4, 0), (1, 1), (0, 4)], "convex"),
        ([(0, 0), (1, 0), (2, 0)], "convex"),
        ([(0, 0), (1, 0), (1, 0)], "3 corners"),
        # A pentagram turns one way at every corner, twice round.
        ([(np.cos(a), np.sin(a)) for a in 0.8 * np.pi * np.arange(5)], "convex"),
    ],
)
def test_what_is_no_convex_floor_is_refused(corners, words) -> None:
    with pytest.raises(SolverError, match=words):
        Stage(floor=np.array(corners, dtype=np.float64))


def test_a_box_needs_its_name_and_flag() -> None:
    with pytest.raises(SolverError, match="1 boxes need as many names"):
        Stage(keep_outs=np.zeros((1, 2, 3)))
    with pytest.raises(SolverError, match="heights: must rise"):
        Stage(heights=(2.0, 1.0))


def test_sight_lines_agree_with_points_sampled_along_them() -> None:
    rng = np.random.default_rng(3)
    share = np.linspace(0, 1, 2001)[:, None]
    n_hidden = n_cases = 0
    for _ in range(60):
        corners = rng.uniform(-3, 3, (3, 2, 3))
        stage = boxes(*corners)
        camera, target = rng.uniform(-6, 6, (2, 20, 3))
        found = hidden_by(stage, camera, target)
        for i in range(20):
            points = camera[i] + share * (target[i] - camera[i])
            for k, (low, high) in enumerate(stage.keep_outs):
                deep = np.minimum(points - low, high - points).min(axis=1).max()
                # Samples lie up to 1 cm apart, so shallow cuts are left undecided.
                if abs(deep) > 0.01:
                    assert found[i, k] == (deep > 0)
                    n_cases, n_hidden = n_cases + 1, n_hidden + int(deep > 0)
        assert np.array_equal(sight_hidden(stage, camera, target), found.any(axis=1))
    assert n_cases > 3000
    assert n_hidden > 200


@pytest.mark.parametrize(
    ("start", "end", "met"),
    [
        ((-1, 0.5, 0.5), (2, 0.5, 0.5), True),
        ((-1, 0.5, 1.0), (2, 0.5, 1.0), True),  # along a face
        ((-1, 0.5, 1.001), (2, 0.5, 1.001), False),
        ((-1, 0.5, 0.5), (-0.001, 0.5, 0.5), False),  # ends before it
        ((0.4, 0.4, 0.4), (0.6, 0.6, 0.6), True),  # wholly inside
        ((0.5, 2.0, 0.5), (0.5, 2.0, 0.5), False),  # a point above
        ((0.5, 0.5, 0.5), (0.5, 0.5, 0.5), True),  # a point inside
        ((-1, 0, -1), (2, 1, 2), True),  # corner to corner
    ],
)
def test_a_segment_meets_the_unit_box(start, end, met) -> None:
    stage = boxes([(0, 0, 0), (1, 1, 1)])
    one, two = np.array([start], dtype=float), np.array([end], dtype=float)
    assert sight_hidden(stage, one, two)[0] == met
    assert sight_hidden(stage, two, one)[0] == met


def test_a_rail_is_stopped_by_what_stands_below_its_lens_only() -> None:
    low_wall = boxes([(2, 0, -1), (3, 0.5, 1)])
    lamp = boxes([(2, 2.4, -1), (3, 3, 1)])
    rail = np.array([(0, 1.5, 0), (5, 1.5, 0)], dtype=float)
    assert rail_crosses(low_wall, rail)[0]
    assert not rail_crosses(lamp, rail)[0]
    # A rise that brings the lens up to the lamp where it hangs.
    assert rail_crosses(lamp, rail + np.array([(0, 0, 0), (0, 1.6, 0)]))[0]
    # The lens looks over the wall all the same.
    assert not sight_hidden(low_wall, rail[:1], rail[1:]).any()


def test_a_rail_is_named_by_what_it_crosses_and_keeps_its_clearance() -> None:
    stage = boxes([(2, 0, 1), (3, 2, 2)], [(2, 0, -3), (3, 2, -2)])
    bent = np.array([(0, 1, 0), (2.5, 1, 0.9), (5, 1, 0)])
    assert not rail_crosses(stage, bent).any()
    assert list(rail_crosses(stage, bent, 0.2)) == [True, False]
    assert list(rail_crosses(stage, bent[[1]] - np.array((0, 0, 3.4)))) == [False, True]
