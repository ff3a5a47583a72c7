"""Plans exist from every viable state and hold their limits at every instant."""

import numpy as np
import pytest
from plan_states import (
    DOLLIES,
    LIMITS,
    RAIL_M,
    evaluated,
    pieces,
    planner_of,
    random_states,
    solved,
    viable_speeds,
    written,
)

from carrellata.solver.crew.plan import evaluate_plan, stays_on_rail
from carrellata.solver.crew.planner import build_planner


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
        state = evaluate_plan(row[None], 0, every_s)
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
        x, v, a = evaluate_plan(row[None], 0, total + 3.0)
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
