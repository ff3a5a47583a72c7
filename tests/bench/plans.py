"""One plan: the same states for us and for other solvers of quadratic programs.

The peers get the problem in the form that suits them best, whitened, with all bounds
computed before the clock starts; ours starts from the state and the target. Ours is
timed as the crew calls it, from compiled code, and called from Python. A peer's own
clock is set beside our active-set method alone, on the same prepared bounds.
"""

import statistics
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from plan_states import planner_of, viable_speeds

from carrellata.solver.crew.active_set import (
    HIGH,
    LOW,
    POINT,
    SIZE,
    WORK_ROWS,
    least_distance,
)
from carrellata.solver.crew.plan import fill_bounds, solve_plan
from carrellata.solver.crew.planner import (
    FEASIBLE,
    MOST_ROWS,
    N_BLOCKS,
    TOLERANCE,
    Planner,
)

from .clock import medians, paired, ratio
from .figures import Figure, Sizes
from .peers import CALLS, Problems, Solved

FloatArray = NDArray[np.float64]
EQUAL = 1e-6  # of the jerk limit
SLOW = ("cvxpy",)
# Compiled loops go over the states as often as makes them take about as long as a peer:
# what else the machine does then slows all alike.
AGAIN = {"ours": 10, "core": 10}


@numba.njit
def solve_all(planner, starts, targets, u):
    """Solve every plan in one compiled loop."""
    work = np.empty((WORK_ROWS, MOST_ROWS))
    for k in range(starts.shape[0]):
        x, v, a = starts[k]
        solve_plan(planner, x, v, a, targets[k], u[k], work)


@numba.njit
def solve_prepared(rows, columns, low, high, y):
    """Solve every problem whose bounds are known in one compiled loop."""
    work = np.empty((WORK_ROWS, MOST_ROWS))
    for k in range(low.shape[0]):
        for r in range(low.shape[1]):
            work[LOW, r] = low[k, r]
            work[HIGH, r] = high[k, r]
        least_distance(rows, columns, work)
        for i in range(SIZE):
            y[k, i] = work[POINT, i]


def states_of(planner: Planner, count: int) -> tuple[FloatArray, FloatArray]:
    """Return states (count, 3) and targets (count, nodes), from gentle to violent.

    Speeds and accelerations fill a share of what the limits allow, and targets ask
    for that share of far more; the share is log-uniform from a seventh to all.
    """
    random = np.random.default_rng(1)
    share = 0.15 ** random.uniform(0, 1, count)
    accels = planner.accel * random.uniform(-1, 1, count) * share
    speeds = viable_speeds(planner, accels, random.uniform(-1, 1, count) * share)
    near, rate = random.normal(size=(2, count, 1)) * share[:, None]
    starts = np.column_stack([np.zeros(count), speeds, accels])
    return starts, near + rate * planner.nodes


def one_by_one(
    planner: Planner, starts: FloatArray, targets: FloatArray, u: FloatArray
) -> None:
    """Solve every plan with a call from Python."""
    work = np.empty((WORK_ROWS, MOST_ROWS))
    for (x, v, a), target, row in zip(starts.tolist(), targets, u, strict=True):
        solve_plan(planner, x, v, a, target, row, work)


def problems_of(planner: Planner, starts: FloatArray, targets: FloatArray) -> Problems:
    """Return min |y|^2 / 2 over low <= G y <= high for every state.

    The jerks are those of the unconstrained optimum, plus `planner.white` times y.
    """
    count = len(planner.rows)
    work = np.empty((WORK_ROWS, MOST_ROWS))
    low, high = np.empty((2, len(starts), count))
    for k, (start, target) in enumerate(zip(starts, targets, strict=True)):
        fill_bounds(planner, *start, target, work)
        low[k], high[k] = work[LOW, :count], work[HIGH, :count]
    size = row_lengths(planner)
    return Problems(
        matrix=planner.rows * size[:, None], low=low * size, high=high * size
    )


def row_lengths(planner: Planner) -> FloatArray:
    """Return the lengths (n_rows,) of rows scaled to their bounds; ours are units."""
    lengths: FloatArray = FEASIBLE / planner.table[TOLERANCE]
    return lengths


