import numpy as np
import pytest

from carrellata.solver.laying.laying import Bounds, Curved, Standing, Straight, Wish
from carrellata.solver.laying.rows import linearised
from carrellata.solver.stage.stage import Stage

N = 12


def a_wish():
    times = np.linspace(0, 3, N)
    return Wish(
        times_s=times,
        subject=np.column_stack((1.5 * times - 2, np.sin(times))),
        distance_m=np.full(N, 5.0) + 0.3 * times,
        azimuth=np.full(N, 0.2),
        view_band=0.5,
    )


def some_bounds():
    return Bounds(
        stage=Stage(
            floor=np.array([(-7, -9), (8, -8), (9, 7), (-8, 6)], dtype=np.float64),
            keep_outs=np.array(
                [[(1, 0, -8), (2, 2, -6.5)], [(-3, 0, -3), (-2, 2, -2)]]
            ),
            names=("crate", "post"),
            sight_forbidden=np.array([False, True]),
        ),
        pan_speed=1.5,
        pan_accel=3.0,
        dolly_speed=1.5,
        dolly_accel=0.6,
        rail_m=7.0,
    )


def layings():
    s = np.linspace(-2, 2.4, N) + 0.1 * np.sin(np.arange(N))
    ends = (-3.0, 3.5)
    return [
        Standing(place=np.array((0.4, -5.0))),
        Straight(origin=np.array((0.0, -5.0)), angle=0.15, s=s, ends=ends),
        *(
            Curved(
                centre=np.array((0.5, 3.0)),
                radius=8.0,
                angle=0.1,
                turn=turn,
                s=s,
                ends=ends,
                free_radius=free,
            )
            for turn, free in ((1.0, True), (-1.0, True), (1.0, False))
        ),
    ]


@pytest.mark.parametrize("laying", layings(), ids=lambda x: type(x).__name__)
def test_rows_are_the_derivatives_of_what_they_bound(laying) -> None:
    wish, bounds = a_wish(), some_bounds()
    trust = np.full(laying.n_geometry + 3, 0.5)
    at = linearised(laying, wish, bounds, trust)
    n = at.model.g_matrix.shape[1]
    g = laying.n_geometry
    moving = np.ones(len(at.model.h), np.bool_)
    # The trust region is the same everywhere.
    moving[np.flatnonzero(at.model.limit_of < 0)[: 2 * n]] = False
    # Of a keep-out's two rows for a stretch of rail the greater one has slack, and
    # need not follow a normal that turns with the other.
    for k, name in enumerate(at.names):
        if name.startswith("keep_out"):
            first, second = np.flatnonzero(at.model.limit_of == k).reshape(2, -1)
            lower = at.model.h[first] < at.model.h[second]
            moving[np.where(lower, second, first)] = False
    step = 1e-6
    for k in range(n):
        x = step * np.eye(n)[k]
        there = [
            linearised(
                laying.moved(way * x[:g], way * x[g : g + 2], way * x[g + 2 :]),
                wish,
                bounds,
                trust,
            ).model
            for way in (1.0, -1.0)
        ]
        slope = (there[0].f - there[1].f) / (2 * step)
        assert at.model.f_matrix[:, k] == pytest.approx(slope, abs=1e-6)
        slope = (there[0].h - there[1].h) / (2 * step)
        # Relative to the largest: accelerations of nodes 0.27 s apart.
        assert -at.model.g_matrix[moving, k] == pytest.approx(slope[moving], abs=1e-4)


@pytest.mark.parametrize("laying", layings(), ids=lambda x: type(x).__name__)
def test_patterns_hold_every_entry(laying) -> None:
    at = linearised(
        laying, a_wish(), some_bounds(), np.full(laying.n_geometry + 3, 1.0)
    )
    assert not np.any((at.model.f_matrix != 0) & ~at.f_pattern)
    assert not np.any((at.model.g_matrix != 0) & ~at.g_pattern)
    assert at.f_pattern.mean() < 0.6 or not len(laying.s)
