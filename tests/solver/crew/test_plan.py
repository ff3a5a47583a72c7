"""Plans: the optimum of the documented problem, and its exact evaluation."""

import cvxpy
import numpy as np
import pytest
from plan_reference import states_at, stop_by_quadrature
from plan_states import (
    DOLLIES,
    LIMITS,
    RAIL_M,
    evaluated,
    pieces,
    planner_of,
    problem_of,
    random_states,
    solve_by_daqp,
    solved,
    written,
)
from scipy.integrate import quad
from scipy.optimize import nnls

from carrellata.solver.crew import planner as planners
from carrellata.solver.crew.plan import evaluate_log, evaluate_plan
from carrellata.solver.crew.planner import N_BLOCKS, WHIP, stop_distance
from carrellata.solver.presets import GRIP, PRESETS


@pytest.mark.parametrize("name", LIMITS)
def test_plan_is_the_optimum_of_the_documented_problem(name):
    planner = planner_of(name)
    problem = problem_of(name, planner)
    count = 5000
    starts, targets = random_states(planner, np.random.default_rng(11), count)
    lows, highs = problem.bounds(starts)
    hessian = problem.cost_jerks.T @ problem.cost_jerks
    white = problem.whitening()
    white_rows = problem.row_jerks @ white
    rows = problem.row_jerks
    active_plans = infeasible = 0
    worst_jerk = worst_primal = worst_stationary = 0.0
    for k in range(count):
        steps, u = solved(planner, starts[k], targets[k])
        linear = -problem.cost_jerks.T @ problem.right(starts[k], targets[k])
        low, high = lows[k], highs[k]
        flag, expected = solve_by_daqp(
            problem, hessian, linear, low, high, starts[k, 2]
        )
        assert (steps >= 0) == (flag > 0)
        if steps < 0:
            infeasible += 1
            continue
        active_plans += steps > 0
        worst_jerk = max(worst_jerk, np.abs(u - expected).max())
        value = rows @ u
        balance = problem.lengths @ u + starts[k, 2] / problem.jerk
        worst_primal = max(
            worst_primal, (value - high).max(), (low - value).max(), abs(balance)
        )
        # Multipliers of the rows that bind, >= 0, that best balance the gradient.
        normals = np.vstack(
            [white_rows[value > high - 1e-9], -white_rows[value < low + 1e-9]]
        )
        gradient = white.T @ (hessian @ u + linear)
        left = np.linalg.norm(gradient)
        if len(normals):
            left = nnls(normals.T, -gradient)[1]
        scale = np.linalg.norm(white.T @ linear)
        worst_stationary = max(worst_stationary, left / scale)
    assert active_plans > 0.4 * count
    assert infeasible == 0 if planner.length < 0 else infeasible < 0.25 * count
    assert worst_jerk < 1e-8
    assert worst_primal < 1e-8
    assert worst_stationary < 1e-8


@pytest.mark.parametrize("name", LIMITS)
@pytest.mark.parametrize("count", [60, pytest.param(5000, marks=pytest.mark.long)])
def test_plan_costs_what_an_interior_point_optimum_costs(name, count):
    planner = planner_of(name)
    problem = problem_of(name, planner)
    starts, targets = random_states(
        planner, np.random.default_rng(12), count, top=0.999
    )
    lows, highs = problem.bounds(starts)
    white, n = problem.whitening(), N_BLOCKS
    # In unit-cost coordinates round any jerks that end at rest acceleration: the
    # interior point's tolerances then mean the same in every direction. Starts are a
    # thousandth inside the limits, as it needs room round the optimum.
    y, best = cvxpy.Variable(n - 1), cvxpy.Parameter(n - 1)
    low, high = (cvxpy.Parameter(len(problem.low)) for _ in range(2))
    value = problem.row_jerks @ white @ y
    reference = cvxpy.Problem(
        cvxpy.Minimize(cvxpy.sum_squares(y - best)), [value <= high, value >= low]
    )
    active = refused = 0
    for k in range(count):
        steps, u = solved(planner, starts[k], targets[k])
        if steps < 0:
            continue  # the test above holds these against another solver
        active += steps > 0
        base = problem.lengths * (-starts[k, 2] / problem.jerk)
        base /= problem.lengths @ problem.lengths
        right = problem.right(starts[k], targets[k]) - problem.cost_jerks @ base
        near = (problem.cost_jerks @ white).T @ right
        size = np.linalg.norm(near)
        best.value = near / size
        low.value = (lows[k] - problem.row_jerks @ base) / size
        high.value = (highs[k] - problem.row_jerks @ base) / size
        try:
            reference.solve(
                solver="CLARABEL", tol_gap_abs=1e-9, tol_gap_rel=1e-9, tol_feas=1e-9
            )
        except cvxpy.error.SolverError:
            refused += 1
            continue
        expected = base + white @ y.value * size
        mine = problem.objective(starts[k], targets[k], u)
        other = problem.objective(starts[k], targets[k], expected)
        # The interior point stops short by its own tolerance; never ours.
        assert mine <= other * (1 + 1e-6)
        assert other <= mine * (1 + 1e-6) + 1e-8 * size**2
        away = np.linalg.norm(problem.cost_jerks @ (u - expected))
        assert away < 1e-4 * size
    assert active > 0.35 * count
    assert refused <= count / 50  # the interior point's, with too little room


