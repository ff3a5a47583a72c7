"""Whether the answer of a convex programme is optimal, from its duals alone."""

import numpy as np

from carrellata.solver.laying.convex_model import PROXIMITY, ConvexAnswer


def certified(answer: ConvexAnswer, tolerance: float = 1e-6) -> bool:
    """Tell whether the gap and every residual are at most a tolerance."""
    worst = abs(gap(answer)), stationarity(answer), infeasibility(answer)
    return bool(np.all(np.array(worst) <= tolerance))


def gap(answer: ConvexAnswer) -> float:
    """Return the primal less the dual value."""
    over = answer.model.g_matrix @ answer.x - answer.model.h
    return float(answer.model.prices @ answer.slacks - answer.duals @ over)


def stationarity(answer: ConvexAnswer) -> float:
    """Return the largest entry of the Lagrangian's gradient in steps and slacks."""
    m = answer.model
    residual = m.f_matrix @ answer.x + m.f
    pulls = m.g_matrix.T @ answer.duals + PROXIMITY * answer.x
    by_x = m.f_matrix.T @ residual + pulls
    over = answer.limit_duals - m.prices
    return float(max(np.abs(by_x).max(), over.max(initial=0.0)))


def infeasibility(answer: ConvexAnswer) -> float:
    """Return the largest breach of a row, and of a sign of slacks or duals."""
    m = answer.model
    room = np.append(answer.slacks, 0.0)[m.limit_of]
    rows = m.g_matrix @ answer.x - m.h - room
    signs = -min(answer.slacks.min(initial=0.0), answer.duals.min(initial=0.0))
    return float(max(rows.max(initial=0.0), signs))
