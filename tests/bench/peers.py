"""Other solvers of quadratic programs, each called in the quickest way it has.

Tolerances are set as loose as they can be for the optimum to agree with ours to 1e-6
of the jerk limit, and no looser; `plans` tells how many states do not.
"""

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import clarabel
import daqp
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Problems:
    """Problems min |y|^2 / 2 over low <= G y <= high: G (m, n), bounds (k, m)."""

    matrix: FloatArray
    low: FloatArray
    high: FloatArray

    def first(self, count: int) -> "Problems":
        """Return the first of them."""
        return Problems(
            matrix=self.matrix, low=self.low[:count], high=self.high[:count]
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Solved:
    """Optima (k, n), and the time that the solver itself says it took in all [s]."""

    y: FloatArray
    own_s: float | None


def by_daqp(problems: Problems) -> Solved:
    """Dual active set in C; a new problem each call."""
    hessian = np.eye(problems.matrix.shape[1])
    linear = np.zeros(len(hessian))
    sense = np.zeros(len(problems.matrix), dtype=np.int32)
    y, own = [], 0.0
    for low, high in zip(problems.low, problems.high, strict=True):
        x, _, _, about = daqp.solve(hessian, linear, problems.matrix, high, low, sense)
        y.append(x)
        own += about["solve_time"] + about["setup_time"]
    return Solved(y=np.array(y), own_s=own)


def by_daqp_again(problems: Problems) -> Solved:
    """Dual active set in C; one workspace, new bounds each call."""
    hessian = np.eye(problems.matrix.shape[1])
    sense = np.zeros(len(problems.matrix), dtype=np.int32)
    model = daqp.Model()
    low, high = problems.low[0], problems.high[0]
    model.setup(hessian, np.zeros(len(hessian)), problems.matrix, high, low, sense)
    y, own = [], 0.0
    for low, high in zip(problems.low, problems.high, strict=True):
        model.update(bupper=high, blower=low, sense=sense)
        x, _, _, about = model.solve()
        y.append(x)
        own += about["solve_time"]
    return Solved(y=np.array(y), own_s=own)


def by_piqp(problems: Problems) -> Solved:
    """Interior point, dense; one workspace, new bounds each call."""
    n = problems.matrix.shape[1]
    import piqp  # of the bench's own lock

    solver = piqp.DenseSolver()
    solver.settings.compute_timings = True
    solver.settings.eps_abs = solver.settings.eps_rel = 1e-11
    solver.settings.eps_duality_gap_abs = 1e-11
    solver.settings.eps_duality_gap_rel = 1e-11
    matrix = np.asfortranarray(problems.matrix)
    low, high = problems.low[0], problems.high[0]
    solver.setup(np.eye(n, order="F"), np.zeros(n), G=matrix, h_l=low, h_u=high)
    y, own = [], 0.0
    for low, high in zip(problems.low, problems.high, strict=True):
        solver.update(h_l=low, h_u=high)
        solver.solve()
        y.append(solver.result.x.copy())
        own += solver.result.info.run_time
    return Solved(y=np.array(y), own_s=own)


def by_osqp(problems: Problems) -> Solved:
    """Operator splitting, warm-started from the last optimum; new bounds each call."""
    n = problems.matrix.shape[1]
    import osqp  # of the bench's own lock

    solver = osqp.OSQP()
    solver.setup(
        P=sparse.eye(n, format="csc"),
        q=np.zeros(n),
        A=sparse.csc_matrix(problems.matrix),
        l=problems.low[0],
        u=problems.high[0],
        verbose=False,
        eps_abs=1e-9,
        eps_rel=1e-9,
        max_iter=20_000,
    )
    y, own = [], 0.0
    for low, high in zip(problems.low, problems.high, strict=True):
        solver.update(l=low, u=high)
        found = solver.solve()
        y.append(found.x)
        own += found.info.solve_time + found.info.update_time
    return Solved(y=np.array(y), own_s=own)


def by_clarabel(problems: Problems) -> Solved:
    """Interior point, sparse; one workspace, new bounds each call."""
    m, n = problems.matrix.shape
    both = sparse.csc_matrix(np.vstack([problems.matrix, -problems.matrix]))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.presolve_enable = False  # new bounds are only taken without it
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-11
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix(np.triu(np.eye(n))),
        np.zeros(n),
        both,
        np.concatenate([problems.high[0], -problems.low[0]]),
        [clarabel.NonnegativeConeT(2 * m)],
        settings,
    )
    bounds = np.hstack([problems.high, -problems.low])
    y, own = [], 0.0
    for bound in bounds:
        solver.update(b=bound)
        found = solver.solve()
        y.append(found.x)
        own += found.solve_time
    return Solved(y=np.array(y), own_s=own)


def by_cvxpy(problems: Problems) -> Solved:
    """Modelling language with parameters, its interior-point solver below."""
    import cvxpy

    m, n = problems.matrix.shape
    y = cvxpy.Variable(n)
    low, high = cvxpy.Parameter(m), cvxpy.Parameter(m)
    rows = problems.matrix @ y
    problem = cvxpy.Problem(
        cvxpy.Minimize(cvxpy.sum_squares(y) / 2), [rows <= high, rows >= low]
    )
    tolerances = dict.fromkeys(("tol_gap_abs", "tol_gap_rel", "tol_feas"), 1e-11)
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that the last digits are not reached
        for low.value, high.value in zip(problems.low, problems.high, strict=True):
            problem.solve(solver=cvxpy.CLARABEL, **tolerances)
            found.append(y.value)
    return Solved(y=np.array(found), own_s=None)


CALLS: dict[str, Callable[[Problems], Solved]] = {
    "daqp": by_daqp,
    "daqp_again": by_daqp_again,
    "piqp": by_piqp,
    "osqp": by_osqp,
    "clarabel": by_clarabel,
    "cvxpy": by_cvxpy,
}
