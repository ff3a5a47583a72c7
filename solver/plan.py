"""The bounded plan: where one channel goes in the next second and a half.

State (x, v, a). The plan is piecewise-constant jerk `J u_i`, |u_i| <= 1, over `n` blocks
of lengths `h_i`, so that it is a piecewise cubic, exact at any time and independent of
the frame rate. Against a target curve g(t), given at `N_NODES` Chebyshev nodes of the
horizon and read as their interpolating polynomial, it minimises

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

from typing import NamedTuple

import numpy as np
from scipy.linalg import null_space

from .arrays import FloatArray
from .compiled import kernel

N_BLOCKS = 7
N_NODES = 6
N_PIECES = N_BLOCKS + 3  # a stop needs up to three more
HORIZON_S = 1.55
GROWTH = 1.3  # of block lengths after the first two
STOP_CHORDS = 3
SPEED_INSET = 2e-6  # relative; keeps rounding inside the limit
ACCEL_INSET = 1e-9
RAIL_INSET_M = 1e-8
FEASIBLE = 1e-11  # rows are scaled to bounds near 1
DEPENDENT = 1e-13  # squared, relative
MAX_STEPS = 200
Q_END_PLACE = 1.0
Q_END_SPEED = 0.3

# A plan in a log: start time, x, v, a, then the jerks and lengths of its pieces.
PLAN_WIDTH = 4 + 2 * N_PIECES


class Planner(NamedTuple):
    """Everything about a channel that does not change from plan to plan.

    `speed`, `accel`, `jerk` are the limits used inside (inset); `length` is the rail's
    length in metres or -1 off rails; `nodes` (N_NODES,) [s] are where targets are asked
    for; `poly` turns node values into polynomial coefficients in t/T; `gain` maps
    (v0, a0, targets - x0) to the unconstrained u; `white` maps y to u; `rows` maps
    (v0, a0, u) to scaled row values, `white_rows` maps y to them; `position_row` is the
    first row that needs x0 taken off its bounds, `unit` each row's scale.
    """

    speed: float
    accel: float
    jerk: float
    length: float
    horizon: float
    lengths: FloatArray
    nodes: FloatArray
    poly: FloatArray
    gain: FloatArray
    white: FloatArray
    rows: FloatArray
    white_rows: FloatArray
    lower: FloatArray
    upper: FloatArray
    unit: FloatArray
    position_row: int


def block_lengths(speed: float, accel: float, jerk: float) -> FloatArray:
    """Return the (N_BLOCKS,) block lengths [s] for one set of limits."""
    first = min(accel, np.sqrt(speed * jerk)) / jerk
    growth = GROWTH ** np.arange(N_BLOCKS - 2)
    rest = max(HORIZON_S - 2 * first, 2 * first)
    return np.concatenate([[first, first], rest * growth / growth.sum()])


def _affine_states(lengths: FloatArray, jerk: float) -> list[FloatArray]:
    """Return (3, 2 + n) maps from (v0, a0, u) to (x - x0, v, a) at block starts."""
    n = len(lengths)
    state = np.zeros((3, 2 + n))
    state[1, 0] = state[2, 1] = 1.0
    states = [state]
    for i, h in enumerate(lengths):
        states.append(_advance(states[-1], h, jerk, i))
    return states


def _advance(state: FloatArray, t: float, jerk: float, block: int) -> FloatArray:
    """Return the affine state `t` seconds into a block that starts at `state`."""
    x, v, a = state
    u = np.zeros(state.shape[1])
    u[2 + block] = jerk
    return np.array(
        [x + v * t + a * t**2 / 2 + u * t**3 / 6, v + a * t + u * t**2 / 2, a + u * t]
    )


def _interpolation(nodes: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return value and rate at `t` of the polynomial through node values, as maps."""
    span = nodes[-1]
    vandermonde = np.vander(nodes / span, increasing=True)
    inverse = np.linalg.inv(vandermonde)
    powers = np.vander(t / span, len(nodes), increasing=True)
    slopes = np.zeros_like(powers)
    slopes[:, 1:] = powers[:, :-1] * np.arange(1, len(nodes)) / span
    return powers @ inverse, slopes @ inverse


def stop_distance(speed: float, accel: float, jerk: float) -> float:
    """Return the distance of a jerk-limited stop from `speed` at zero acceleration."""
    if speed <= accel**2 / jerk:
        return float(speed**1.5 / np.sqrt(jerk))
    return speed**2 / (2 * accel) + speed * accel / (2 * jerk)


