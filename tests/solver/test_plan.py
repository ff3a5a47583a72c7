"""Plans: the right optimum, within limits at every instant, from every viable state."""

import cvxpy
import daqp
import numpy as np
import pytest
from plan_reference import plan_problem, states_at, stop_by_quadrature
from scipy.integrate import quad
from scipy.optimize import nnls

from carrellata.solver.crew import GRIP, PRESETS
from carrellata.solver.plan import (
    N_PIECES,
    PLAN_WIDTH,
    evaluate_log,
    evaluate_plan,
    solve_plan,
    stays_on_rail,
    write_plan,
)
from carrellata.solver.planner import N_BLOCKS, build_planner, stop_distance

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
PANS = [name for name in LIMITS if "dolly" not in name]
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
    return solve_plan(planner, *start, targets, u), u


def written(planner, start, u, t0=0.0):
    row = np.zeros(PLAN_WIDTH)
    write_plan(planner, t0, *start, u, row)
    return row


def pieces(row):
    return row[4 : 4 + N_PIECES], row[4 + N_PIECES :]


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
    active = 0
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
        reference.solve(
            solver="CLARABEL", tol_gap_abs=1e-9, tol_gap_rel=1e-9, tol_feas=1e-9
        )
        expected = base + white @ y.value * size
        mine = problem.objective(starts[k], targets[k], u)
        other = problem.objective(starts[k], targets[k], expected)
        # The interior point stops short by its own tolerance; never ours.
        assert mine <= other * (1 + 1e-6)
        assert other <= mine * (1 + 1e-6) + 1e-8 * size**2
        away = np.linalg.norm(problem.cost_jerks @ (u - expected))
        assert away < 1e-4 * size
    assert active > 0.35 * count


def random_limits(rng):
    """Limits whose ratios range over slow, fast, smooth and rough machines."""
    ramp_s = rng.uniform(0.03, 0.45)
    room = np.exp(rng.uniform(np.log(0.2), np.log(30.0)))  # V J / A^2
    accel = rng.uniform(0.2, 8.0)
    return {
        "max_accel": accel,
        "max_jerk": accel / ramp_s,
        "max_speed": room * accel * ramp_s,
    }


