"""What a channel's plans have in common: cost, limits and rows, built once.

The problem is defined in `plan`; here its matrices are made. Null space, whitening and
rows depend on the limits and the weights only, not on the state.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..presets import Member

N_BLOCKS = 7
N_NODES = 6
HORIZON_S = 1.55
GROWTH = 1.3  # of block lengths after the first two
STOP_CHORDS = 3
WHIP = 2.5  # a whip's limits over the operator's own
WHIP_STIFFNESS = 1.8
WHIP_HORIZON_S = 1.0
SPEED_INSET = 2e-6  # relative; keeps rounding inside the limit
ACCEL_INSET = 1e-9
RAIL_INSET_M = 1e-8
Q_END_PLACE = 1.0
Q_END_SPEED = 0.3
FEASIBLE = 1e-11  # of a bound, metres on rails
# Rows of a planner's table below the n - 1 columns of `rows`: how far a row may break
# its bounds; the bounds, on a rail of no length; what rail and x0, and what the speed
# allowed add to them; from STATE on the map from (v0, a0, targets - x0) to the row's
# value without limits.
TOLERANCE = N_BLOCKS - 1
LOWER, UPPER, PLACE, SPEED, STATE = range(TOLERANCE + 1, TOLERANCE + 6)
N_TABLE = STATE + 2 + N_NODES
MOST_ROWS = 7 * N_BLOCKS - 4 + STOP_CHORDS  # on rails


class Planner(NamedTuple):
    """Everything about a channel that does not change from plan to plan.

    `speed`, `accel`, `jerk` are the limits used inside (inset); `length` is the rail's
    length in metres or -1 off rails; `nodes` (N_NODES,) [s] are where targets are asked
    for; `poly` turns node values into polynomial coefficients in t/T; `gain` maps
    (v0, a0, targets - x0) to the unconstrained u; `white` maps y to u. The limits are
    rows of unit length over y: `rows` (n_rows, n - 1), and by column in `table`
    (N_TABLE, n_rows), whose rows TOLERANCE to STATE are named above.
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
    table: FloatArray


def block_lengths(
    speed: float, accel: float, jerk: float, horizon_s: float = HORIZON_S
) -> FloatArray:
    """Return the (N_BLOCKS,) block lengths [s] for one set of limits."""
    first = min(accel, np.sqrt(speed * jerk)) / jerk
    growth = GROWTH ** np.arange(N_BLOCKS - 2)
    rest = max(horizon_s - 2 * first, 2 * first)
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
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return rows, lower, upper, and how these move with the speed limit and with x0.

    Rows are scaled to bounds of one, or are in metres.
    """
    n = len(lengths)
    rows, bounds, moves = [], [], []

    def add(
        row: FloatArray, low: float, high: float, fast: float = 0.0, placed: float = 0.0
    ) -> None:
        rows.append(row)
        bounds.append((low, high))
        moves.append((fast, placed))

    for i in range(n):
        add(np.eye(2 + n)[2 + i], -1.0, 1.0)
    for i in range(1, n):
        add(states[i][2] / accel, -1.0, 1.0)
    for i in range(1, n + 1):
        add(states[i][1] / speed, -1.0, 1.0, fast=1.0 / speed)
    for i in range(1, n):
        middle = states[i][1] + states[i][2] * lengths[i] / 2
        add(middle / speed, -1.0, 1.0, fast=1.0 / speed)
    if length >= 0:
        low, high = RAIL_INSET_M, length - RAIL_INSET_M
        for i in range(1, n + 1):
            add(states[i][0], low, high, placed=1.0)
        for i in range(1, n):
            x, v, a = states[i]
            h = lengths[i]
            add(x + v * h / 3, low, high, placed=1.0)
            add(x + 2 * v * h / 3 + a * h**2 / 6, low, high, placed=1.0)
        knots = np.linspace(0.0, speed, STOP_CHORDS + 1)
        reach = [stop_distance(v, accel, jerk) for v in knots]
        for k in range(STOP_CHORDS):
            slope = (reach[k + 1] - reach[k]) / (knots[k + 1] - knots[k])
            offset = reach[k] - slope * knots[k]
            row = states[n][0] + slope * states[n][1]
            add(row, low + offset, high - offset, placed=1.0)
    low_high, moved = np.array(bounds), np.array(moves)
    return np.array(rows), *low_high.T, *moved.T


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
    horizon_s: float = HORIZON_S,
) -> Planner:
    """Build the planner of one channel; the same numbers give the same one.

    Args:
        max_speed: limit in channel units (rad, m or dioptres) a second, > 0.
        max_accel: limit, units/s^2, > 0.
        max_jerk: limit, units/s^3, > 0.
        stiffness: rate of the response in rad/s, about 3 (heavy) to 10 (sharp).
        speed_weight: weight of the speed error, s^2, >= 0.
        length: rail length in metres; negative off rails.
        horizon_s: how far it plans, at least 4 A/J [s].
    """
    planner = _build(
        max_speed,
        max_accel,
        max_jerk,
        stiffness,
        speed_weight,
        horizon_s,
        on_rail=length >= 0,
    )
    return planner if length < 0 else planner._replace(length=float(length))


def planner_of(member: Member, *, length_m: float = -1.0) -> Planner:
    """Return the planner of a member's channel, on a rail of `length_m`."""
    return build_planner(
        max_speed=member.max_speed,
        max_accel=member.max_accel,
        max_jerk=member.max_jerk,
        stiffness=member.stiffness_rad_s,
        speed_weight=member.speed_weight_s2,
        length=length_m,
    )


