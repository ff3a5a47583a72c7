"""The plan's quadratic problem written again from its definition, for tests.

Only the block lengths, target times and inset limits of a planner are read; cost and
limits are built from states integrated here, Lagrange polynomials and an eight-point
quadrature. Every map is linear in the jerks, so it is found by integrating unit jerks.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, null_space, solve_triangular

PLACE_WEIGHT = 1.0  # end weights of the documented cost
RATE_WEIGHT = 0.3
CHORDS = 3
RAIL_INSET_M = 1e-8


def states_at(lengths, jerks, start, times):
    """States (k, 3) of piecewise constant jerks (n,) at `times` (k,) in the plan."""
    out = np.empty((len(times), 3))
    ends = np.cumsum(lengths)
    for k, time in enumerate(times):
        x, v, a = start
        before = 0.0
        for j, end in zip(jerks, ends, strict=True):
            d = min(time, end) - before
            x, v, a = (
                x + v * d + a * d**2 / 2 + j * d**3 / 6,
                v + a * d + j * d**2 / 2,
                a + j * d,
            )
            if time <= end:
                break
            before = end
        out[k] = x, v, a
    return out


def states_map(lengths, jerk, times):
    """Map (k, 3, 3 + n) from (x0, v0, a0, u) to the states at `times`."""
    n = len(lengths)
    columns = []
    for i in range(3 + n):
        unit = np.zeros(3 + n)
        unit[i] = 1.0
        columns.append(states_at(lengths, unit[3:] * jerk, unit[:3], times))
    return np.stack(columns, axis=-1)


def stop_by_quadrature(speed, accel, jerk):
    """Distance of a jerk-limited stop: the integral of its speed, in closed pieces."""
    top = min(accel, np.sqrt(speed * jerk))
    ramp = top / jerk
    hold = speed / top - ramp
    lengths = np.array([ramp, hold, ramp])
    jerks = np.array([-jerk, 0.0, jerk])
    return states_at(lengths, jerks, (0.0, speed, 0.0), [lengths.sum()])[0, 0]


def largest_first_jerk(v0, a0, *, first, speed, jerk):
    """Largest u of block one whose speed keeps below `speed` (k,), by bisection."""
    low, high = np.full(len(v0), -1.0), np.full(len(v0), 1.0)
    for _ in range(70):
        u = (low + high) / 2
        turn = np.divide(-a0, u * jerk, out=np.full(len(u), -1.0), where=u != 0.0)
        t = np.where((turn > 0) & (turn < first), turn, first)
        peak = np.maximum(v0 + a0 * t + u * jerk * t**2 / 2, v0)
        end = v0 + a0 * first + u * jerk * first**2 / 2
        ok = np.maximum(peak, end) <= speed
        low, high = np.where(ok, u, low), np.where(ok, high, u)
    return np.where(high == 1.0, 1.0, low)


@dataclass(frozen=True, kw_only=True)
class PlanProblem:
    """Minimise |R u - r|^2 over low <= G u <= high, h u = -a0 / J, in matrices."""

    lengths: np.ndarray
    cost_start: np.ndarray
    cost_jerks: np.ndarray
    cost_targets: np.ndarray
    row_start: np.ndarray
    row_jerks: np.ndarray
    low: np.ndarray
    high: np.ndarray
    jerk: float
    speed: float

    def objective(self, start, targets, u):
        """The documented cost of u (n,)."""
        return float(np.sum((self.cost_jerks @ u - self.right(start, targets)) ** 2))

    def right(self, start, targets):
        """What `cost_jerks` times u should come near to."""
        return self.cost_targets @ targets - self.cost_start @ start

    def bounds(self, starts):
        """Lower and upper bounds (k, rows) of `row_jerks` times u, block one boxed."""
        moved = starts @ self.row_start.T
        low, high = self.low - moved, self.high - moved
        v0, a0 = starts[:, 1], starts[:, 2]
        limits = {"first": self.lengths[0], "speed": self.speed, "jerk": self.jerk}
        high[:, 0] = largest_first_jerk(v0, a0, **limits)
        low[:, 0] = -largest_first_jerk(-v0, -a0, **limits)
        return low, high

    def whitening(self):
        """Map (n, n - 1) from unit-cost coordinates to jerks with zero h u."""
        free = null_space(self.lengths[None, :])
        moved = self.cost_jerks @ free
        factor = cholesky(moved.T @ moved, lower=True)
        return solve_triangular(factor, free.T, lower=True).T


def plan_problem(planner, *, stiffness, speed_weight):
    """Write the problem of one planner from the definition."""
    lengths, jerk, n = planner.lengths, planner.jerk, len(planner.lengths)
    edges = np.concatenate([[0.0], np.cumsum(lengths)])
    points, weights = np.polynomial.legendre.leggauss(8)
    times = (edges[:-1, None] + (points + 1) / 2 * lengths[:, None]).ravel()
    roots = np.sqrt((weights / 2 * lengths[:, None]).ravel())[:, None]
    inside = states_map(lengths, jerk, times)
    at_ends = states_map(lengths, jerk, edges[1:])
    value, rate = _lagrange(planner.nodes, times)
    end_value, end_rate = _lagrange(planner.nodes, edges[-1:])
    smooth = np.zeros((n, 3 + n))
    smooth[:, 3:] = np.diag(jerk * np.sqrt(lengths * stiffness**-6.0))
    pull, ends = np.sqrt(speed_weight), np.sqrt([PLACE_WEIGHT, RATE_WEIGHT])
    states = np.vstack(
        [
            inside[:, 0] * roots,
            inside[:, 1] * roots * pull,
            smooth,
            ends[0] * at_ends[-1, 0],
            ends[1] * at_ends[-1, 1],
        ]
    )
    targets = np.vstack(
        [
            value * roots,
            rate * roots * pull,
            np.zeros((n, len(planner.nodes))),
            ends[0] * end_value,
            ends[1] * end_rate,
        ]
    )
    rows, low, high = _rows(planner, at_ends)
    return PlanProblem(
        lengths=lengths,
        cost_start=states[:, :3],
        cost_jerks=states[:, 3:],
        cost_targets=targets,
        row_start=rows[:, :3],
        row_jerks=rows[:, 3:],
        low=low,
        high=high,
        jerk=jerk,
        speed=planner.speed,
    )


def _lagrange(nodes, times):
    """Value and rate at `times` of the polynomial through node values, as maps."""
    value, rate = [], []
    for k, node in enumerate(nodes):
        others = np.delete(nodes, k)
        basis = np.polynomial.Polynomial.fromroots(others)
        scale = np.prod(node - others)
        value.append(basis(times) / scale)
        rate.append(basis.deriv()(times) / scale)
    return np.array(value).T, np.array(rate).T


def _rows(planner, at_ends):
    """Every documented row, divided by its limit (positions by a metre)."""
    n, h = len(planner.lengths), planner.lengths
    rows = [np.eye(n, 3 + n, 3)]
    limits = [np.ones(n)]
    for i in range(n):
        _, v, a = at_ends[i]
        rows.append(np.array([a / planner.accel, v / planner.speed]))
        limits.append(np.ones(2))
        if i + 1 < n:
            rows.append((v + a * h[i + 1] / 2)[None] / planner.speed)
            limits.append(np.ones(1))
    high = np.concatenate(limits)
    low = -high
    if planner.length < 0:
        return np.vstack(rows), low, high
    places = [at_ends[i, 0] for i in range(n)]
    for i in range(n - 1):
        x, v, a = at_ends[i]
        d = h[i + 1]
        places += [x + v * d / 3, x + 2 * v * d / 3 + a * d**2 / 6]
    near, far = RAIL_INSET_M, planner.length - RAIL_INSET_M
    low = np.concatenate([low, np.full(len(places), near)])
    high = np.concatenate([high, np.full(len(places), far)])
    knots = np.linspace(0.0, planner.speed, CHORDS + 1)
    reach = [
        stop_by_quadrature(v, planner.accel, planner.jerk) if v > 0 else 0.0
        for v in knots
    ]
    x, v, _ = at_ends[-1]
    for k in range(CHORDS):
        slope = (reach[k + 1] - reach[k]) / (knots[k + 1] - knots[k])
        offset = reach[k] - slope * knots[k]
        # Distance offset + slope |v|: beyond x when v > 0, before it when v < 0.
        places.append(x + slope * v)
        low = np.append(low, near + offset)
        high = np.append(high, far - offset)
    return np.vstack([*rows, np.array(places)]), low, high
