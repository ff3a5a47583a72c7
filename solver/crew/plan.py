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
problem that is solved is min |y|^2 / 2 over G y <= b, in `active_set`.

Source: formulation and feasibility argument: our derivation, tested in
tests/solver/crew/test_plan.py.
"""

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from .active_set import HIGH, LOW, POINT, least_distance
from .planner import (
    LOWER,
    N_BLOCKS,
    N_NODES,
    PLACE,
    SPEED,
    SPEED_INSET,
    STATE,
    UPPER,
)

N_PIECES = N_BLOCKS + 3  # a stop needs up to three more
# A plan in a log: start time; x, v, a at the start of each piece and after the last;
# then the jerks and the lengths of the pieces.
JERKS = 1 + 3 * (N_PIECES + 1)
LENGTHS = JERKS + N_PIECES
PLAN_WIDTH = LENGTHS + N_PIECES


def straight_on(times_s: ArrayLike, places: ArrayLike, speeds: ArrayLike) -> FloatArray:
    """Return a log of plans that do not steer, (n, PLAN_WIDTH).

    Args:
        times_s: when each starts, ascending, (n,) [s].
        places: (n,) or one for all, channel units.
        speeds: (n,) or one for all, channel units a second; 0 stands.
    """
    log = np.zeros((np.size(times_s), PLAN_WIDTH))
    log[:, 0], log[:, 1], log[:, 2] = times_s, places, speeds
    log[:, LENGTHS] = np.inf
    return log


@kernel
def fill_bounds(pl, x0, v0, a0, target, work):
    """Fill work[LOW] and work[HIGH]: the bounds on `pl.rows` times y for one plan."""
    up, down = _speed_bounds(pl, v0, a0)
    faster, slower = up - pl.speed, down + pl.speed
    g0, g1, g2 = target[0] - x0, target[1] - x0, target[2] - x0
    g3, g4, g5 = target[3] - x0, target[4] - x0, target[5] - x0
    room = pl.length - x0
    table = pl.table
    for r in range(pl.rows.shape[0]):
        value = (
            (table[STATE, r] * v0 + table[STATE + 1, r] * a0)
            + (table[STATE + 2, r] * g0 + table[STATE + 3, r] * g1)
            + (table[STATE + 4, r] * g2 + table[STATE + 5, r] * g3)
            + (table[STATE + 6, r] * g4 + table[STATE + 7, r] * g5)
        )
        place, speed = table[PLACE, r], table[SPEED, r]
        work[LOW, r] = table[LOWER, r] - place * x0 + speed * slower - value
        work[HIGH, r] = table[UPPER, r] + place * room + speed * faster - value
    # Block one's own velocity peak, v0 + a0^2 / (2 J |u|), as a box on its jerk.
    h = pl.lengths[0]
    if a0 > 0.0 and a0 * h / 2 >= up - v0:
        most = -min(1.0, a0 * a0 / (2 * max(up - v0, 1e-300) * pl.jerk))
        work[HIGH, 0] += (most - 1.0) * table[UPPER, 0]
    if a0 < 0.0 and -a0 * h / 2 >= v0 - down:
        least = min(1.0, a0 * a0 / (2 * max(v0 - down, 1e-300) * pl.jerk))
        work[LOW, 0] -= (least + 1.0) * table[LOWER, 0]


@kernel
def _speed_bounds(pl, v0, a0):
    """Return the speeds allowed up and down: a forced peak may reach a bit further."""
    hard = pl.speed * (1.0 + SPEED_INSET / 2)
    slack = SPEED_INSET / 4 * pl.speed
    forced = a0 * abs(a0) / (2 * pl.jerk)
    top = v0 + max(forced, 0.0)
    bottom = v0 + min(forced, 0.0)
    up = max(pl.speed, top + min(slack, 0.1 * (hard - top)))
    down = min(-pl.speed, bottom - min(slack, 0.1 * (hard + bottom)))
    return up, down


@kernel
def solve_plan(pl, x0, v0, a0, target, u, work):
    """Solve for the scaled jerks of one plan.

    Args:
        pl: the channel's Planner.
        x0: start position.
        v0: start speed.
        a0: start acceleration; with v0 inside the viable set.
        target: target positions at `pl.nodes`, (N_NODES,), channel units.
        u: filled with the jerks over the limit, (N_BLOCKS,).
        work: scratch, (WORK_ROWS, MOST_ROWS).

    Returns:
        Number of active-set steps (0: no limit is active), or -1 if no plan exists.
    """
    fill_bounds(pl, x0, v0, a0, target, work)
    steps = least_distance(pl.rows, pl.table, work)
    if steps < 0:
        return -1
    for i in range(N_BLOCKS):
        s = pl.gain[i, 0] * v0 + pl.gain[i, 1] * a0
        for k in range(N_NODES):
            s += pl.gain[i, 2 + k] * (target[k] - x0)
        if steps > 0:
            for k in range(N_BLOCKS - 1):
                s += pl.white[i, k] * work[POINT, k]
        u[i] = s
    return steps


@kernel
def viable(pl, v, a):
    """Tell whether a plan exists from speed v and acceleration a."""
    return abs(a) <= pl.accel and abs(v + a * abs(a) / (2 * pl.jerk)) <= pl.speed


@kernel
def write_plan(pl, t0, x0, v0, a0, u, row):
    """Write one plan into a log row, with the stop that follows it on rails."""
    n = pl.lengths.shape[0]
    row[0], row[1], row[2], row[3] = t0, x0, v0, a0
    row[JERKS:] = 0.0
    for i in range(n):
        row[JERKS + i], row[LENGTHS + i] = pl.jerk * u[i], pl.lengths[i]
    x, v, a = x0, v0, a0
    for i in range(N_PIECES):
        if i == n and pl.length >= 0.0 and v != 0.0:
            write_stop(pl, v, row)
        x, v, a = moved_on(x, v, a, row[JERKS + i], row[LENGTHS + i])
        row[4 + 3 * i], row[5 + 3 * i], row[6 + 3 * i] = x, v, a


@kernel
def write_stop(pl, v, row):
    """Write the last three pieces of a plan: the stop from speed v."""
    n = pl.lengths.shape[0]
    speed = abs(v)
    sign = 1.0 if v > 0 else -1.0
    ramp = min(np.sqrt(speed / pl.jerk), pl.accel / pl.jerk)
    hold = max(0.0, speed / pl.accel - pl.accel / pl.jerk)
    row[JERKS + n], row[LENGTHS + n] = -sign * pl.jerk, ramp
    row[JERKS + n + 1], row[LENGTHS + n + 1] = 0.0, hold
    row[JERKS + n + 2], row[LENGTHS + n + 2] = sign * pl.jerk, ramp


@kernel
def moved_on(x, v, a, j, d):
    """Return x, v, a after a time `d` [s] at jerk `j`."""
    return (
        x + d * (v + d * (a / 2 + d * j / 6)),
        v + d * (a + d * j / 2),
        a + d * j,
    )


@kernel
def evaluate_plan(log, k, t):
    """Return (x, v, a) of plan `k` of a log at time `t` [s], at or after its start."""
    left = t - log[k, 0]
    i = 0
    while i < N_PIECES and left > log[k, LENGTHS + i]:
        left -= log[k, LENGTHS + i]
        i += 1
    x, v, a = log[k, 1 + 3 * i], log[k, 2 + 3 * i], log[k, 3 + 3 * i]
    if i == N_PIECES:
        # The acceleration is zero: the channel coasts, or stands.
        return x + left * v, v, 0.0
    return moved_on(x, v, a, log[k, JERKS + i], left)


@kernel
def in_force(log, k, t):
    """Return the plan in force at time `t` [s], at or after plan `k` of a log."""
    while k + 1 < log.shape[0] and log[k + 1, 0] <= t:
        k += 1
    return k


@kernel
def evaluate_log(log, count, times, out):
    """Fill `out` (n, 3) with x, v, a at ascending `times` (n,) [s]."""
    k = 0
    for i in range(times.shape[0]):
        while k + 1 < count and log[k + 1, 0] <= times[i]:
            k += 1
        x, v, a = evaluate_plan(log, k, times[i])
        out[i, 0], out[i, 1], out[i, 2] = x, v, a


@kernel
def stays_on_rail(pl, row):
    """Tell whether block one, the only one without control rows, keeps to the rail."""
    h = row[LENGTHS]
    j = row[JERKS]
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
