"""The bounded plan: where one channel goes in the next second and a half.

State (x, v, a). The plan is piecewise-constant jerk `J u_i`, |u_i| <= 1, over `n`
blocks of lengths `h_i`, so that it is a piecewise cubic, exact at any time and
independent of the frame rate. Against a target curve g(t), given at `N_NODES`
Chebyshev nodes of the horizon and read as their interpolating polynomial, it
minimises

    int (x - g)^2 + p (v - g')^2 + rho (J u)^2 dt + q1 (x_T - g_T)^2 + q2 (v_T - g'_T)^2

with rho = stiffness^-6, a_T = 0, and these rows, sufficient at every instant:
|u_i| <= 1; |a_i| <= A and |v_i| <= V at block ends; |v_i + a_i h_i / 2| <= V (middle
control point of the block's velocity) from the second block on; in block one the peak
itself, a box on u_1. A channel on rails adds 0 <= x <= L at block ends and position
control points, and chords of the stop distance d(v), after which an explicit
jerk-limited stop follows. With h_1 = h_2 = A/J and A <= sqrt(V J) a plan without rails
exists from every state (v, a) with |a| <= A and |v + a |a| / 2J| <= V.

The linear equality is eliminated by its null space and the rest whitened, so the
problem that is solved is min |y|^2 / 2 over G y <= b, by a dual active-set method.

Source: Goldfarb & Idnani 1983, "A numerically stable dual method for solving strictly
convex quadratic programs", for the method; formulation and feasibility argument: our
derivation, tested in tests/solver/test_plan.py.
"""

import numpy as np

from .compiled import kernel
from .planner import N_BLOCKS, N_NODES, SPEED_INSET

N_PIECES = N_BLOCKS + 3  # a stop needs up to three more
FEASIBLE = 1e-11  # rows are scaled to bounds near 1
DEPENDENT = 1e-13  # squared, relative
MAX_STEPS = 200
HIGH, LOW = 1, 2
# A plan in a log: start time, x, v, a, then the jerks and lengths of its pieces.
PLAN_WIDTH = 4 + 2 * N_PIECES


@kernel
def row_bounds(pl, x0, v0, a0, low, high):
    """Fill the bounds of every row for one start state."""
    for r in range(pl.lower.shape[0]):
        low[r] = pl.lower[r]
        high[r] = pl.upper[r]
    for r in range(pl.position_row, pl.lower.shape[0]):
        low[r] -= x0
        high[r] -= x0
    n = pl.lengths.shape[0]
    hard = pl.speed * (1.0 + SPEED_INSET / 2)
    top = v0 + (a0 * a0 / (2 * pl.jerk) if a0 > 0 else 0.0)
    bottom = v0 - (a0 * a0 / (2 * pl.jerk) if a0 < 0 else 0.0)
    up = max(pl.speed, top + min(SPEED_INSET / 4 * pl.speed, 0.1 * (hard - top)))
    down = min(
        -pl.speed, bottom - min(SPEED_INSET / 4 * pl.speed, 0.1 * (hard + bottom))
    )
    for r in range(2 * n - 1, pl.position_row):
        low[r] = down / pl.unit[r]
        high[r] = up / pl.unit[r]
    h = pl.lengths[0]
    # Block one's own velocity peak, v0 + a0^2 / (2 J |u|), as a box on its jerk.
    if a0 > 0.0 and a0 * h / 2 >= up - v0:
        high[0] = -min(1.0, a0 * a0 / (2 * max(up - v0, 1e-300) * pl.jerk))
    if a0 < 0.0 and -a0 * h / 2 >= v0 - down:
        low[0] = min(1.0, a0 * a0 / (2 * max(v0 - down, 1e-300) * pl.jerk))