def whip_planner_of(member: Member) -> Planner:
    """Return the planner of a whip: wider limits, harder, and a short horizon."""
    return build_planner(
        max_speed=member.max_speed * WHIP,
        max_accel=member.max_accel * WHIP,
        max_jerk=member.max_jerk * WHIP,
        stiffness=member.stiffness_rad_s * WHIP_STIFFNESS,
        speed_weight=member.speed_weight_s2,
        horizon_s=WHIP_HORIZON_S,
    )


@lru_cache(maxsize=256)
def _build(
    max_speed: float,
    max_accel: float,
    max_jerk: float,
    stiffness: float,
    speed_weight: float,
    horizon_s: float,
    *,
    on_rail: bool,
) -> Planner:
    """Build a planner; on rails, one of no length."""
    length = 0.0 if on_rail else -1.0
    speed = max_speed * (1 - SPEED_INSET)
    jerk = max_jerk
    accel = min(max_accel * (1 - ACCEL_INSET), float(np.sqrt(speed * jerk)))
    lengths = block_lengths(speed, accel, jerk, horizon_s)
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
    free = np.linalg.svd(lengths[None, :])[2][1:].T  # orthonormal, no time in all
    lower = np.linalg.cholesky(free.T @ hessian @ free)
    white = np.linalg.solve(lower, free.T).T
    rows, low, high, speed_rows, place_rows = _bound_rows(
        _affine_states(lengths, jerk),
        lengths,
        speed=speed,
        accel=accel,
        jerk=jerk,
        length=length,
    )
    white_rows = rows[:, 2:] @ white
    size = np.linalg.norm(white_rows, axis=1)
    white_rows /= size[:, None]
    table = np.vstack(
        [
            white_rows.T,
            FEASIBLE / size,
            low / size,
            high / size,
            place_rows / size,
            speed_rows / size,
            (np.pad(rows[:, :2], ((0, 0), (0, N_NODES))) + rows[:, 2:] @ gain).T / size,
        ]
    )
    poly = np.linalg.inv(np.vander(nodes / horizon, increasing=True))
    return Planner(
        speed=speed,
        accel=accel,
        jerk=jerk,
        length=length,
        horizon=horizon,
        lengths=lengths,
        nodes=nodes,
        poly=np.ascontiguousarray(poly),
        gain=np.ascontiguousarray(gain),
        white=np.ascontiguousarray(white),
        rows=np.ascontiguousarray(white_rows),
        table=np.ascontiguousarray(table),
    )
