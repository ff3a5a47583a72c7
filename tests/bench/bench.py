"""Times the solver's inner loops and a whole shot; prints a table, writes JSON.

    python tests/bench/bench.py [FILE.json]

Every figure is the median of repeated runs on one core, warm; machines differ, so read
ratios taken in one run and not milliseconds across machines.
"""

import json
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from math import radians
from pathlib import Path

import daqp
import numba
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from carrellata.jobs.local import solve_job
from carrellata.solver.plan import row_bounds, solve_plan
from carrellata.solver.planner import N_NODES, build_planner, plan_cost

REPEATS = 15
STATES = 10_000
SHOTS = 100
FRAMES = 120


def median_s(run: Callable[[], object], repeats: int = REPEATS) -> float:
    """Return the median wall time of `run` [s] after one unmeasured call."""
    run()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


@numba.njit
def solve_all(planner, states, targets, u):
    """Solve every plan in one compiled loop."""
    for i in range(states.shape[0]):
        solve_plan(planner, 0.0, states[i, 0], states[i, 1], targets[i], u)


def plans() -> dict[str, float]:
    """Time one pan plan: in a compiled loop, and a general active-set solver's."""
    limits = {"max_speed": radians(90), "max_accel": radians(180)}
    weights = {"stiffness": 9.0, "speed_weight": 0.003}
    planner = build_planner(**limits, max_jerk=radians(1500), **weights)
    random = np.random.default_rng(1)
    a = random.uniform(-1, 1, STATES) * planner.accel
    spare = a * np.abs(a) / (2 * planner.jerk)
    low = -planner.speed - np.minimum(spare, 0)
    high = planner.speed - np.maximum(spare, 0)
    v = random.uniform(low, high) * (1 - 1e-6)
    targets = random.normal(size=(STATES, 1)) + random.normal(
        size=(STATES, 1)
    ) * planner.nodes.reshape(1, N_NODES)
    states = np.column_stack([v, a])
    u = np.zeros(len(planner.lengths))
    ours = median_s(lambda: solve_all(planner, states, targets, u)) / STATES
    cost = plan_cost(planner.lengths, planner.nodes, jerk=planner.jerk, **weights)
    e_u, e_s = cost.states[:, 2:], cost.states[:, :2]
    hessian = e_u.T @ e_u
    matrix = np.vstack([planner.rows[:, 2:], planner.lengths])
    sense = np.zeros(len(matrix), dtype=np.int32)
    sense[-1] = 5
    problems = []
    for state, target in zip(states[:500], targets[:500], strict=True):
        down, up = np.empty(len(planner.lower)), np.empty(len(planner.lower))
        row_bounds(planner, 0.0, state[0], state[1], down, up)
        offset = planner.rows[:, :2] @ state
        end = -state[1] / planner.jerk
        linear = e_u.T @ (e_s @ state - cost.targets @ target)
        problems.append((linear, np.r_[up - offset, end], np.r_[down - offset, end]))

    def peer() -> None:
        for linear, up, down in problems:
            daqp.solve(hessian, linear, matrix, up, down, sense)

    other = median_s(peer, 5) / len(problems)
    return {"plan_us": ours * 1e6, "plan_daqp_call_us": other * 1e6}


def subject_table() -> pa.Table:
    """Return a sprint from rest with a turn, one row a frame."""
    t = np.arange(FRAMES + 16) / 24
    along = 7 * (t + 0.9 * np.exp(-t / 0.9) - 0.9)
    return pa.table(
        {
            "frame": pa.array(np.arange(993, 993 + len(t)), pa.int32()),
            "x": along,
            "y": np.zeros(len(t)),
            "z": np.sin(along / 4),
        }
    )


def write_job(folder: Path) -> Path:
    """Write a job of `SHOTS` shots on a track, each with its own subject file."""
    table = subject_table()
    shots = []
    for k in range(SHOTS):
        pq.write_table(table, folder / f"{k:04d}.parquet")
        subject = {
            "name": "runner",
            "file": f"{k:04d}.parquet",
            "at": "floor",
            "height_m": 1.75,
        }
        rig = {"kind": "track", "from": [0, 1.5, 9], "to": [20, 1.5, 9]}
        shots.append(
            {
                "name": f"{k:04d}",
                "frames": [1001, 1000 + FRAMES],
                "handles": 8,
                "subjects": [subject],
                "rig": {**rig, "hold": "abreast"},
                "lens_mm": 50,
                "shake": "shoulder",
            }
        )
    job = {
        "schema": "carrellata.job/1",
        "sequence": "bench",
        "rate": str(Fraction(24)),
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": {
            "film_back": "super35-4perf",
            "aspect": 2.39,
            "lens_kit_mm": [50],
        },
        "defaults": {"framing": {"size": "full"}},
        "shots": shots,
    }
    path = folder / "job.json"
    path.write_text(json.dumps(job))
    return path


def shots() -> dict[str, float]:
    """Time whole shots, from job file to takes, and the same files without a solve."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = write_job(folder)
        count = iter(range(1000))

        def solve() -> None:
            solve_job(job, folder / f"out{next(count)}", workers=1)

        wall = median_s(solve, 5)
        takes = sorted((folder / "out0" / "bench" / "takes").glob("*.parquet"))
        read = [pq.read_table(take) for take in takes]

        def files_only() -> None:
            for k, table in enumerate(read):
                pq.read_table(folder / f"{k:04d}.parquet")
                pq.write_table(table, folder / "copy.parquet", compression="zstd")

        floor = median_s(files_only, 5)
    return {
        "shot_ms": wall / SHOTS * 1e3,
        "shot_files_only_ms": floor / SHOTS * 1e3,
        "shot_over_files": wall / floor,
    }


def take() -> dict[str, float]:
    """Time one take of 120 frames with its measures, no files."""
    from carrellata.jobs.load import load_job
    from carrellata.jobs.shots import prepare
    from carrellata.solver.measure import measure
    from carrellata.solver.take import operate

    with tempfile.TemporaryDirectory() as name:
        path = write_job(Path(name))
        job = load_job(path)
        shot = prepare(job, job.shots[0], path.parent).shot
    return {
        "operate_ms": median_s(lambda: operate(shot), 50) * 1e3,
        "operate_and_measure_ms": median_s(lambda: measure(operate(shot)), 50) * 1e3,
    }


def main() -> None:
    """Print the table, and write it where the first argument says."""
    figures = {**plans(), **take(), **shots()}
    for name, value in figures.items():
        print(f"{name:28s}{value:12.3f}")
    if len(sys.argv) > 1:
        machine = {"machine": platform.machine(), "python": platform.python_version()}
        Path(sys.argv[1]).write_text(json.dumps({**machine, **figures}, indent=1))


if __name__ == "__main__":
    main()