@kernel
def solve_plan(pl, x0, v0, a0, target, u):
    """Solve for the scaled jerks of one plan.

    Args:
        pl: the channel's Planner.
        x0: start position.
        v0: start speed.
        a0: start acceleration; with v0 inside the viable set.
        target: target positions at `pl.nodes`, (N_NODES,), channel units.
        u: filled with the jerks over the limit, (N_BLOCKS,).

    Returns:
        Number of active-set steps (0: no limit is active), or -1 if no plan exists.
    """
    n = pl.lengths.shape[0]
    n_rows = pl.lower.shape[0]
    for i in range(n):
        s = pl.gain[i, 0] * v0 + pl.gain[i, 1] * a0
        for k in range(N_NODES):
            s += pl.gain[i, 2 + k] * (target[k] - x0)
        u[i] = s
    low = np.empty(n_rows)
    high = np.empty(n_rows)
    row_bounds(pl, x0, v0, a0, low, high)
    worst = 0.0
    for r in range(n_rows):
        value = pl.rows[r, 0] * v0 + pl.rows[r, 1] * a0
        for i in range(n):
            value += pl.rows[r, 2 + i] * u[i]
        low[r] -= value
        high[r] -= value
        worst = max(worst, low[r], -high[r])
    if worst <= FEASIBLE:
        return 0
    y = np.zeros(n - 1)
    steps = _least_distance(pl.white_rows, low, high, y)
    if steps < 0:
        return -1
    for i in range(n):
        for k in range(n - 1):
            u[i] += pl.white[i, k] * y[k]
    return steps


@kernel
def _solve_gram(chol, size, right, out):
    """Solve L L' out = right."""
    for i in range(size):
        s = right[i]
        for k in range(i):
            s -= chol[i, k] * out[k]
        out[i] = s / chol[i, i]
    for i in range(size - 1, -1, -1):
        s = out[i]
        for k in range(i + 1, size):
            s -= chol[k, i] * out[k]
        out[i] = s / chol[i, i]


@kernel
def _factor_gram(normals, size, first, chol):
    """Factor the Gram matrix of the active normals, rows `first` and later."""
    m = N_BLOCKS - 1
    for i in range(first, size):
        for j in range(i + 1):
            s = 0.0
            for k in range(m):
                s += normals[i, k] * normals[j, k]
            for k in range(j):
                s -= chol[i, k] * chol[j, k]
            chol[i, j] = np.sqrt(max(s, 1e-300)) if i == j else s / chol[j, j]


@kernel
def _least_distance(rows, low, high, y):
    """Minimise |y|^2 / 2 over low <= rows y <= high; dual active set.

    Returns the number of steps, or -1 when the rows contradict each other.
    """
    n_rows = rows.shape[0]
    m = N_BLOCKS - 1  # known to the compiler, which unrolls
    normals = np.zeros((m + 1, m))
    bounds = np.zeros(m + 1)
    held = np.zeros(m + 1, dtype=np.int64)  # active rows, counted from one, minus: low
    sides = np.zeros(n_rows, dtype=np.int64)  # HIGH, LOW or both, where a row is held
    multipliers = np.zeros(m + 1)
    chol = np.zeros((m + 1, m + 1))
    project = np.zeros(m + 1)
    right = np.zeros(m + 1)
    z = np.zeros(m)
    size = 0
    steps = 0
    while steps < MAX_STEPS:
        square = 0.0
        for k in range(m):
            square += y[k] * y[k]
        # Rounding grows with y; where many rows meet it would pick them in turn.
        worst = FEASIBLE * max(1.0, 0.1 * np.sqrt(square))
        pick = -1
        sign = 1.0
        for r in range(n_rows):
            value = 0.0
            for k in range(m):
                value += rows[r, k] * y[k]
            # An active row is on its bound; what is left of it is rounding.
            over, under = value - high[r], low[r] - value
            if over > worst and not sides[r] & HIGH:
                worst, pick, sign = over, r, 1.0
            if under > worst and not sides[r] & LOW:
                worst, pick, sign = under, r, -1.0
        if pick < 0:
            return steps
        bound = sign * (high[pick] if sign > 0 else low[pick])
        norm = 0.0
        for k in range(m):
            normals[size, k] = sign * rows[pick, k]
            norm += rows[pick, k] * rows[pick, k]
        added = 0.0
        while True:
            steps += 1
            for i in range(size):
                s = 0.0
                for k in range(m):
                    s += normals[i, k] * normals[size, k]
                right[i] = s
            _solve_gram(chol, size, right, project)
            residual = 0.0
            violation = -bound
            for k in range(m):
                s = normals[size, k]
                for i in range(size):
                    s -= project[i] * normals[i, k]
                z[k] = s
                residual += s * s
                violation += normals[size, k] * y[k]
            drop = -1
            dual_step = np.inf
            for i in range(size):
                if project[i] > 0.0 and multipliers[i] / project[i] < dual_step:
                    dual_step, drop = multipliers[i] / project[i], i
            dependent = residual <= DEPENDENT * norm or size == m
            if dependent and drop < 0:
                return -1
            step = dual_step if dependent else min(dual_step, violation / residual)
            if not dependent:
                for k in range(m):
                    y[k] -= step * z[k]
            for i in range(size):
                multipliers[i] -= step * project[i]
            added += step
            if not dependent and violation / residual <= dual_step:
                bounds[size] = bound
                held[size] = (pick + 1) if sign > 0.0 else -(pick + 1)
                sides[pick] |= HIGH if sign > 0.0 else LOW
                _factor_gram(normals, size + 1, size, chol)
                size += 1
                # From scratch, so that rounding does not build up over the steps.
                for i in range(size):
                    right[i] = -bounds[i]
                _solve_gram(chol, size, right, multipliers)
                for k in range(m):
                    s = 0.0
                    for i in range(size):
                        s -= multipliers[i] * normals[i, k]
                    y[k] = s
                break
            sides[abs(held[drop]) - 1] &= ~(HIGH if held[drop] > 0 else LOW)
            for i in range(drop, size):
                bounds[i] = bounds[i + 1]
                held[i] = held[i + 1]
                multipliers[i] = multipliers[i + 1]
                for k in range(m):
                    normals[i, k] = normals[i + 1, k]
            size -= 1
            _factor_gram(normals, size, drop, chol)
            if steps >= MAX_STEPS:
                return -1
    return -1


