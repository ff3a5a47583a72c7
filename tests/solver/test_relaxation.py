import numpy as np
import pytest

from carrellata.solver.setups.feasible import feasible_line, feasible_sticks
from carrellata.solver.setups.fit_line import fit_line
from carrellata.solver.setups.laying import Bounds, Wish
from carrellata.solver.setups.relaxation import (
    smallest_relaxation,
    tightest_limit,
    ways_out,
    why_no_setup,
)
from carrellata.solver.setups.stage import Stage

N = 40
TIMES = np.linspace(0, 5, N)


def a_wish(subject, distance, **rest):
    return Wish(
        times_s=TIMES,
        subject=subject,
        distance_m=np.full(N, distance),
        azimuth=np.zeros(N),
        **rest,
    )


def rectangle(west, north, east, south):
    corners = [(west, north), (east, north), (east, south), (west, south)]
    return np.array(corners, dtype=np.float64)


def alone(laid, beginning):
    """The way out by one kind of limit."""
    ways = [way for way in ways_out(laid) if way[0].limit.startswith(beginning)]
    assert len(ways) == 1
    return ways[0]


def test_a_floor_too_shallow_by_a_metre_must_give_a_metre() -> None:
    # 5 m away, a quarter less at most, and the floor ends 3 m in front of the subject.
    wish = a_wish(np.zeros((N, 2)), 5.0, view_band=1e-3)
    floor = rectangle(-2, -3, 2, 3)
    bounds = Bounds(stage=Stage(floor=floor), margin_m=0.0)
    laid = feasible_sticks(wish, bounds, np.array((0.0, -2.0)))
    assert not laid.feasible
    assert tightest_limit(laid) == "floor edge 1"
    (only,) = alone(laid, "floor")
    assert only.limit == "floor edge 1"
    assert only.amount == pytest.approx(1.0, abs=2e-3)
    assert str(only) == "floor edge 1: 1 m more"
    (size,) = alone(laid, "size")
    assert size.amount == pytest.approx(5.0 / 3.0, rel=2e-3)
    assert str(size) == "size: 67 % off the asked distance"


def test_what_must_give_does_give() -> None:
    wish = a_wish(np.zeros((N, 2)), 5.0, view_band=1e-3)
    floor = rectangle(-2, -3, 2, 3)
    laid = feasible_sticks(
        wish, Bounds(stage=Stage(floor=floor)), np.array((0.0, -2.0))
    )
    for way in ways_out(laid):
        if way[0].limit == "floor edge 1":
            wider = floor - np.array([(0, way[0].amount + 1e-3)] * 2 + [(0, 0)] * 2)
            bounds = Bounds(stage=Stage(floor=wider))
            assert feasible_sticks(wish, bounds, np.array((0.0, -2.0))).feasible
            narrow = floor - np.array([(0, way[0].amount - 0.05)] * 2 + [(0, 0)] * 2)
            bounds = Bounds(stage=Stage(floor=narrow))
            assert not feasible_sticks(wish, bounds, np.array((0.0, -2.0))).feasible
            return
    pytest.fail("no way out by the floor")


@pytest.mark.slow
def test_a_keep_out_across_the_only_lane_is_named_with_its_depth() -> None:
    subject = np.column_stack((2.0 * (TIMES - 2.5), np.zeros(N)))
    wish = a_wish(subject, 6.0)
    stage = Stage(
        floor=rectangle(-9, -6.2, 9, -5.95),
        keep_outs=np.array([[(-0.5, 0, -7), (0.5, 2, -5.9)]]),
        names=("kiosk",),
        sight_forbidden=np.array([False]),
    )
    bounds = Bounds(stage=stage, dolly_speed=2.0, dolly_accel=1.0, clearance_m=0.05)
    out = wish.subject + np.array((0.0, -6.0))
    laid = feasible_line(wish, bounds, fit_line(out, TIMES))
    assert not laid.feasible
    named = {way.limit for way in smallest_relaxation(laid)}
    assert named <= {"keep_out kiosk", "floor edge 3"}
    # The lane's south side is at -5.95; the kiosk needs -5.9 and 5 cm; margin 2 mm.
    assert alone(laid, "keep_out")[0].amount == pytest.approx(0.102, abs=2e-3)
    assert alone(laid, "floor")[0].amount == pytest.approx(0.102, abs=2e-3)
    assert alone(laid, "floor")[0].limit == "floor edge 3"