@pytest.mark.parametrize("name", DOLLIES)
def test_dolly_plan_fails_only_where_another_solver_fails_too(name):
    planner = planner_of(name)
    problem = problem_of(name, planner)
    rng = np.random.default_rng(32)
    starts, targets = random_states(planner, rng, 1500)
    # Running at an end with about the distance that a stop needs.
    speeds = rng.uniform(0.2, 1.0, 1500) * planner.speed
    for k, speed in enumerate(speeds):
        needs = stop_distance(speed, planner.accel, planner.jerk)
        gap = needs * rng.uniform(0.8, 1.2)
        starts[k] = RAIL_M - gap, speed, 0.0
    lows, highs = problem.bounds(starts)
    hessian = problem.cost_jerks.T @ problem.cost_jerks
    failed = 0
    for k, start in enumerate(starts):
        steps, _ = solved(planner, start, targets[k])
        linear = -problem.cost_jerks.T @ problem.right(start, targets[k])
        flag, _ = solve_by_daqp(problem, hessian, linear, lows[k], highs[k], start[2])
        assert (steps >= 0) == (flag > 0)
        failed += steps < 0
    assert 300 < failed < 1200


@pytest.mark.parametrize("name", LIMITS)
def test_blocks_start_with_two_ramps_and_cover_the_horizon(name):
    planner, (speed, accel, jerk, *_) = planner_of(name), LIMITS[name]
    ramp = min(accel, np.sqrt(speed * jerk)) / jerk
    assert planner.lengths[:2] == pytest.approx([ramp, ramp], rel=3e-6)
    assert planner.lengths.sum() == pytest.approx(max(2.0, 4 * ramp), rel=3e-6)
    assert planner.nodes[[0, -1]] == pytest.approx([0.0, planner.horizon])
    assert 0 < speed - planner.speed < 3e-6 * speed


@pytest.mark.parametrize("speed", [0.01, 0.17, 0.18, 0.19, 0.9, 1.5])
def test_stop_distance_is_the_integral_of_the_speed(speed):
    accel, jerk = 0.6, 2.0
    top = min(accel, np.sqrt(speed * jerk))
    ramp, total = top / jerk, speed / top + top / jerk

    def speed_at(t):
        if t < ramp:
            return speed - jerk * t**2 / 2
        if t > total - ramp:
            return jerk * (total - t) ** 2 / 2
        return speed - jerk * ramp**2 / 2 - top * (t - ramp)

    expected, _ = quad(speed_at, 0, total, points=[ramp, total - ramp], epsabs=1e-13)
    assert stop_distance(speed, accel, jerk) == pytest.approx(expected, rel=1e-11)
    assert stop_by_quadrature(speed, accel, jerk) == pytest.approx(expected, rel=1e-11)


def test_written_plan_is_the_integral_of_its_jerks():
    planner = planner_of("dolly")
    rng = np.random.default_rng(41)
    u = rng.uniform(-1, 1, N_BLOCKS)
    u -= planner.lengths * ((planner.lengths @ u) / (planner.lengths @ planner.lengths))
    row = written(planner, (3.0, 0.4, 0.0), u, t0=7.0)
    jerks, lengths = pieces(row)
    times = np.linspace(0.0, lengths.sum(), 200)
    expected = states_at(lengths, jerks, (3.0, 0.4, 0.0), times)
    assert evaluated(row, 7.0 + times) == pytest.approx(expected, abs=1e-12)
    assert jerks[:N_BLOCKS] == pytest.approx(planner.jerk * u)
    assert lengths[N_BLOCKS:].sum() > 0


def test_log_reads_each_time_from_the_plan_in_force():
    planner = planner_of("brisk_pan")
    first = written(planner, (1.0, 0.2, 0.0), np.full(N_BLOCKS, 0.1), t0=0.0)
    second = written(planner, (-2.0, 0.0, 0.0), np.full(N_BLOCKS, -0.2), t0=0.5)
    times = np.array([0.0, 0.3, 0.5, 0.9])
    out = np.empty((4, 3))
    evaluate_log(np.array([first, second]), 2, times, out)
    assert out[1] == pytest.approx(evaluate_plan(first[None], 0, 0.3))
    assert out[2, 0] == -2.0
    assert out[3] == pytest.approx(evaluate_plan(second[None], 0, 0.9))


@pytest.mark.parametrize("name", ["brisk_pan", "accel_never_reached"])
def test_mirrored_and_rescaled_states_give_the_same_plan(name):
    planner = planner_of(name)
    larger = planner_of(name, unit=57.3)
    starts, targets = random_states(planner, np.random.default_rng(51), 300)
    for start, target in zip(starts, targets, strict=True):
        _, u = solved(planner, start, target)
        _, mirrored = solved(planner, -start, -target)
        _, rescaled = solved(larger, 57.3 * start, 57.3 * target)
        assert mirrored == pytest.approx(-u, abs=1e-9)
        assert rescaled == pytest.approx(u, abs=1e-8)


def test_a_plan_comes_to_a_target_that_stands_still():
    planner = planner_of("brisk_pan")
    state = (0.0, 0.0, 0.0)
    for _ in range(8):
        _, u = solved(planner, state, np.full(len(planner.nodes), 0.5))
        state = evaluate_plan(written(planner, state, u)[None], 0, 0.5)
    assert state[0] == pytest.approx(0.5, abs=1e-3)
    assert state[1] == pytest.approx(0.0, abs=1e-2)


@pytest.mark.parametrize("preset", PRESETS)
def test_every_preset_has_planners_with_its_own_limits(preset):
    crew = PRESETS[preset]
    for member in (crew.operator, crew.grip, crew.puller):
        for planner, wider in (
            (planners.planner_of(member), 1.0),
            (planners.whip_planner_of(member), WHIP),
        ):
            speed, jerk = wider * member.max_speed, wider * member.max_jerk
            assert planner.speed == pytest.approx(speed, rel=1e-5)
            assert planner.jerk == pytest.approx(jerk)
            assert planner.accel <= wider * member.max_accel
    assert planners.planner_of(GRIP, length_m=4.0).length == 4.0
