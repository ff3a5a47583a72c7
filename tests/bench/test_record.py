"""What the bench says of its figures, and a small run of its fastest section."""

import json

import numpy as np
import pytest
from plan_states import planner_of

from bench import record
from bench.clock import exponent, paired, ratio
from bench.figures import QUICK, Figure
from bench.plans import problems_of, row_lengths, solve_prepared, states_of
from bench.sequences import RATE, feature
from carrellata.jobs.job.load import load_job
from carrellata.solver.crew.active_set import WORK_ROWS
from carrellata.solver.crew.plan import solve_plan
from carrellata.solver.crew.planner import MOST_ROWS


def a_ratio(value: float, better: str = "lower") -> Figure:
    return Figure(name="one", value=value, unit="x", better=better)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "better", "worse"),
    [
        (1.3, "lower", True),
        (1.1, "lower", False),
        (0.5, "lower", False),
        (0.7, "higher", True),
        (0.9, "higher", False),
        (3.0, "higher", False),
    ],
)
def test_a_ratio_over_a_fifth_worse_than_last_is_marked(
    value: float, better: str, worse: bool
) -> None:
    found = record.rows([a_ratio(value, better)], {"one": 1.0})["one"]
    assert found["regression"] is worse
    assert ("WORSE" in record.table({"one": found})) is worse


def test_times_are_not_compared_between_runs() -> None:
    figure = Figure(name="one", value=9.0, unit="ms")
    assert "regression" not in record.rows([figure], {"one": 1.0})["one"]


def test_a_target_is_reached_from_its_own_side() -> None:
    low = Figure(name="one", value=0.9, unit="s", target=1.0)
    high = Figure(name="one", value=0.9, unit="x", better="higher", target=1.0)
    assert low.reached
    assert not high.reached


def test_runs_are_taken_in_turns() -> None:
    order: list[str] = []
    runs = {name: lambda name=name: order.append(name) for name in "ab"}
    times = paired(runs, 2)
    assert order == list("ababab")
    assert len(times["a"]) == 2
    assert ratio({"a": [2.0, 9.0, 4.0], "b": [1.0, 3.0, 4.0]}, "a", "b") == 2.0


def test_exponent_of_a_power() -> None:
    assert exponent([10.0, 100.0, 1000.0], [3.0, 12.0, 48.0]) == pytest.approx(
        np.log10(4)
    )


def test_record_keeps_the_other_size(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(record, "PATH", tmp_path / "record.json")
    for size in ("full", "quick", "full"):
        record.save(size, {"cores": 2}, {"one": {"value": 1.0}})
    assert sorted(json.loads((tmp_path / "record.json").read_text())) == [
        "full",
        "quick",
    ]


def test_prepared_problems_are_those_that_plans_solve() -> None:
    planner = planner_of("brisk_pan")
    starts, targets = states_of(planner, 300)
    problems = problems_of(planner, starts, targets)
    y = np.zeros((300, planner.white.shape[1]))
    size = row_lengths(planner)
    low, high = problems.low / size, problems.high / size
    solve_prepared(planner.rows, planner.table, low, high, y)
    u = np.empty((300, planner.white.shape[0]))
    work = np.empty((WORK_ROWS, MOST_ROWS))
    for (x, v, a), target, row in zip(starts, targets, u, strict=True):
        assert solve_plan(planner, x, v, a, target, row, work) >= 0
    assert np.abs(problems.matrix - planner.rows * size[:, None]).max() < 1e-12
    free = np.column_stack([starts[:, 1:], targets - starts[:, :1]]) @ planner.gain.T
    assert np.abs(free + y @ planner.white.T - u).max() < 1e-9
    binds = (problems.low > 1e-9) | (problems.high < -1e-9)
    assert 0.4 < binds.any(axis=1).mean() < 0.95


def test_a_feature_has_the_frames_asked_for_and_is_sound(tmp_path) -> None:
    job = load_job(feature(tmp_path, 30, 30 * 86))
    assert len(job.shots) == 30
    assert sum(spec.n_frames for spec in job.shots) == 30 * 86
    assert all(spec.is_open for spec in job.shots)
    assert float(job.rate) == RATE
    assert QUICK.name == "quick"
