"""Machines, start states and targets for tests of plans, and what to do with them."""

import daqp
import numpy as np
from plan_reference import plan_problem

from carrellata.solver.crew.active_set import WORK_ROWS
from carrellata.solver.crew.plan import (
    JERKS,
    LENGTHS,
    PLAN_WIDTH,
    evaluate_log,
    solve_plan,
    write_plan,
)
from carrellata.solver.crew.planner import MOST_ROWS, N_BLOCKS, build_planner

RAIL_M = 6.0
# Speed, acceleration and jerk limits, stiffness, speed weight, rail length.
LIMITS = {
    "brisk_pan": (np.pi / 2, np.pi, 26.2, 7.5, 0.003, -1.0),
    "heavy_tilt": (0.785, 1.22, 6.98, 5.0, 0.003, -1.0),
    "whip": (3.93, 7.85, 65.4, 7.5, 0.003, -1.0),
    "speed_barely_reached": (3.0, 0.8, 4.0, 6.0, 0.003, -1.0),
    "accel_never_reached": (0.3, 2.0, 3.0, 9.0, 0.003, -1.0),
    "dolly": (1.5, 0.6, 2.0, 3.5, 0.07, RAIL_M),
    "light_dolly": (2.5, 1.5, 6.0, 4.0, 0.07, RAIL_M),
}
DOLLIES = [name for name in LIMITS if "dolly" in name]


def planner_of(name, unit=1.0):
    speed, accel, jerk, stiffness, speed_weight, length = LIMITS[name]
    return build_planner(
        max_speed=speed * unit,
        max_accel=accel * unit,
        max_jerk=jerk * unit,
        stiffness=stiffness,
        speed_weight=speed_weight,
        length=length,
    )


def problem_of(name, planner):
    *_, stiffness, speed_weight, _ = LIMITS[name]
    return plan_problem(planner, stiffness=stiffness, speed_weight=speed_weight)


def viable_speeds(planner, accels, share):
    """Speeds at `share` (-1 .. 1) of what can still be kept from each acceleration."""
    forced = accels * np.abs(accels) / (2 * planner.jerk)
    top = planner.speed - np.maximum(forced, 0.0)
    bottom = -planner.speed - np.minimum(forced, 0.0)
    # A millionth inside: on the limit itself rounding decides what is feasible.
    return bottom + (top - bottom) * (1 + share * (1 - 2e-6)) / 2


def random_states(planner, rng, count, top=1.0):
    """States (k, 3) and targets (k, nodes) that ask for more than the limits allow."""
    accels = planner.accel * np.clip(rng.uniform(-1.1, 1.1, count), -top, top)
    speeds = viable_speeds(planner, accels, rng.uniform(-top, top, count))
    places = np.zeros(count)
    if planner.length > 0:
        places = planner.length * rng.uniform(0.05, 0.95, count)
    starts = np.column_stack([places, speeds, accels])
    reach = planner.speed * planner.horizon * rng.choice([0.1, 0.4, 1.5], (count, 1))
    shape = rng.normal(size=(count, 4))
    s = planner.nodes / planner.horizon * 2 - 1
    curve = np.polynomial.legendre.legval(s, shape.T)
    return starts, places[:, None] + reach * curve


def solved(planner, start, targets):
    u = np.zeros(N_BLOCKS)
    work = np.empty((WORK_ROWS, MOST_ROWS))
    return solve_plan(planner, *start, targets, u, work), u


def written(planner, start, u, t0=0.0):
    row = np.zeros(PLAN_WIDTH)
    write_plan(planner, t0, *start, u, row)
    return row


def pieces(row):
    return row[JERKS:LENGTHS], row[LENGTHS:]


def evaluated(row, times):
    out = np.empty((len(times), 3))
    evaluate_log(row[None], 1, times, out)
    return out


def solve_by_daqp(problem, hessian, linear, low, high, a0):
    total = -a0 / problem.jerk
    rows = np.vstack([problem.row_jerks, problem.lengths])
    sense = np.zeros(len(rows), dtype=np.int32)
    sense[-1] = 5  # equality
    u, _, flag, _ = daqp.solve(
        hessian,
        linear,
        rows,
        np.append(high, total),
        np.append(low, total),
        sense,
        primal_tol=1e-11,
        dual_tol=1e-12,
    )
    return flag, u