def _bound_rows(
    states: list[FloatArray],
    lengths: FloatArray,
    *,
    speed: float,
    accel: float,
    jerk: float,
    length: float,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, int]:
    """Return rows, lower, upper, unit and the first position row."""
    n = len(lengths)
    rows, units, bounds = [], [], []

    def add(row: FloatArray, unit: float, low: float, high: float) -> None:
        rows.append(row / unit)
        units.append(unit)
        bounds.append((low / unit, high / unit))

    for i in range(n):
        add(np.eye(2 + n)[2 + i], 1.0, -1.0, 1.0)
    for i in range(1, n):
        add(states[i][2], accel, -accel, accel)
    for i in range(1, n + 1):
        add(states[i][1], speed, -speed, speed)
    for i in range(1, n):
        add(states[i][1] + states[i][2] * lengths[i] / 2, speed, -speed, speed)
    position_row = len(rows)
    if length >= 0:
        low, high = RAIL_INSET_M, length - RAIL_INSET_M
        for i in range(1, n + 1):
            add(states[i][0], 1.0, low, high)
        for i in range(1, n):
            x, v, a = states[i]
            h = lengths[i]
            add(x + v * h / 3, 1.0, low, high)
            add(x + 2 * v * h / 3 + a * h**2 / 6, 1.0, low, high)
        knots = np.linspace(0.0, speed, STOP_CHORDS + 1)
        reach = [stop_distance(v, accel, jerk) for v in knots]
        for k in range(STOP_CHORDS):
            slope = (reach[k + 1] - reach[k]) / (knots[k + 1] - knots[k])
            offset = reach[k] - slope * knots[k]
            row = states[n][0] + slope * states[n][1]
            add(row, 1.0, low + offset, high - offset)
    low_high = np.array(bounds)
    return (
        np.array(rows),
        low_high[:, 0].copy(),
        low_high[:, 1].copy(),
        np.array(units),
        position_row,
    )


class Cost(NamedTuple):
    """The plan's least-squares cost |E (v0, a0, u) - D g|^2, targets relative to x0."""

    states: FloatArray
    targets: FloatArray


def plan_cost(
    lengths: FloatArray,
    nodes: FloatArray,
    *,
    jerk: float,
    stiffness: float,
    speed_weight: float,
) -> Cost:
    """Return the cost as least squares; shared by the kernel and its reference.

    Args:
        lengths: block lengths, (n,) [s].
        nodes: target times, (m,) [s].
        jerk: jerk limit; u is in its units.
        stiffness: in rad/s; higher follows the target harder.
        speed_weight: weight of the speed error, [s^2].
    """
    states = _affine_states(lengths, jerk)
    points, weights = np.polynomial.legendre.leggauss(5)
    n = len(lengths)
    rows, times, rates = [], [], []
    start = 0.0
    for i, h in enumerate(lengths):
        for point, weight in zip(points, weights, strict=True):
            t = (point + 1) / 2 * h
            x, v, _ = _advance(states[i], t, jerk, i)
            root = np.sqrt(weight / 2 * h)
            rows.append((x * root, v * root * np.sqrt(speed_weight)))
            times.append(start + t)
            rates.append(root)
        start += h
    value, slope = _interpolation(nodes, np.array(times))
    root = np.array(rates)[:, None]
    end_value, end_slope = _interpolation(nodes, np.array([start]))
    smooth = np.zeros((n, 2 + n))
    smooth[:, 2:] = np.diag(jerk * stiffness**-3.0 * np.sqrt(lengths))
    states_map = np.vstack(
        [
            np.array([r[0] for r in rows]),
            np.array([r[1] for r in rows]),
            smooth,
            np.sqrt(Q_END_PLACE) * states[-1][0],
            np.sqrt(Q_END_SPEED) * states[-1][1],
        ]
    )
    target_map = np.vstack(
        [
            value * root,
            slope * root * np.sqrt(speed_weight),
            np.zeros((n, len(nodes))),
            np.sqrt(Q_END_PLACE) * end_value,
            np.sqrt(Q_END_SPEED) * end_slope,
        ]
    )
    return Cost(states_map, target_map)