@kernel
def write_plan(pl, t0, x0, v0, a0, u, row):
    """Write one plan into a log row, with the stop that follows it on rails."""
    n = pl.lengths.shape[0]
    row[0], row[1], row[2], row[3] = t0, x0, v0, a0
    v = v0
    a = a0
    for i in range(n):
        h = pl.lengths[i]
        j = pl.jerk * u[i]
        row[4 + i] = j
        row[4 + N_PIECES + i] = h
        v += a * h + j * h * h / 2
        a += j * h
    for i in range(n, N_PIECES):
        row[4 + i] = 0.0
        row[4 + N_PIECES + i] = 0.0
    if pl.length >= 0.0 and v != 0.0:
        speed = abs(v)
        sign = 1.0 if v > 0 else -1.0
        ramp = min(np.sqrt(speed / pl.jerk), pl.accel / pl.jerk)
        hold = max(0.0, speed / pl.accel - pl.accel / pl.jerk)
        row[4 + n], row[4 + N_PIECES + n] = -sign * pl.jerk, ramp
        row[4 + n + 1], row[4 + N_PIECES + n + 1] = 0.0, hold
        row[4 + n + 2], row[4 + N_PIECES + n + 2] = sign * pl.jerk, ramp


@kernel
def evaluate_plan(row, t):
    """Return (x, v, a) of a logged plan at time `t` [s], at or after its start."""
    left = t - row[0]
    x, v, a = row[1], row[2], row[3]
    for i in range(N_PIECES):
        h = row[4 + N_PIECES + i]
        j = row[4 + i]
        d = min(left, h)
        x += d * (v + d * (a / 2 + d * j / 6))
        v += d * (a + d * j / 2)
        a += d * j
        left -= d
        if left <= 0.0:
            return x, v, a
    # After the last piece the acceleration is zero: the channel coasts, or stands.
    return x + left * v, v, 0.0


@kernel
def evaluate_log(log, count, times, out):
    """Fill `out` (n, 3) with x, v, a at ascending `times` (n,) [s]."""
    k = 0
    for i in range(times.shape[0]):
        while k + 1 < count and log[k + 1, 0] <= times[i]:
            k += 1
        x, v, a = evaluate_plan(log[k], times[i])
        out[i, 0], out[i, 1], out[i, 2] = x, v, a


@kernel
def stays_on_rail(pl, row):
    """Tell whether block one, the only one without control rows, keeps to the rail."""
    h = row[4 + N_PIECES]
    j = row[4]
    a = row[3]
    v = row[2]
    for sign in (-1.0, 1.0):
        root = a * a - 2 * j * v
        if root < 0.0:
            continue
        denominator = -a + sign * np.sqrt(root)
        t = denominator / j if j != 0.0 else (-v / a if a != 0.0 else -1.0)
        if 0.0 < t < h:
            x = row[1] + t * (v + t * (a / 2 + t * j / 6))
            if x < 0.0 or x > pl.length:
                return False
    return True
