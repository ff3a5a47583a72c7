from dataclasses import replace

import numpy as np
import pytest
from certificate import certified

from carrellata.solver.laying.convex_model import ConvexModel, solve_convex


def solved(model):
    every = {"f_pattern": model.f_matrix.shape, "g_pattern": model.g_matrix.shape}
    return solve_convex(model, **{k: np.ones(v, np.bool_) for k, v in every.items()})


def nearest_on_a_half_line(price):
    """Minimise (x - 3)^2 / 2 with x <= 1, which may yield at a price."""
    return ConvexModel(
        f_matrix=np.array([[1.0]]),
        f=np.array([-3.0]),
        g_matrix=np.array([[1.0]]),
        h=np.array([1.0]),
        limit_of=np.array([0]),
        prices=np.array([price]),
    )


def test_a_dear_limit_is_kept_and_its_dual_is_the_pull_against_it() -> None:
    answer = solved(nearest_on_a_half_line(10.0))
    assert answer.x == pytest.approx([1.0], abs=1e-6)
    assert answer.slacks == pytest.approx([0.0], abs=1e-6)
    # Closed form: the derivative (3 - 1) of the cost; c = 1e-6 moves it by 1e-6.
    assert answer.limit_duals == pytest.approx([2.0], abs=1e-5)
    assert certified(answer)


def test_a_cheap_limit_yields_until_the_pull_is_its_price() -> None:
    answer = solved(nearest_on_a_half_line(0.5))
    assert answer.x == pytest.approx([2.5], abs=1e-5)
    assert answer.slacks == pytest.approx([1.5], abs=1e-5)
    assert answer.limit_duals == pytest.approx([0.5], abs=1e-6)
    assert answer.primal == pytest.approx(0.5 * 0.25 + 0.5 * 1.5, abs=1e-5)


def test_a_wrong_answer_is_not_certified() -> None:
    answer = solved(nearest_on_a_half_line(10.0))
    assert certified(answer)
    assert not certified(replace(answer, x=answer.x + 0.01))
    assert not certified(replace(answer, x=answer.x - 0.01))
    assert not certified(replace(answer, duals=answer.duals + 0.01))
    assert not certified(replace(answer, slacks=answer.slacks + 0.01))
    assert not certified(replace(answer, x=np.array([np.nan])))


def test_limits_that_exclude_each_other_break_the_cheaper_one() -> None:
    model = ConvexModel(
        f_matrix=np.zeros((1, 1)),
        f=np.zeros(1),
        g_matrix=np.array([[1.0], [-1.0]]),
        h=np.array([-1.0, -1.0]),  # x <= -1 and x >= 1
        limit_of=np.array([0, 1]),
        prices=np.array([2.0, 1.0]),
    )
    answer = solved(model)
    assert answer.slacks == pytest.approx([0.0, 2.0], abs=1e-5)
    assert model.breaches == pytest.approx([1.0, 1.0])
    assert model.merit == pytest.approx(3.0)


def test_hard_rows_that_exclude_each_other_give_no_answer() -> None:
    model = ConvexModel(
        f_matrix=np.ones((1, 1)),
        f=np.zeros(1),
        g_matrix=np.array([[1.0], [-1.0], [1.0]]),
        h=np.array([-1.0, -1.0, 5.0]),
        limit_of=np.array([-1, -1, 0]),
        prices=np.array([1.0]),
    )
    answer = solved(model)
    assert answer.status == "infeasible"
    assert np.isnan(answer.x).all()
    assert not certified(answer)


def test_duals_are_never_negative_and_a_certificate_with_one_is_none() -> None:
    slack = replace(nearest_on_a_half_line(10.0), h=np.array([5.0]))  # never touched
    for model in (nearest_on_a_half_line(10.0), slack):
        answer = solved(model)
        assert answer.limit_duals.min() >= -1e-9
        assert answer.duals.min() >= -1e-9
    free = solved(slack)
    assert free.x == pytest.approx([3.0], abs=1e-4)
    assert certified(free)
    # The opposite pull balances x = 1 from the other side: stationary, but no minimum.
    wrong = replace(free, x=np.array([5.0]), duals=np.array([-2.0]))
    assert not certified(wrong)
