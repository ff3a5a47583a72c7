"""The nearest point within bounds: against another solver, and where there is none."""

import daqp
import numpy as np
import pytest
from scipy.optimize import nnls

from carrellata.solver.crew.active_set import (
    HIGH,
    LOW,
    POINT,
    SIZE,
    WORK_ROWS,
    least_distance,
)

TOLERANCE = 1e-11


def nearest(rows, low, high):
    n_rows = len(rows)
    work = np.full((WORK_ROWS, n_rows + 3), np.nan)  # what was there before is not read
    work[LOW, :n_rows], work[HIGH, :n_rows] = low, high
    columns = np.vstack([rows.T, np.full(n_rows, TOLERANCE)])
    return least_distance(rows, columns, work), work[POINT, :SIZE].copy()


def by_daqp(rows, low, high):
    sense = np.zeros(len(rows), dtype=np.int32)
    y, _, flag, _ = daqp.solve(
        np.eye(SIZE),
        np.zeros(SIZE),
        np.ascontiguousarray(rows),
        high,
        low,
        sense,
        primal_tol=1e-12,
        dual_tol=1e-13,
    )
    return flag > 0, y


def unit_rows(rng, count, rank=SIZE):
    rows = rng.normal(size=(count, rank)) @ rng.normal(size=(rank, SIZE))
    return np.ascontiguousarray(rows / np.linalg.norm(rows, axis=1)[:, None])


@pytest.mark.parametrize(("count", "rank"), [(5, 6), (26, 6), (48, 6), (30, 3)])
def test_the_point_is_the_nearest_and_its_bounds_pull_the_right_way(count, rank):
    rng = np.random.default_rng(count)
    found = impossible = let_go = 0
    for _ in range(400):
        rows = unit_rows(rng, count, rank)
        centre = rng.normal(size=SIZE) * rng.choice([0.5, 2.0, 20.0])
        room = rng.uniform(0.0, 1.0, (2, count)) * rng.choice([0.02, 1.0])
        aside = rng.normal(size=count) * rng.choice([0.0, 0.0, 0.3])
        middle = rows @ centre + aside
        low, high = middle - room[0], middle + room[1]
        steps, y = nearest(rows, low, high)
        exists, expected = by_daqp(rows, low, high)
        assert (steps >= 0) == exists
        if steps < 0:
            impossible += 1
            continue
        found += 1
        let_go += steps > rank  # more than can be held
        value = rows @ y
        size = max(1.0, float(np.linalg.norm(y)))
        assert max((value - high).max(), (low - value).max()) < 2e-11 * size
        assert np.abs(y - expected).max() < 1e-7 * size
        near = 1e-9 * size
        normals = np.vstack([rows[value > high - near], -rows[value < low + near]])
        left = nnls(normals.T, -y)[1] if len(normals) else np.linalg.norm(y)
        assert left < 1e-8 * size
    assert found > 100
    assert (impossible > 20 and let_go > 20) or count < SIZE


def test_nothing_moves_where_nothing_is_broken():
    rows = unit_rows(np.random.default_rng(1), 12)
    steps, y = nearest(rows, np.full(12, -0.1), np.full(12, 0.1))
    assert steps == 0
    assert not y.any()


def test_the_same_row_twice_holds_the_tighter_bound():
    rows = np.ascontiguousarray(np.eye(SIZE)[[0, 0, 1]])
    low, high = np.array([1.0, 2.0, -1.0]), np.array([9.0, 8.0, -0.5])
    steps, y = nearest(rows, low, high)
    assert steps > 0
    assert y == pytest.approx([2.0, -0.5, 0.0, 0.0, 0.0, 0.0], abs=1e-14)


def test_opposite_bounds_that_leave_no_room_are_told():
    rows = np.ascontiguousarray(np.eye(SIZE)[[0, 0]])
    assert nearest(rows, np.array([1.0, -9.0]), np.array([9.0, 0.5]))[0] == -1