def build_planner(
    *,
    max_speed: float,
    max_accel: float,
    max_jerk: float,
    stiffness: float,
    speed_weight: float,
    length: float = -1.0,
) -> Planner:
    """Build the planner of one channel.

    Args:
        max_speed: limit in channel units (rad, m or dioptres) a second, > 0.
        max_accel: limit, units/s^2, > 0.
        max_jerk: limit, units/s^3, > 0.
        stiffness: rate of the response in rad/s, about 3 (heavy) to 10 (sharp).
        speed_weight: weight of the speed error, s^2, >= 0.
        length: rail length in metres; negative off rails.
    """
    speed = max_speed * (1 - SPEED_INSET)
    jerk = max_jerk
    accel = min(max_accel * (1 - ACCEL_INSET), float(np.sqrt(speed * jerk)))
    lengths = block_lengths(speed, accel, jerk)
    horizon = float(lengths.sum())
    nodes = horizon * (1 - np.cos(np.pi * np.arange(N_NODES) / (N_NODES - 1))) / 2
    cost = plan_cost(
        lengths, nodes, jerk=jerk, stiffness=stiffness, speed_weight=speed_weight
    )
    n = len(lengths)
    e_u, e_s = cost.states[:, 2:], cost.states[:, :2]
    hessian = e_u.T @ e_u
    kkt = np.block([[hessian, lengths[:, None]], [lengths[None, :], np.zeros((1, 1))]])
    right = np.zeros((n + 1, 2 + N_NODES))
    right[:n, :2] = -e_u.T @ e_s
    right[:n, 2:] = e_u.T @ cost.targets
    right[n, 1] = -1.0 / jerk  # sum u h = -a0 / J
    gain = np.linalg.solve(kkt, right)[:n]
    free = null_space(lengths[None, :])
    lower = np.linalg.cholesky(free.T @ hessian @ free)
    white = np.linalg.solve(lower, free.T).T
    rows, low, high, unit, position_row = _bound_rows(
        _affine_states(lengths, jerk),
        lengths,
        speed=speed,
        accel=accel,
        jerk=jerk,
        length=length,
    )
    poly = np.linalg.inv(np.vander(nodes / horizon, increasing=True))
    return Planner(
        speed=speed,
        accel=accel,
        jerk=jerk,
        length=float(length),
        horizon=horizon,
        lengths=lengths,
        nodes=nodes,
        poly=np.ascontiguousarray(poly),
        gain=np.ascontiguousarray(gain),
        white=np.ascontiguousarray(white),
        rows=np.ascontiguousarray(rows),
        white_rows=np.ascontiguousarray(rows[:, 2:] @ white),
        lower=low,
        upper=high,
        unit=unit,
        position_row=position_row,
    )


@kernel
def row_bounds(pl, x0, v0, a0, low, high):  # type: ignore[no-untyped-def]
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
def solve_plan(pl, x0, v0, a0, target, u):  # type: ignore[no-untyped-def]
    """Solve for the scaled jerks of one plan.

    Args:
        pl: the channel's Planner.
        x0: start position; v0, a0 speed and acceleration, inside the viable set.
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
def _solve_gram(chol, size, right, out):  # type: ignore[no-untyped-def]
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
def _factor_gram(normals, size, first, chol):  # type: ignore[no-untyped-def]
    """Factor the Gram matrix of the active normals, rows `first` and later."""
    m = normals.shape[1]
    for i in range(first, size):
        for j in range(i + 1):
            s = 0.0
            for k in range(m):
                s += normals[i, k] * normals[j, k]
            for k in range(j):
                s -= chol[i, k] * chol[j, k]
            chol[i, j] = np.sqrt(max(s, 1e-300)) if i == j else s / chol[j, j]


@kernel
def _least_distance(rows, low, high, y):  # type: ignore[no-untyped-def]
    """Minimise |y|^2 / 2 over low <= rows y <= high; dual active set.

    Returns the number of steps, or -1 when the rows contradict each other.
    """
    n_rows, m = rows.shape
    normals = np.zeros((m + 1, m))
    bounds = np.zeros(m + 1)
    multipliers = np.zeros(m + 1)
    chol = np.zeros((m + 1, m + 1))
    project = np.zeros(m + 1)
    right = np.zeros(m + 1)
    z = np.zeros(m)
    size = 0
    steps = 0
    while steps < MAX_STEPS:
        worst = FEASIBLE
        pick = -1
        sign = 1.0
        for r in range(n_rows):
            value = 0.0
            for k in range(m):
                value += rows[r, k] * y[k]
            if value - high[r] > worst:
                worst, pick, sign = value - high[r], r, 1.0
            if low[r] - value > worst:
                worst, pick, sign = low[r] - value, r, -1.0
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
            for i in range(drop, size):
                bounds[i] = bounds[i + 1]
                multipliers[i] = multipliers[i + 1]
                for k in range(m):
                    normals[i, k] = normals[i + 1, k]
            size -= 1
            _factor_gram(normals, size, drop, chol)
            if steps >= MAX_STEPS:
                return -1
    return -1


@kernel
def write_plan(pl, t0, x0, v0, a0, u, row):  # type: ignore[no-untyped-def]
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
        hold = (
            max(0.0, speed / pl.accel - pl.accel / pl.jerk)
            if ramp * pl.jerk >= pl.accel
            else 0.0
        )
        row[4 + n], row[4 + N_PIECES + n] = -sign * pl.jerk, ramp
        row[4 + n + 1], row[4 + N_PIECES + n + 1] = 0.0, hold
        row[4 + n + 2], row[4 + N_PIECES + n + 2] = sign * pl.jerk, ramp


@kernel
def evaluate_plan(row, t):  # type: ignore[no-untyped-def]
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
def evaluate_log(log, count, times, out):  # type: ignore[no-untyped-def]
    """Fill `out` (n, 3) with x, v, a at ascending `times` (n,) [s]."""
    k = 0
    for i in range(times.shape[0]):
        while k + 1 < count and log[k + 1, 0] <= times[i]:
            k += 1
        x, v, a = evaluate_plan(log[k], times[i])
        out[i, 0], out[i, 1], out[i, 2] = x, v, a


@kernel
def stays_on_rail(pl, row):  # type: ignore[no-untyped-def]
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
