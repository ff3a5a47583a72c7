"""What a channel's plans have in common: cost, limits and rows, built once.

The problem is defined in `plan`; here its matrices are made. Null space, whitening and
rows depend on the limits and the weights only, not on the state.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..elementary.arrays import sines_cosines
from ..presets import Member
from .plan_cost import Cost, affine_states, tracking_cost, with_jerk_cost

N_BLOCKS = 7
N_NODES = 6
HORIZON_S = 2.0
GROWTH = 1.3  # of block lengths after the first two
STOP_CHORDS = 3
WHIP = 2.5  # a whip's limits over the operator's own
WHIP_STIFFNESS = 1.8
WHIP_HORIZON_S = 1.0
BRAKE_STIFFNESS = 2.0  # of a dolly that brakes hard, over the grip's own
SPEED_INSET = 2e-6  # relative; keeps rounding inside the limit
ACCEL_INSET = 1e-9
RAIL_INSET_M = 1e-8
FEASIBLE = 1e-11  # of a bound, metres on rails
# Rows of a planner's table below the n - 1 columns of `rows`: how far a row may break
# its bounds; the bounds, on a rail of no length; what rail and x0, and what the speed
# allowed add to them; from STATE on the map from (v0, a0, targets - x0) to the row's
# value without limits.
TOLERANCE = N_BLOCKS - 1
LOWER, UPPER, PLACE, SPEED, STATE = range(TOLERANCE + 1, TOLERANCE + 6)
MOST_ROWS = 7 * N_BLOCKS - 4 + STOP_CHORDS  # on rails


class Planner(NamedTuple):
    """Everything about a channel that does not change from plan to plan.

    `speed`, `accel`, `jerk` are the limits used inside (inset); `length` is the rail's
    length in metres or -1 off rails; `nodes` (N_NODES,) [s] are where targets are asked
    for; `poly` turns node values into polynomial coefficients in t/T; `gain` maps
    (v0, a0, targets - x0) to the unconstrained u; `white` maps y to u. The limits are
    rows of unit length over y: `rows` (n_rows, n - 1), and by column in `table`
    (STATE + 2 + N_NODES, n_rows), whose rows TOLERANCE to STATE are named above.
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
        speed_weight=member.speed_weight_s2 / WHIP_STIFFNESS**2,
        horizon_s=WHIP_HORIZON_S,
    )


def brake_planner_of(member: Member, *, length_m: float) -> Planner:
    """Return the planner of a grip who brakes hard: stiffer, with the own limits."""
    own = planner_of(member, length_m=length_m)
    return build_planner(
        max_speed=member.max_speed,
        max_accel=member.max_accel,
        max_jerk=member.max_jerk,
        stiffness=member.stiffness_rad_s * BRAKE_STIFFNESS,
        speed_weight=member.speed_weight_s2,
        length=length_m,
        horizon_s=own.horizon,
    )


class _Limited(NamedTuple):
    """What a planner is made of that does not depend on its stiffness.

    Attributes:
        speed, accel, jerk: limits a little inside those asked for.
        lengths, nodes: times of its blocks and of its targets [s].
        tracking: cost of missing the targets.
        bound_rows: limits as linear rows of the jerks, from `_bound_rows`.
        free: orthonormal basis of the jerks that leave no acceleration.
        poly: inverse of the powers of the nodes over the horizon.
    """

    speed: float
    accel: float
    jerk: float
    lengths: FloatArray
    nodes: FloatArray
    tracking: Cost
    bound_rows: tuple[FloatArray, ...]
    free: FloatArray
    poly: FloatArray


@lru_cache(maxsize=256)
def _limited(
    max_speed: float,
    max_accel: float,
    max_jerk: float,
    speed_weight: float,
    horizon_s: float,
    *,
    on_rail: bool,
) -> _Limited:
    """Build the part of a planner that planners of any stiffness share."""
    speed = max_speed * (1 - SPEED_INSET)
    jerk = max_jerk
    accel = min(max_accel * (1 - ACCEL_INSET), float(np.sqrt(speed * jerk)))
    lengths = block_lengths(speed, accel, jerk, horizon_s)
    horizon = float(lengths.sum())
    _, cosines = sines_cosines(np.pi * np.arange(N_NODES) / (N_NODES - 1))
    nodes = horizon * (1 - cosines) / 2
    powers = np.vander(nodes / horizon, increasing=True)
    return _Limited(
        speed=speed,
        accel=accel,
        jerk=jerk,
        lengths=lengths,
        nodes=nodes,
        tracking=tracking_cost(lengths, nodes, jerk=jerk, speed_weight=speed_weight),
        bound_rows=_bound_rows(
            affine_states(lengths, jerk),
            lengths,
            speed=speed,
            accel=accel,
            jerk=jerk,
            length=0.0 if on_rail else -1.0,
        ),
        free=np.linalg.svd(lengths[None, :])[2][1:].T,
        poly=np.asarray(np.linalg.inv(powers), dtype=np.float64),
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
    limits = (max_speed, max_accel, max_jerk)
    shared = _limited(*limits, speed_weight, horizon_s, on_rail=on_rail)
    lengths, jerk, free = shared.lengths, shared.jerk, shared.free
    cost = with_jerk_cost(shared.tracking, lengths, jerk=jerk, stiffness=stiffness)
    n = len(lengths)
    e_u, e_s = cost.states[:, 2:], cost.states[:, :2]
    hessian = e_u.T @ e_u
    kkt = np.block([[hessian, lengths[:, None]], [lengths[None, :], np.zeros((1, 1))]])
    right = np.zeros((n + 1, 2 + N_NODES))
    right[:n, :2] = -e_u.T @ e_s
    right[:n, 2:] = e_u.T @ cost.targets
    right[n, 1] = -1.0 / jerk  # sum u h = -a0 / J
    gain = np.linalg.solve(kkt, right)[:n]
    lower = np.linalg.cholesky(free.T @ hessian @ free)
    white = np.linalg.solve(lower, free.T).T
    rows, low, high, speed_rows, place_rows = shared.bound_rows
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
    return Planner(
        speed=shared.speed,
        accel=shared.accel,
        jerk=jerk,
        length=0.0 if on_rail else -1.0,
        horizon=float(lengths.sum()),
        lengths=lengths,
        nodes=shared.nodes,
        poly=np.ascontiguousarray(shared.poly),
        gain=np.ascontiguousarray(gain),
        white=np.ascontiguousarray(white),
        rows=np.ascontiguousarray(white_rows),
        table=np.ascontiguousarray(table),
    )
