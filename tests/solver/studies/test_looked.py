"""Where on the body a camera looks, and kinds that go by it."""

from fractions import Fraction

import numpy as np
import pytest
from made_cameras import POINTS, make

from carrellata.solver.studies.camera import lagged
from carrellata.solver.studies.carried import carried
from carrellata.solver.studies.fast import follows_fast
from carrellata.solver.studies.follow import passed, shifted
from carrellata.solver.studies.look_again import look_again, solve_normal
from carrellata.solver.studies.path import study_path
from carrellata.solver.studies.study import CARRIED, LAGGED, study


@pytest.mark.parametrize("point", POINTS)
@pytest.mark.parametrize("kind", ["rigid aim", "delayed low-pass"])
def test_the_aimed_point_is_found_to_a_centimetre_or_two(kind, point):
    made = make(kind, "referee_turns", point, False)
    found = study(made.camera, made.subject, rate=Fraction(24))
    up, beside = POINTS[point]
    assert found.verdict.kind == made.truth
    assert found.look.up == pytest.approx(up, abs=0.015)
    assert found.look.beside == pytest.approx(beside, abs=0.015)


def test_a_late_lag_gives_time_constant_and_delay():
    made = make("delayed low-pass", "sprint_long", "20 cm down", False)
    verdict = study(made.camera, made.subject, rate=Fraction(24)).verdict
    assert verdict.kind == LAGGED
    assert verdict.seconds == pytest.approx(0.3, abs=0.02)
    assert verdict.late_s == pytest.approx(3 / 24, abs=0.02)


def test_a_late_lag_is_a_lag_of_what_is_late():
    values = np.random.default_rng(1).normal(size=(2, 50))
    both = passed("lagged", values, 4.0, 3.0)
    assert both == pytest.approx(lagged(shifted(values, 3.0), 4.0))


@pytest.mark.parametrize("shakes", [False, True])
def test_who_carries_a_camera_is_told_from_a_locked_one(shakes):
    made = make("carried", "gait", "expected", shakes)
    assert study(made.camera, made.subject, rate=Fraction(24)).verdict.kind == CARRIED
    locked = make("locked", "gait", "expected", shakes)
    points = locked.subject.at(locked.camera.times_s, 0.5)
    assert carried(locked.camera, study_path(locked.camera, 8.0), points) is None


def test_a_way_with_gait_does_not_make_a_camera_without():
    exact = make("rigid aim", "gait", "expected", False).camera
    keyed = make("keys by hand", "gait", "expected", False).camera
    assert follows_fast(exact, exact.angles)
    assert not follows_fast(keyed, exact.angles)


def test_a_trials_look_is_fitted_where_they_agree():
    n = 200
    rng = np.random.default_rng(2)
    changes = rng.normal(size=(4, 2, n))
    true = np.array([0.02, -0.03, 0.01, 0.04])
    wanted = np.tensordot(true, changes, axes=1)
    wanted[:, 150:] += 1.0  # here decisions part
    wanted[0] += 4 * np.pi  # whole turns are no miss
    curves = np.zeros((2, n))
    sigma = np.full(2, 0.004)
    look_again(wanted, changes, np.ones(2), sigma, np.zeros(4), curves)
    fitted = np.tensordot(true, changes, axes=1)
    assert np.abs(curves - fitted)[:, :150].max() < 0.05
    free = np.zeros((2, n))
    look_again(wanted, changes, np.ones(2), sigma, np.full(4, 1e12), free)
    assert np.abs(free).max() < 1e-6


@pytest.mark.parametrize("n", [1, 2, 4, 6])
def test_normal_equations_are_solved_as_numpy_does(n: int) -> None:
    random = np.random.default_rng(n)
    table = random.normal(size=(n, 3 * n))
    normal, right = table @ table.T, random.normal(size=n)
    found = right.copy()
    solve_normal(normal.copy(), found)
    np.testing.assert_allclose(found, np.linalg.solve(normal, right), rtol=1e-10)


def test_normal_equations_of_the_same_number_twice_have_a_finite_answer() -> None:
    found = np.array([1.0, 1.0])
    solve_normal(np.ones((2, 2)), found)
    assert np.isfinite(found).all()
