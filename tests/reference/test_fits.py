"""Published fits: circles through Gander's points, and the certified line of Norris."""

import circles
import numpy as np
import pytest

from carrellata.solver.laying.fit_arc import (
    circle_geometric,
)
from carrellata.solver.laying.fit_line import regress

# Gander, Golub & Strebel 1994, BIT 34, 558-578, circle example (points and the paper's
# four-decimal results from memory).
GANDER = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=np.float64)
PAPER = (4.7398, 2.9835, 4.7142)
# Taubin 1991 and Pratt 1987 on these points: eigenvalue problems solved with numpy
# outside of this package; no printed values are known to us.
TAUBIN = (4.613933, 2.795209, 4.879213)
PRATT = (4.615482, 2.807354, 4.911302)
# NIST/ITL Statistical Reference Datasets, linear regression, Norris: ozone monitors,
# 36 observations. Data and certified values as published there.
NORRIS_X = """
0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9
338.0 447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0
11.1 118.3 229.2 669.1 448.9 0.5
"""
NORRIS_Y = """
0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8
339.3 448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9
10.2 117.6 228.9 668.4 449.2 0.2
"""
CERTIFIED = (-0.262323073774029, 1.00211681802045)
CERTIFIED_SQUARES = 26.6173985294224


def by_eigenvalues(points, constraint):
    """Return centre and radius of an algebraic fit, its eigenproblem solved densely."""
    x, y = (points - points.mean(axis=0)).T
    z = x * x + y * y
    design = np.column_stack((z, x, y, np.ones_like(x)))
    moments = design.T @ design / len(x)
    norm = np.zeros((4, 4))
    norm[1, 1] = norm[2, 2] = 1.0
    if constraint == "pratt":
        norm[0, 3] = norm[3, 0] = -2.0
    else:
        norm[0, 0] = 4.0 * z.mean()
    # moments a = eta norm a, with norm possibly singular: 1 / eta of the inverse.
    values, vectors = np.linalg.eig(np.linalg.solve(moments, norm))
    best = np.argmax(values.real)
    a, b, c, d = vectors[:, best].real
    centre = -np.array((b, c)) / (2 * a)
    return *(centre + points.mean(axis=0)), np.sqrt(centre @ centre - d / a)


def found(circle):
    return *circle.centre, circle.radius


def test_geometric_circle_is_the_published_one() -> None:
    circle = circle_geometric(GANDER)
    assert found(circle) == pytest.approx(PAPER, abs=5e-5)
    # Sum of squares at the optimum, computed by scipy's least squares to 1e-7.
    assert np.sum(circle.distances(GANDER) ** 2) == pytest.approx(1.2275991, abs=1e-7)


@pytest.mark.parametrize(
    ("fit", "values", "norm"),
    [(circles.taubin, TAUBIN, "taubin"), (circles.pratt, PRATT, "pratt")],
)
def test_algebraic_circle_solves_its_eigenvalue_problem(fit, values, norm) -> None:
    circle = fit(GANDER)
    assert found(circle) == pytest.approx(values, abs=1e-6)
    assert found(circle) == pytest.approx(by_eigenvalues(GANDER, norm), rel=1e-10)
    rng = np.random.default_rng(11)
    for _ in range(50):
        angle = np.linspace(0, rng.uniform(0.8, 6.0), 30)
        points = rng.uniform(0.5, 20) * np.column_stack((np.cos(angle), np.sin(angle)))
        points += rng.normal(0, 0.05, points.shape) + rng.normal(0, 30, 2)
        assert found(fit(points)) == pytest.approx(
            by_eigenvalues(points, norm), rel=1e-6
        )


def test_line_regression_has_the_certified_values() -> None:
    x = np.array(NORRIS_X.split(), dtype=np.float64)
    y = np.array(NORRIS_Y.split(), dtype=np.float64)
    intercept, slope = regress(x, y, np.ones(36))
    assert slope == pytest.approx(CERTIFIED[1], rel=1e-13)
    assert intercept == pytest.approx(CERTIFIED[0], rel=1e-11)
    squares = np.sum((y - intercept - slope * x) ** 2)
    assert squares == pytest.approx(CERTIFIED_SQUARES, rel=1e-11)
