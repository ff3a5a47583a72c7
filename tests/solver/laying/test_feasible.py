import cvxpy
import numpy as np
import pytest
from certificate import certified

from carrellata.solver.laying.convex_model import PROXIMITY
from carrellata.solver.laying.feasible import (
    feasible_arc,
    feasible_line,
    feasible_sticks,
)
from carrellata.solver.laying.fit_arc import arc_through
from carrellata.solver.laying.fit_line import fit_line
from carrellata.solver.laying.laying import Bounds, Wish, wish_at_nodes
from carrellata.solver.laying.sequential import KEPT
from carrellata.solver.laying.stock import room_along
from carrellata.solver.stage.stage import (
    Stage,
    floor_margin,
    rail_crosses,
    sight_hidden,
)

N = 40
TIMES = np.linspace(0, 5, N)
CREW = {
    "pan_speed": np.radians(90),
    "pan_accel": np.radians(180),
    "dolly_speed": 1.5,
    "dolly_accel": 0.6,
}
ROOM = np.array([(-9, -9), (9, -9), (9, 9), (-9, 9)], dtype=np.float64)


def a_wish(subject, distance=6.0, azimuth=0.0, **rest):
    full = {"distance_m": distance, "azimuth": azimuth}
    lists = {name: np.broadcast_to(value, N).copy() for name, value in full.items()}
    return Wish(times_s=TIMES, subject=subject, **lists, **rest)


def crossing(speed=2.0):
    """A subject that crosses the lens, weaving a little."""
    return np.column_stack((speed * (TIMES - 2.5), 0.3 * np.sin(TIMES)))


def a_line(wish):
    out = np.column_stack((-np.sin(wish.azimuth), -np.cos(wish.azimuth)))
    return fit_line(wish.subject + wish.distance_m[:, None] * out, TIMES)


def kiosk(low, high, *, floor=ROOM, sight=False, **rest):
    return Stage(
        floor=floor,
        keep_outs=np.array([(low, high)], dtype=np.float64),
        names=("kiosk",),
        sight_forbidden=np.array([sight]),
        **rest,
    )


def along_rail(laid, n=400):
    """Lens places densely along the whole rail, run-up and run-out too, (n, 3)."""
    places = laid.laying.at(np.linspace(*laid.laying.ends, n))[0]
    return np.insert(places, 1, laid.bounds.height_m, axis=1)


def assert_limits_hold(laid):
    """Every limit, written plainly, at every node and all along the rail."""
    wish, bounds, s = laid.wish, laid.bounds, laid.laying.s
    off = laid.places - wish.subject
    gap = np.hypot(off[:, 0], off[:, 1])
    assert gap.min() >= bounds.stage.min_distance_m - KEPT
    ratio = np.abs(np.log(gap / wish.distance_m))
    assert ratio.max() <= np.log(wish.size_band) + KEPT
    azimuth = np.unwrap(np.arctan2(-off[:, 0], -off[:, 1]))
    for values, most, more in (
        (azimuth, bounds.pan_speed, bounds.pan_accel),
        (s, bounds.dolly_speed, bounds.dolly_accel),
    ):
        if len(values):
            speed = np.diff(values) / wish.step_s
            assert np.abs(speed).max() <= most + KEPT
            assert np.abs(np.diff(speed) / wish.step_s).max() <= more + KEPT
    rail = along_rail(laid)
    assert floor_margin(bounds.stage, rail[:, ::2]).min() >= -KEPT
    assert not rail_crosses(bounds.stage, rail).any()
    if len(s):
        low, high = laid.laying.ends
        start, end = np.diff(s[:2])[0] / wish.step_s, np.diff(s[-2:])[0] / wish.step_s
        for speed, place, way in ((start, s[0], -1.0), (end, s[-1], 1.0)):
            run = abs(speed) * (abs(speed) / (2 * bounds.dolly_accel) + 0.5)
            reach = place + way * np.sign(speed) * run
            assert low - 1e-6 <= reach <= high + 1e-6


