"""A convex programme with priced slacks, and the certificate of its answer.

    min  |F x + f|^2 / 2 + c |x|^2 / 2 + p . e    over  G x <= h + E e,  e >= 0

E picks for each row the slack of its limit; a row without one is hard. The price p of a
slack is above the dual of a limit that can be kept, so e = 0 exactly where all limits
can be (exact penalty), and else the cheapest breach. The small c makes x unique; x are
steps from an iterate, so it vanishes at a fixed point.

Duals l >= 0 of the rows certify an answer: stationarity F'(F x + f) + c x + G' l = 0,
E' l <= p, and the gap between primal and dual value, p . e - l . (G x - h).

Source: Nocedal & Wright 2006, Numerical Optimization, section 17.2 (exact penalty; from
memory). cvxpy builds the programme once a shape, with the non-zeros of F and G as
parameters, and Clarabel solves it.
"""

import contextlib
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray

PROXIMITY = 1e-6  # c


@dataclass(frozen=True, kw_only=True, slots=True)
class ConvexModel:
    """The data of one programme.

    Attributes:
        f_matrix: F, (n_residuals, n).
        f: (n_residuals,).
        g_matrix: G, (n_rows, n).
        h: (n_rows,).
        limit_of: index of each row's slack, (n_rows,); -1 for a hard row.
        prices: p, (n_limits,), > 0.
    """

    f_matrix: FloatArray
    f: FloatArray
    g_matrix: FloatArray
    h: FloatArray
    limit_of: IntArray
    prices: FloatArray

    @property
    def breaches(self) -> FloatArray:
        """By how much x = 0 breaks each limit at worst, (n_limits,)."""
        worst = np.zeros(len(self.prices))
        soft = self.limit_of >= 0
        np.maximum.at(worst, self.limit_of[soft], -self.h[soft])
        return worst

    @property
    def merit(self) -> float:
        """Value at x = 0 with the slacks that it needs."""
        return float(0.5 * self.f @ self.f + self.prices @ self.breaches)


@dataclass(frozen=True, kw_only=True, slots=True)
class ConvexAnswer:
    """What came back.

    Attributes:
        model: that it answers.
        x: (n,); slacks: (n_limits,); duals: of the rows, (n_rows,). NaN where the
            solver gave none.
        status: the solver's word.
    """

    model: ConvexModel
    x: FloatArray
    slacks: FloatArray
    duals: FloatArray
    status: str

    @property
    def primal(self) -> float:
        """Primal value."""
        residual = self.model.f_matrix @ self.x + self.model.f
        near = PROXIMITY * float(self.x @ self.x)
        prices = float(self.model.prices @ self.slacks)
        return 0.5 * (float(residual @ residual) + near) + prices

    @property
    def limit_duals(self) -> FloatArray:
        """Sum of the duals of each limit's rows, (n_limits,); 0 where it is slack."""
        soft = self.model.limit_of >= 0
        total = np.zeros(len(self.model.prices))
        np.add.at(total, self.model.limit_of[soft], self.duals[soft])
        return total


def solve_convex(
    model: ConvexModel, *, f_pattern: BoolArray, g_pattern: BoolArray
) -> ConvexAnswer:
    """Solve a programme with Clarabel.

    Args:
        model: the programme.
        f_pattern: entries of F that may be other than zero, the same for every model
            of a shape, so that the programme is built once.
        g_pattern: entries of G that may be other than zero, likewise.
    """
    built = _built(
        f_pattern.shape,
        f_pattern.tobytes(),
        g_pattern.shape,
        g_pattern.tobytes(),
        model.limit_of.tobytes(),
        len(model.prices),
    )
    return built.answer(model, f_pattern, g_pattern)


class _Programme:
    """A programme of one shape, kept with its parameters."""

    def __init__(
        self,
        f_pattern: BoolArray,
        g_pattern: BoolArray,
        limits: IntArray,
        n_limits: int,
    ) -> None:
        import cvxpy  # takes half a second to load
        import scipy.sparse

        cp: Any = cvxpy
        self.x = cp.Variable(f_pattern.shape[1])
        self.slacks = cp.Variable(n_limits, nonneg=True)
        self.f_entries, fx = _product(cp, f_pattern, self.x)
        self.g_entries, gx = _product(cp, g_pattern, self.x)
        self.f = cp.Parameter(f_pattern.shape[0])
        self.h = cp.Parameter(g_pattern.shape[0])
        self.prices = cp.Parameter(n_limits, nonneg=True)
        soft = np.flatnonzero(limits >= 0)
        pick = scipy.sparse.csr_array(
            (np.ones(len(soft)), (soft, limits[soft])), shape=(len(limits), n_limits)
        )
        self.rows = gx <= self.h + pick @ self.slacks
        cost = cp.sum_squares(fx + self.f) + PROXIMITY * cp.sum_squares(self.x)
        self.problem: Any = cp.Problem(
            cp.Minimize(0.5 * cost + self.prices @ self.slacks), [self.rows]
        )
        self.failed = (cp.SolverError,)

    def answer(
        self, model: ConvexModel, f_pattern: BoolArray, g_pattern: BoolArray
    ) -> ConvexAnswer:
        """Put a model's numbers in and solve."""
        self.f_entries.value = model.f_matrix[f_pattern]
        self.g_entries.value = model.g_matrix[g_pattern]
        self.f.value, self.h.value = model.f, model.h
        self.prices.value = model.prices
        status = "solver_error"
        # An inaccurate answer says so itself, by its status and residuals.
        with warnings.catch_warnings(), contextlib.suppress(*self.failed):
            warnings.simplefilter("ignore", UserWarning)
            # A warm solver keeps its first scaling: an answer must not depend on the
            # ones before it.
            self.problem.solve(solver="CLARABEL", warm_start=False)
            status = str(self.problem.status)
        solved = status in ("optimal", "optimal_inaccurate")
        n, rows, limits = model.g_matrix.shape[1], len(model.h), len(model.prices)
        return ConvexAnswer(
            model=model,
            x=np.array(self.x.value) if solved else np.full(n, np.nan),
            slacks=np.array(self.slacks.value) if solved else np.full(limits, np.nan),
            duals=np.array(self.rows.dual_value) if solved else np.full(rows, np.nan),
            status=status,
        )


def _product(cp: Any, pattern: BoolArray, x: Any) -> tuple[Any, Any]:
    """Return a parameter of a matrix's entries, and the matrix times x."""
    import scipy.sparse

    rows, columns = np.nonzero(pattern)
    ones, order = np.ones(len(rows)), np.arange(len(rows))
    total = scipy.sparse.csr_array(
        (ones, (rows, order)), shape=(pattern.shape[0], len(rows))
    )
    picked = scipy.sparse.csr_array(
        (ones, (order, columns)), shape=(len(rows), pattern.shape[1])
    )
    entries = cp.Parameter(len(rows))
    return entries, total @ cp.multiply(entries, picked @ x)


@lru_cache(maxsize=32)
def _built(
    f_shape: tuple[int, int],
    f_bytes: bytes,
    g_shape: tuple[int, int],
    g_bytes: bytes,
    limit_bytes: bytes,
    n_limits: int,
) -> _Programme:
    f_pattern = np.frombuffer(f_bytes, np.bool_).reshape(f_shape)
    g_pattern = np.frombuffer(g_bytes, np.bool_).reshape(g_shape)
    limits = np.frombuffer(limit_bytes, np.int64)
    return _Programme(f_pattern, g_pattern, limits, n_limits)