def run(sizes: Sizes) -> list[Figure]:
    """Time one plan of a pan under tight limits, and check that all find the same."""
    planner = planner_of("brisk_pan")
    starts, targets = states_of(planner, sizes.states)
    problems = problems_of(planner, starts, targets)
    u = np.empty((sizes.states, N_BLOCKS))
    y = np.zeros((sizes.states, N_BLOCKS - 1))
    size = row_lengths(planner)
    found: dict[str, Solved] = {}
    own: dict[str, list[float]] = {name: [] for name in CALLS}

    def peer(name: str) -> None:
        count = sizes.slow_states if name in SLOW else sizes.states
        solved = CALLS[name](problems.first(count))
        found[name] = solved
        if solved.own_s is not None:
            own[name].append(solved.own_s / count)

    runs: dict[str, Callable[[], Any]] = {
        "ours": partial(solve_all, planner, starts, targets, u),
        "core": partial(
            solve_prepared,
            planner.rows,
            planner.table,
            problems.low / size,
            problems.high / size,
            y,
        ),
        "ours_call": partial(one_by_one, planner, starts, targets, u),
        **{name: partial(peer, name) for name in CALLS},
    }
    times = paired({name: partial(_again, name, run) for name, run in runs.items()}, 5)
    solved_in = {name: AGAIN.get(name, 1) * sizes.states for name in runs}
    solved_in |= dict.fromkeys(SLOW, sizes.slow_states)
    each = {name: [s / solved_in[name] for s in taken] for name, taken in times.items()}
    us = {name: s * 1e6 for name, s in medians(each).items()}
    bound = _bound(problems)
    figures = [
        Figure(
            name="plan_us",
            value=us["ours"],
            unit="us",
            note=f"{sizes.states} states, {bound:.0%} of them with a limit that binds",
        ),
        Figure(name="plan_call_us", value=us["ours_call"], unit="us"),
        Figure(
            name="plan_core_us",
            value=us["core"],
            unit="us",
            note="the active-set method alone, from prepared bounds",
        ),
    ]
    free = _free(planner, starts, targets)
    for name, solved in found.items():
        count = len(solved.y)
        off = np.abs(free[:count] + solved.y @ planner.white.T - u[:count]).max(axis=1)
        note = f"as called from Python, {count} states, {_agreement(off)}"
        figures.append(
            Figure(name=f"plan_{name}_call_us", value=us[name], unit="us", note=note)
        )
        if own[name]:
            figures.append(
                Figure(
                    name=f"plan_{name}_own_us",
                    value=statistics.median(own[name]) * 1e6,
                    unit="us",
                    note="by its own clock",
                )
            )
    return figures + _ratios(each, us, own)


def _again(name: str, run: Callable[[], Any]) -> None:
    for _ in range(AGAIN.get(name, 1)):
        run()


def _ratios(
    each: Mapping[str, list[float]],
    us: Mapping[str, float],
    own: Mapping[str, list[float]],
) -> list[Figure]:
    fast = [name for name in CALLS if name not in SLOW]
    best = min(fast, key=us.__getitem__)
    # The first round does not count, for the peers' clocks as for ours.
    clocks = {name: s[1:] for name, s in own.items() if s} | {"core": each["core"]}
    quickest = min(
        (name for name in clocks if name != "core"),
        key=lambda name: statistics.median(clocks[name]),
    )
    return [
        Figure(
            name="plan_best_peer_call_over_ours",
            value=ratio(each, best, "ours"),
            unit="x",
            better="higher",
            target=5.0,
            note=best,
        ),
        Figure(
            name="plan_best_peer_own_over_core",
            value=ratio(clocks, quickest, "core"),
            unit="x",
            better="higher",
            target=1.0,
            note=quickest,
        ),
        Figure(
            name="plan_cvxpy_over_ours",
            value=ratio(each, "cvxpy", "ours"),
            unit="x",
            better="higher",
            target=1000.0,
        ),
    ]


def _free(planner: Planner, starts: FloatArray, targets: FloatArray) -> FloatArray:
    return np.column_stack([starts[:, 1:], targets - starts[:, :1]]) @ planner.gain.T


def _bound(problems: Problems) -> float:
    """Return the share of the states at which the free optimum breaks a limit."""
    return float(((problems.low > 0) | (problems.high < 0)).any(axis=1).mean())


def _agreement(off: FloatArray) -> str:
    """Say how near a peer's jerks are to ours, (n,) in jerk limits."""
    far = int((off > EQUAL).sum())
    return f"largest difference {off.max():.1e}" + (f", {far} over 1e-6" if far else "")