def assert_certified(laid):
    """Optimality of the last convex model from its duals alone."""
    answer, model = laid.answer, laid.answer.model
    x, e, duals = answer.x, answer.slacks, answer.duals
    residual = model.f_matrix @ x + model.f
    by_x = model.f_matrix.T @ residual + PROXIMITY * x + model.g_matrix.T @ duals
    assert np.abs(by_x).max() < 1e-6
    soft = model.limit_of >= 0
    picked = np.zeros((len(duals), len(e)))
    picked[np.flatnonzero(soft), model.limit_of[soft]] = 1.0
    left = model.h + picked @ e - model.g_matrix @ x
    assert left.min() > -1e-6
    assert duals.min() > -1e-8
    assert (model.prices - picked.T @ duals).min() > -1e-6
    # Weak duality: the Lagrangian at a stationary x is a lower bound.
    primal = 0.5 * residual @ residual + model.prices @ e
    dual = 0.5 * residual @ residual + duals @ (model.g_matrix @ x - model.h)
    assert abs(primal - dual) < 1e-6
    assert certified(answer)
    assert laid.settled


def by_second_solver(model):
    """Value of a model written without parameters, by an active-set method."""
    x = cvxpy.Variable(model.f_matrix.shape[1])
    e = cvxpy.Variable(len(model.prices), nonneg=True)
    soft = model.limit_of >= 0
    picked = np.zeros(
        (len(model.h), len(e.value if e.value is not None else model.prices))
    )
    picked[np.flatnonzero(soft), model.limit_of[soft]] = 1.0
    cost = cvxpy.sum_squares(model.f_matrix @ x + model.f)
    cost += PROXIMITY * cvxpy.sum_squares(x)
    problem = cvxpy.Problem(
        cvxpy.Minimize(0.5 * cost + model.prices @ e),
        [model.g_matrix @ x <= model.h + picked @ e],
    )
    return problem.solve(solver="DAQP")


def test_without_limits_the_track_goes_where_the_fit_is() -> None:
    wish = a_wish(np.column_stack((1.0 * TIMES - 2.5, np.zeros(N))))
    laid = feasible_line(wish, Bounds(stage=Stage()), a_line(wish))
    assert laid.feasible
    assert laid.objective == pytest.approx(0.0, abs=1e-6)
    assert max(laid.duals.values(), default=0.0) <= 1e-6
    assert laid.places == pytest.approx(wish.subject + np.array((0, -6.0)), abs=1e-2)