def boundary_states(planner, rng, count):
    """States of which half lie on the edge of what can be kept, some in corners."""
    share = rng.uniform(-1, 1, count)
    edge = rng.random(count) < 0.5
    share[edge] = np.sign(share[edge])
    accels = planner.accel * rng.uniform(-1, 1, count)
    accels[: count // 4] = np.sign(accels[: count // 4]) * planner.accel
    return np.column_stack(
        [np.zeros(count), viable_speeds(planner, accels, share), accels]
    )


@pytest.mark.parametrize(
    ("machines", "each"), [(50, 40), pytest.param(200, 80, marks=pytest.mark.long)]
)
def test_a_pan_plan_exists_and_keeps_its_limits_from_every_viable_state(machines, each):
    rng = np.random.default_rng(21)
    for _ in range(machines):
        limits = random_limits(rng)
        planner = build_planner(
            stiffness=rng.uniform(3, 10), speed_weight=0.003, **limits
        )
        for start in boundary_states(planner, rng, each):
            reach = 3 * planner.speed * planner.horizon
            targets = rng.normal(size=len(planner.nodes)) * reach
            steps, u = solved(planner, start, targets)
            assert steps >= 0
            row = written(planner, start, u)
            times = np.linspace(0.0, planner.horizon, 20 * 24)
            _, v, a = evaluated(row, times).T
            assert np.abs(v).max() <= limits["max_speed"]
            assert np.abs(a).max() <= limits["max_accel"]
            assert np.abs(u).max() <= 1 + 1e-8  # rounding, for targets far out of reach
            # Where it may be left for the next plan is viable again.
            kept = np.abs(v + a * np.abs(a) / (2 * planner.jerk))
            assert kept.max() <= limits["max_speed"]


@pytest.mark.parametrize("every_s", [1 / 24, 0.25])
def test_speed_does_not_creep_when_plans_follow_one_another_on_the_limit(every_s):
    planner = planner_of("heavy_tilt")
    state = (0.0, 0.0, 0.0)
    top = 0.0
    for k in range(400):
        way = 1 if k % 100 < 80 else -1
        targets = state[0] + way * (5.0 + 3.0 * planner.nodes)
        steps, u = solved(planner, state, targets)
        assert steps >= 0
        row = written(planner, state, u)
        top = max(top, np.abs(evaluated(row, np.linspace(0, every_s, 21))[:, 1]).max())
        state = evaluate_plan(row, every_s)
    assert top <= LIMITS["heavy_tilt"][0]
    assert top > 0.99999 * LIMITS["heavy_tilt"][0]


def turning_places(row):
    """Every place of a written plan where the speed is zero or a piece ends."""
    jerks, lengths = pieces(row)
    found = [row[1]]
    x, v, a = row[1:4]
    for j, h in zip(jerks, lengths, strict=True):
        for root in np.roots([j / 2, a, v]):
            if abs(root.imag) < 1e-12 and 0 < root.real < h:
                t = root.real
                found.append(x + v * t + a * t**2 / 2 + j * t**3 / 6)
        x, v, a = (
            x + v * h + a * h**2 / 2 + j * h**3 / 6,
            v + a * h + j * h**2 / 2,
            a + j * h,
        )
        found.append(x)
    return np.array(found)


@pytest.mark.parametrize("name", DOLLIES)
def test_dolly_plan_and_its_stop_never_leave_the_rail(name):
    planner, (speed, accel, jerk, *_) = planner_of(name), LIMITS[name]
    rng = np.random.default_rng(31)
    starts, targets = random_states(planner, rng, 3000)
    starts[:1000, 0] = rng.choice([1e-3, RAIL_M - 1e-3], 1000)
    plans = refused = near_the_end = 0
    for start, target in zip(starts, targets, strict=True):
        steps, u = solved(planner, start, target)
        if steps < 0:
            continue
        row = written(planner, start, u)
        places = turning_places(row)
        if not stays_on_rail(planner, row):
            # Only block one may leave: every later place is held by rows.
            refused += 1
            assert places.min() < 0 or places.max() > RAIL_M
            continue
        plans += 1
        assert places.min() >= 0.0
        assert places.max() <= RAIL_M
        near_the_end += places.min() < 1e-6 or places.max() > RAIL_M - 1e-6
        total = pieces(row)[1].sum()
        _, v, a = evaluated(row, np.linspace(0.0, total, 20 * 24)).T
        assert np.abs(v).max() <= speed
        assert np.abs(a).max() <= accel
        assert np.abs(pieces(row)[0]).max() <= jerk * (1 + 1e-10)
        x, v, a = evaluate_plan(row, total + 3.0)
        assert abs(v) < 1e-12
        assert a == 0.0
        assert 0.0 <= x <= RAIL_M
    assert plans > 1500
    assert near_the_end > 5
    assert refused < 0.05 * plans


def test_a_plan_that_leaves_the_rail_in_block_one_is_told_apart():
    planner = planner_of("dolly")
    # Moving out at 0.02 m/s, turned back at full jerk within block one (0.3 s).
    u = np.array([-1.0, 1.0, 0, 0, 0, 0, 0])
    for gap, on_rail in ((1e-4, False), (5e-3, True)):
        row = written(planner, (RAIL_M - gap, 0.02, 0.0), u)
        assert bool(stays_on_rail(planner, row)) is on_rail
        mirrored = written(planner, (gap, -0.02, 0.0), -u)
        assert bool(stays_on_rail(planner, mirrored)) is on_rail


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
    assert planner.lengths.sum() == pytest.approx(max(1.55, 4 * ramp), rel=3e-6)
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
    assert out[1] == pytest.approx(evaluate_plan(first, 0.3))
    assert out[2, 0] == -2.0
    assert out[3] == pytest.approx(evaluate_plan(second, 0.9))


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
        state = evaluate_plan(written(planner, state, u), 0.5)
    assert state[0] == pytest.approx(0.5, abs=1e-3)
    assert state[1] == pytest.approx(0.0, abs=1e-2)


@pytest.mark.parametrize("preset", PRESETS)
def test_every_preset_has_planners_with_its_own_limits(preset):
    crew = PRESETS[preset]
    for member in (crew.operator, crew.grip, crew.puller):
        planner = member.planner(faster=2.0)
        assert planner.speed == pytest.approx(2 * member.max_speed, rel=1e-5)
        assert planner.jerk == pytest.approx(2 * member.max_jerk)
        assert planner.accel <= 2 * member.max_accel
    assert GRIP.planner(length_m=4.0).length == 4.0