def test_a_sprint_past_sticks_asks_for_a_faster_pan() -> None:
    subject = np.column_stack((5.0 * (TIMES - 2.5), np.zeros(N)))
    wish = a_wish(subject, 6.0, size_band=np.inf)
    floor = rectangle(-0.05, -2.1, 0.05, -2.0)
    most = np.radians(90)
    bounds = Bounds(stage=Stage(floor=floor), pan_speed=most, margin_m=0.0)
    laid = feasible_sticks(wish, bounds, np.array((0.0, -2.05)))
    assert not laid.feasible
    # From the far side, 2.1 m away, over the two nodes on either side of the lens.
    half = 0.5 * 5.0 * wish.step_s
    fastest = 2 * np.arctan2(half, 2.1) / wish.step_s
    (pan,) = alone(laid, "pan")
    assert pan.limit == "pan_speed"
    assert pan.amount == pytest.approx(np.degrees(fastest - most), abs=0.3)
    (more,) = alone(laid, "floor")
    least = half / np.tan(most * wish.step_s / 2)
    assert more.amount == pytest.approx(least - 2.1, abs=5e-3)


def test_who_comes_too_near_asks_for_a_smaller_least_distance() -> None:
    subject = np.column_stack((np.zeros(N), np.linspace(-3, 0, N)))
    wish = a_wish(subject, 4.0, size_band=np.inf)
    floor = rectangle(-0.05, -4.0, 0.05, -3.9)
    stage = Stage(floor=floor, min_distance_m=1.5)
    laid = feasible_sticks(
        wish, Bounds(stage=stage, margin_m=0.0), np.array((0.0, -3.95))
    )
    assert tightest_limit(laid) in ("floor edge 1", "min_distance")
    (nearer,) = alone(laid, "min_distance")
    # From the far corners it is hypot(1, 0.05) away.
    assert nearer.amount == pytest.approx(1.5 - np.hypot(1.0, 0.05), abs=2e-3)


def test_a_feasible_laying_has_nothing_to_give() -> None:
    wish = a_wish(np.zeros((N, 2)), 5.0)
    laid = feasible_sticks(wish, Bounds(stage=Stage()), np.array((0.0, -4.0)))
    assert laid.feasible
    assert smallest_relaxation(laid) == ()
    assert ways_out(laid) == ()
    assert tightest_limit(laid) is None


KIT = np.array((35.0, 50.0, 100.0))


@pytest.mark.parametrize(
    ("floor", "distances", "sentence"),
    [
        (
            rectangle(-2, -3, 2, 3),
            (6.5, 9.3, 18.6),
            "closest lens 35 mm: needs 5.2 m, floor gives 3.6 m",
        ),
        (
            rectangle(20, -1, 30, 1),
            (2.0, 3.0, 6.0),
            "longest lens 100 mm: can be no further than 7.5 m, floor gives 20.0 m",
        ),
        (
            None,
            (0.2, 0.3, 0.8),
            "longest lens 100 mm: can be no further than 1.0 m, "
            "min_distance gives 1.5 m",
        ),
        (rectangle(-2, -3, 2, 3), (3.0, 4.3, 8.6), None),
        (None, (6.5, 9.3, 18.6), None),
    ],
)
def test_the_kit_against_the_floor_is_a_sentence(floor, distances, sentence) -> None:
    found = why_no_setup(Stage(floor=floor), np.zeros((1, 2)), KIT, np.array(distances))
    assert (None if found is None else str(found)) == sentence


def test_a_shortfall_means_that_no_place_of_a_fine_grid_would_do() -> None:
    rng = np.random.default_rng(12)
    n_short = 0
    for _ in range(200):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 6))
        floor = rng.uniform(2, 6) * np.column_stack((np.cos(angle), np.sin(angle)))
        stage = Stage(floor=floor, min_distance_m=0.5)
        subject = rng.uniform(-4, 4, (5, 2)) + rng.uniform(-6, 6, 2)
        distances = rng.uniform(0.5, 12) * np.array((1.0, 1.4, 2.8))
        found = why_no_setup(stage, subject, KIT, distances)
        share = rng.dirichlet(np.ones(6), 3000)
        places = share @ floor
        gap = np.hypot(*(places[:, None] - subject).transpose(2, 0, 1))
        fits = (gap >= distances.min() / 1.25) & (gap <= distances.max() * 1.25)
        if found is not None:
            n_short += 1
            # At one instant at least, no place has a lens for it.
            assert not fits.any(axis=0).all()
            assert found.missing_m > 0
    assert n_short > 20