CASES = {
    "crew": (Stage(), 2.0),
    "wall behind": (Stage(floor=ROOM * np.array((1.0, 0.6))), 2.0),
    "kiosk on the line": (kiosk((-0.5, 0, -6.5), (0.5, 2, -5.5)), 2.0),
    "kiosk in the view": (kiosk((-1, 0, -4.5), (0, 2, -3.5), sight=True), 1.0),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_track_keeps_every_limit_and_is_certified(case) -> None:
    stage, speed = CASES[case]
    wish = a_wish(crossing(speed))
    laid = feasible_line(wish, Bounds(stage=stage, **CREW), a_line(wish))
    assert laid.feasible
    assert_limits_hold(laid)
    assert_certified(laid)
    value = by_second_solver(laid.answer.model)
    assert value == pytest.approx(laid.answer.primal, abs=1e-6)
    # The laying is at its model's optimum: next to nothing is left to win.
    assert laid.answer.model.merit - laid.answer.primal < 1.1e-5


def test_sight_past_a_forbidden_box_is_kept_at_every_node() -> None:
    stage, speed = CASES["kiosk in the view"]
    wish = a_wish(crossing(speed))
    free = feasible_line(wish, Bounds(stage=Stage(), **CREW), a_line(wish))
    laid = feasible_line(wish, Bounds(stage=stage, **CREW), a_line(wish))

    def hidden(found):
        lens = np.insert(found.places, 1, 1.5, axis=1)
        return sight_hidden(stage, lens, np.insert(wish.subject, 1, 1.5, axis=1))

    assert hidden(free).sum() > 3
    # A sight line may touch the box.
    shrunk = kiosk((-0.999, 0, -4.499), (-0.001, 2, -3.501), sight=True)
    lens = np.insert(laid.places, 1, 1.5, axis=1)
    aim = np.insert(wish.subject, 1, 1.5, axis=1)
    assert not sight_hidden(shrunk, lens, aim).any()
    assert laid.objective > free.objective


def test_a_binding_limit_has_a_dual_that_foretells_its_worth() -> None:
    # The gain from a decimetre more floor against the dual at the middle of it.
    wish = a_wish(crossing(1.0))
    objectives, duals = [], []
    for depth in (5.0, 5.05, 5.1):
        floor = np.array([(-9, -depth), (9, -depth), (9, 9), (-9, 9)])
        bounds = Bounds(stage=Stage(floor=floor), **CREW)
        laid = feasible_line(wish, bounds, a_line(wish))
        assert max(laid.duals, key=laid.duals.__getitem__) == "floor edge 1"
        objectives.append(laid.objective)
        duals.append(laid.duals["floor edge 1"])
    assert objectives[0] - objectives[2] == pytest.approx(0.1 * duals[1], rel=0.02)
    assert duals[1] > 1e-3


def test_sticks_stand_at_the_best_place_of_a_fine_grid() -> None:
    floor = np.array([(-3, -5), (2, -5), (3, 4), (-3, 4)], dtype=np.float64)
    stage = kiosk((-1, 0, -5), (0.5, 2, -4), floor=floor, min_distance_m=2.0)
    wish = a_wish(crossing(0.6), distance=5.5, weight_azimuth=0.5)
    laid = feasible_sticks(wish, Bounds(stage=stage, **CREW), np.array((0.0, -4.5)))
    assert laid.feasible
    assert_limits_hold(laid)
    assert_certified(laid)
    x, z = np.meshgrid(np.arange(-3, 3, 0.02), np.arange(-5, 4, 0.02))
    places = np.column_stack((x.ravel(), z.ravel()))
    lens = np.insert(places, 1, 1.5, axis=1)
    wide = kiosk((-1.05, 0, -5.05), (0.55, 2, -3.95))
    places = places[~sight_hidden(wide, lens, lens)]
    places = places[floor_margin(stage, places) >= 0.002]
    off = places[:, None] - wish.subject
    ratio = np.log(np.hypot(off[..., 0], off[..., 1]) / 5.5)
    turn = np.angle(np.exp(1j * np.arctan2(-off[..., 0], -off[..., 1])))
    cost = 0.5 * np.mean(ratio**2 + 0.5 * turn**2, axis=1)
    cost[np.abs(ratio).max(axis=1) > np.log(1.25)] = np.inf
    assert laid.objective <= cost.min() + 1e-6
    assert laid.objective > 0.9 * cost.min()


def circling(radius=5.0, sweep=1.4):
    angle = np.linspace(0, sweep, N)
    return angle, -radius * np.column_stack((np.sin(angle), np.cos(angle)))


@pytest.mark.slow
@pytest.mark.parametrize("radii", [(), (4.0, 7.5)])
def test_an_arc_keeps_every_limit_and_takes_a_radius_of_the_stock(radii) -> None:
    angle, subject = circling()
    wish = a_wish(subject, distance=3.0, azimuth=angle)
    floor = np.array([(-9, -7.6), (3, -7.6), (3, 6), (-9, 6)])
    stage = Stage(floor=floor, curve_radii_m=radii)
    arc = arc_through(8.0 / 5.0 * subject, TIMES)
    laid = feasible_arc(wish, Bounds(stage=stage, **CREW), arc)
    assert laid.feasible
    assert_limits_hold(laid)
    assert_certified(laid)
    assert laid.duals["dolly_speed"] > 1e-6
    assert not radii or laid.laying.radius in radii


def test_rail_is_made_of_whole_sections_that_fit() -> None:
    wish = a_wish(crossing(1.0))
    floor = np.array([(-5, -7), (6, -7), (6, 3), (-5, 3)], dtype=np.float64)
    bounds = Bounds(stage=Stage(floor=floor, straight_m=2.44), **CREW)
    laid = feasible_line(wish, bounds, a_line(wish))
    low, high = laid.laying.ends
    assert (high - low) / 2.44 == pytest.approx(round((high - low) / 2.44), abs=1e-6)
    assert high - low > laid.laying.s.max() - laid.laying.s.min()
    assert_limits_hold(laid)
    # Room for two sections and a half: two must do.
    narrow = np.array([(-3.1, -7), (3.1, -7), (3.1, 3), (-3.1, 3)], dtype=np.float64)
    bounds = Bounds(stage=Stage(floor=narrow, straight_m=2.44), **CREW)
    laid = feasible_line(wish, bounds, a_line(wish))
    low, high = laid.laying.ends
    assert high - low == pytest.approx(2 * 2.44, abs=1e-6)
    assert_limits_hold(laid)


def test_a_rail_with_no_room_for_a_section_lacks_the_rest_of_it() -> None:
    wish = a_wish(crossing(0.3), size_band=1.5)
    floor = np.array([(-1, -7), (1, -7), (1, 3), (-1, 3)], dtype=np.float64)
    stage = Stage(floor=floor, straight_m=2.44)
    laid = feasible_line(wish, Bounds(stage=stage, **CREW), a_line(wish))
    assert not laid.feasible
    # The floor is 2 m wide, less its margins; a track askew has more.
    room = (2.0 - 2 * 0.002) / abs(laid.laying.direction[0])
    assert laid.breaches["rail"] == pytest.approx(2.44 - room, abs=1e-6)
    assert 2.0 < room < 2.3
    assert max(v for k, v in laid.breaches.items() if k != "rail") <= KEPT


def test_room_along_a_rail_ends_at_the_wall_and_before_the_box() -> None:
    bounds = Bounds(stage=kiosk((4, 0, -1), (5, 2, 1)), margin_m=0.0, clearance_m=0.1)
    east, middle = np.array((1.0, 0.0)), np.zeros(2)
    assert room_along(bounds, middle, east, -1, 1) == pytest.approx((-9.0, 3.9))
    assert room_along(bounds, middle, east, 6, 7) == pytest.approx((5.1, 9.0))
    up = np.array((0.6, 0.8))
    assert room_along(bounds, middle, up, -1, 1) == pytest.approx((-11.25, 11.25))


def test_answers_do_not_depend_on_what_was_solved_before() -> None:
    wish, other = a_wish(crossing(1.5)), a_wish(crossing(0.7), distance=4.0)
    bounds = Bounds(stage=Stage(floor=ROOM), **CREW)
    once = feasible_line(wish, bounds, a_line(wish))
    feasible_line(other, bounds, a_line(other))
    again = feasible_line(wish, bounds, a_line(wish))
    assert np.array_equal(once.places, again.places)
    assert np.array_equal(once.answer.duals, again.answer.duals)


def test_a_laying_may_start_on_top_of_its_subject() -> None:
    wish = a_wish(np.zeros((N, 2)), distance=4.0)
    bounds = Bounds(stage=Stage(floor=ROOM))
    laid = feasible_sticks(wish, bounds, np.array((0.0, 0.0)))
    assert laid.feasible
    assert np.hypot(*laid.laying.place) == pytest.approx(4.0, abs=1e-3)


def test_a_wish_at_nodes_reads_between_its_own_times() -> None:
    times = np.linspace(0, 5, 121)
    wish = Wish(
        times_s=times,
        subject=np.column_stack((times, -times)),
        distance_m=4.0 + times,
        azimuth=np.angle(np.exp(1j * (3.0 + 0.1 * times))),
    )
    nodes = wish_at_nodes(wish, 11)
    assert nodes.step_s == pytest.approx(0.5)
    assert nodes.subject[3] == pytest.approx((1.5, -1.5))
    assert nodes.distance_m[3] == pytest.approx(5.5)
    # Bearings run on through half a turn.
    assert nodes.azimuth == pytest.approx(3.0 + 0.1 * nodes.times_s)


@pytest.mark.slow
def test_layings_for_wandering_subjects_settle_and_keep_their_limits() -> None:
    rng = np.random.default_rng(5)
    n_feasible = 0
    for case in range(25):
        turn = np.cumsum(rng.normal(0, 0.12, N)) + rng.uniform(0, 2 * np.pi)
        steps = (
            5 / N * rng.uniform(0.5, 3) * np.column_stack((np.cos(turn), np.sin(turn)))
        )
        subject = np.cumsum(steps, axis=0)
        wish = a_wish(
            subject - subject.mean(axis=0),
            distance=rng.uniform(3, 7),
            azimuth=rng.uniform(-3, 3),
        )
        x, z = rng.uniform(-6, 6, 2)
        stage = kiosk(
            (x - 0.6, 0, z - 0.6),
            (x + 0.6, 2, z + 0.6),
            sight=case % 2 == 1,
            floor=ROOM * rng.uniform(0.6, 1.1),
        )
        laid = feasible_line(wish, Bounds(stage=stage, **CREW), a_line(wish))
        assert_certified(laid)
        if laid.feasible:
            n_feasible += 1
            assert_limits_hold(laid)
        else:
            assert max(laid.breaches.values()) > KEPT
    assert n_feasible >= 20


def test_a_rail_gets_the_whole_sections_that_cover_it_and_not_the_nearest() -> None:
    wish = a_wish(crossing(1.0))
    free = feasible_line(wish, Bounds(stage=Stage(floor=ROOM), **CREW), a_line(wish))
    low, high = free.laying.ends
    for section in ((high - low) / 2.4, (high - low) / 2.6):
        stage = Stage(floor=ROOM, straight_m=section)
        laid = feasible_line(wish, Bounds(stage=stage, **CREW), a_line(wish))
        first, last = laid.laying.ends
        assert (last - first) / section == pytest.approx(3.0, abs=0.01)
