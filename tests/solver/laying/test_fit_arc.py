import circles
import numpy as np
import pytest
from scipy.optimize import least_squares

from carrellata.solver.laying.fit_arc import (
    ArcRules,
    arc_fault,
    arc_through,
    circle_geometric,
    distance_terms,
)

FITS = (circles.taubin, circles.pratt, circle_geometric)


def arc_points(radius, sweep, *, n=80, noise=0.0, seed=0, start=0.0, centre=(0, 0)):
    """Return points along an arc, angles as a rig counts them."""
    rng = np.random.default_rng(seed)
    angle = start + np.linspace(0, sweep, n)
    out = -np.column_stack((np.sin(angle), np.cos(angle)))
    return np.array(centre) + radius * out + rng.normal(0, noise, (n, 2))


@pytest.mark.parametrize("fit", FITS)
def test_points_on_a_circle_give_it_back(fit) -> None:
    points = arc_points(6.0, 1.2, centre=(20.0, -3.0), start=2.0)
    circle = fit(points)
    assert circle.radius == pytest.approx(6.0, rel=1e-9)
    assert circle.centre == pytest.approx((20.0, -3.0), abs=1e-8)


@pytest.mark.parametrize("fit", FITS)
def test_a_circle_scales_turns_and_moves_with_its_points(fit) -> None:
    points = arc_points(4.0, 2.0, noise=0.2, seed=4)
    circle = fit(points)
    turn = np.array(((0.0, -1.0), (1.0, 0.0)))
    other = fit(1e3 * points @ turn.T + 500.0)
    assert other.radius == pytest.approx(1e3 * circle.radius, rel=1e-7)
    moved = 1e3 * circle.centre @ turn.T + 500.0
    assert other.centre == pytest.approx(moved, rel=1e-6)


@pytest.mark.parametrize("fit", FITS)
def test_points_on_a_line_have_no_circle(fit) -> None:
    points = np.linspace(0, 1, 30)[:, None] * np.array((3.0, 4.0)) + 7.0
    circle = fit(points)
    assert circle is None or circle.radius > 1e4
    assert fit(np.full((5, 2), 2.5)) is None


def test_distance_of_the_curvature_form_has_the_stated_derivatives() -> None:
    rng = np.random.default_rng(8)
    for kappa in (0.7, 1e-9, -0.4):
        x, y = rng.normal(0, 1, 2)
        p = np.array((rng.normal(0, 0.3), rng.uniform(0, 6), kappa))

        def distance(q, x=x, y=y):
            return distance_terms(x, y, q[0], np.cos(q[1]), np.sin(q[1]), q[2])[0]

        terms = distance_terms(x, y, p[0], np.cos(p[1]), np.sin(p[1]), p[2])
        if abs(kappa) > 0.1:
            centre = (p[0] + 1 / kappa) * np.array((np.cos(p[1]), np.sin(p[1])))
            away = np.hypot(x - centre[0], y - centre[1]) - 1 / abs(kappa)
            assert terms[0] == pytest.approx(np.sign(kappa) * away, abs=1e-12)
        for k in range(3):
            step = 1e-6 * np.eye(3)[k]
            slope = (distance(p + step) - distance(p - step)) / 2e-6
            assert terms[1 + k] == pytest.approx(slope, abs=1e-7)


@pytest.mark.slow
def test_no_start_of_a_general_solver_finds_a_better_circle() -> None:
    # Noisy arcs against scipy's least squares from twelve starts each.
    rng = np.random.default_rng(21)
    n_cases, worse = 200, 0
    for case in range(n_cases):
        radius, sweep = rng.uniform(1.5, 30), rng.uniform(0.5, 6.0)
        noise = rng.uniform(0.002, 0.05) * radius * min(sweep, 1.0)
        points = arc_points(radius, sweep, n=40, noise=noise, seed=case)

        def miss(p, points=points):
            return np.hypot(*(points - p[:2]).T) - p[2]

        def slope(p, points=points):
            off = p[:2] - points
            away = np.hypot(*off.T)[:, None]
            return np.column_stack((off / away, np.full(len(points), -1.0)))

        ours = circle_geometric(points)
        mine = np.sum(ours.distances(points) ** 2)
        middle = points.mean(axis=0)
        starts = [
            (
                *(middle + size * radius * np.array((np.cos(a), np.sin(a)))),
                size * radius,
            )
            for size in (0.3, 1.0, 3.0)
            for a in (0.3, 1.9, 3.4, 5.0)
        ]
        fits = [
            least_squares(miss, x0, slope, method="lm", xtol=1e-14, ftol=1e-14)
            for x0 in starts
        ]
        best = min(2 * fit.cost for fit in fits)
        worse += mine > best * (1 + 1e-6)
    assert worse == 0


@pytest.mark.parametrize("sweep", [1.3, -1.3])
def test_an_arc_runs_the_way_its_targets_travel(sweep) -> None:
    times = np.arange(120) / 24
    targets = arc_points(5.0, sweep, n=120, start=0.4, centre=(2.0, 1.0))
    arc = arc_through(targets, times)
    assert arc.radius == pytest.approx(5.0, rel=1e-6)
    assert arc.start == pytest.approx(0.4, abs=1e-3)
    assert arc.sweep == pytest.approx(sweep, abs=2e-3)
    assert np.all(np.diff(arc.s) > 0)
    assert arc.places == pytest.approx(targets, abs=5e-3)


def test_an_arc_may_cross_the_angle_where_bearings_wrap() -> None:
    times = np.arange(60) / 24
    targets = arc_points(5.0, 1.0, n=60, start=np.pi - 0.5)
    arc = arc_through(targets, times)
    assert arc.sweep == pytest.approx(1.0, abs=5e-3)
    assert arc.places == pytest.approx(targets, abs=1e-2)


@pytest.mark.parametrize(
    ("radius", "sweep", "fault"),
    [
        (41.0, 0.5, "radius"),
        (1.4, 1.5, "radius"),
        (5.0, 2.2, "sweep"),
        (5.0, 0.6, "sagitta"),
        (5.0, 1.5, None),
    ],
)
def test_an_arc_not_worth_laying_is_refused_by_name(radius, sweep, fault) -> None:
    times = np.arange(120) / 24
    targets = arc_points(radius, sweep, n=120)
    assert arc_fault(arc_through(targets, times), ArcRules()) == fault


def test_sagitta_is_the_height_over_the_chord() -> None:
    arc = arc_through(arc_points(5.0, 1.5, n=120), np.arange(120) / 24)
    chord = np.hypot(*(arc.places[np.argmax(arc.s)] - arc.places[np.argmin(arc.s)]))
    # s = R - sqrt(R^2 - c^2 / 4).
    height = arc.radius - np.sqrt(arc.radius**2 - chord**2 / 4)
    assert arc.sagitta_m == pytest.approx(height, rel=1e-9)
