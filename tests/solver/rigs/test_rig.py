"""Rigs: places, and rail positions by nearness, distance, bearing, by brute force."""

from dataclasses import replace

import numpy as np
import pytest
from sine_rail import sine_rail

from carrellata.solver.errors import SolverError
from carrellata.solver.rigs.arc import arc
from carrellata.solver.rigs.rig import abreast_s, bearing_s, distance_s
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.rigs.track import TrackLayout, track
from carrellata.solver.stage.stage import Stage

GRID = 20001
TRACKS = {
    "level": track(np.array([1.0, 1.5, -2.0]), np.array([6.0, 1.5, 3.0])),
    "ramp": track(np.array([0.0, 0.5, 4.0]), np.array([-3.0, 2.0, -2.0])),
}
CENTRE = np.array([2.0, 1.6, -1.0])
ARCS = {
    "quarter": arc(CENTRE, radius=4.0, start=0.4, sweep=1.6),
    "clockwise": arc(CENTRE, radius=2.5, start=2.8, sweep=-2.0),
    "horseshoe": arc(CENTRE, radius=3.0, start=-1.0, sweep=5.2),
    "full_turn": arc(CENTRE, radius=3.0, start=1.0, sweep=2 * np.pi),
    "spiral_of_one_and_a_half": arc(CENTRE, radius=2.0, start=0.2, sweep=-3 * np.pi),
}
RAILS = TRACKS | ARCS
ALL = RAILS | {
    "sine": sine_rail(np.array([-3.0, 1.5, 2.0]), np.array([4.0, 1.5, -1.0]), 0.4)
}


def grid(rig):
    s = np.linspace(0.0, rig.length_m, GRID)
    return s, rig.places(s)


def points(rng, count=150):
    return rng.uniform([-6, 0.2, -7], [9, 2.5, 6], (count, 3))


def ray(bearing):
    return np.array([-np.sin(bearing), 0.0, -np.cos(bearing)])


def test_sticks_stand_where_they_are_put():
    rig = sticks(np.array([1.0, 1.2, -3.0]))
    assert rig.kind == "sticks"
    assert rig.length_m == 0.0
    assert rig.places(np.zeros(3)) == pytest.approx(np.tile([1.0, 1.2, -3.0], (3, 1)))
    assert abreast_s(rig.shape, 5.0, 0.0, 5.0, 1.0) == 0.0
    assert distance_s(rig.shape, 5.0, 0.0, 5.0, 2.0, 0.0) == 0.0
    assert bearing_s(rig.shape, 5.0, 5.0, 0.3, 0.0) == 0.0


def test_track_places_divide_the_line_evenly():
    start, end = np.array([1.0, 1.5, -2.0]), np.array([4.0, 2.5, 2.0])
    rig = track(start, end)
    share = np.linspace(0.0, 1.0, 11)
    assert rig.kind == "track"
    assert rig.length_m == pytest.approx(np.sqrt(26.0), rel=1e-15)
    expected = start + share[:, None] * (end - start)
    assert rig.places(share * rig.length_m) == pytest.approx(expected, abs=1e-9)


def test_arc_angle_zero_is_on_the_far_side_and_positive_is_counter_clockwise():
    rig = arc(np.zeros(3), radius=2.0, start=0.0, sweep=np.pi)
    quarter = np.pi
    expected = [[0, 0, -2], [-2, 0, 0], [0, 0, 2]]
    assert rig.places(np.array([0.0, quarter, 2 * quarter])) == pytest.approx(
        np.array(expected), abs=1e-9
    )
    back = arc(np.zeros(3), radius=2.0, start=0.0, sweep=-np.pi / 2)
    assert back.places(np.array([quarter]))[0] == pytest.approx([2, 0, 0], abs=1e-9)


@pytest.mark.parametrize("name", ARCS)
def test_arc_keeps_its_circle_and_its_length(name):
    rig = ARCS[name]
    s, places = grid(rig)
    assert np.linalg.norm(places - CENTRE, axis=1) == pytest.approx(
        rig.shape.radius, abs=1e-9
    )
    assert np.ptp(places[:, 1]) == 0.0
    chords = np.linalg.norm(np.diff(places, axis=0), axis=1)
    # A chord is shorter than its arc by a share of (step / radius)^2 / 24.
    step = s[1] / rig.shape.radius
    assert chords.sum() == pytest.approx(rig.length_m, rel=step**2 / 20)


@pytest.mark.parametrize("name", ALL)
def test_nearest_place_is_the_nearest_of_the_grid(name):
    rig = ALL[name]
    _, places = grid(rig)
    for point in points(np.random.default_rng(1)):
        s = abreast_s(rig.shape, *point, 1.0)
        assert 0.0 <= s <= rig.length_m
        found = np.linalg.norm(rig.places(np.array([s]))[0] - point)
        best = np.linalg.norm(places - point, axis=1).min()
        assert best - 1e-6 < found <= best + 1e-9


@pytest.mark.parametrize("name", ALL)
def test_distance_gives_the_root_nearest_to_the_present_or_the_nearest_approach(name):
    rig = ALL[name]
    s_grid, places = grid(rig)
    rng = np.random.default_rng(2)
    roots_seen = without = 0
    for point in points(rng, 300):
        distance, present = rng.uniform(0.3, 9.0), rng.uniform(0, rig.length_m)
        s = distance_s(rig.shape, *point, distance, present)
        assert 0.0 <= s <= rig.length_m
        miss = np.linalg.norm(places - point, axis=1) - distance
        found = np.linalg.norm(rig.places(np.array([s]))[0] - point) - distance
        crossings = np.flatnonzero(np.diff(np.sign(miss)))
        if len(crossings):
            roots_seen += 1
            assert abs(found) < 1e-6
            gap = np.abs(s_grid[crossings] - present).min()
            assert abs(s - present) == pytest.approx(gap, abs=2 * s_grid[1])
        else:
            without += 1
            assert abs(found) <= np.abs(miss).min() + 1e-6
    assert roots_seen > 50
    assert without > 20


@pytest.mark.parametrize("name", ALL)
def test_bearing_gives_the_root_nearest_to_the_present(name):
    rig = ALL[name]
    s_grid, places = grid(rig)
    rng = np.random.default_rng(3)
    roots_seen = without = 0
    for point in points(rng, 300):
        bearing, present = rng.uniform(-np.pi, np.pi), rng.uniform(0, rig.length_m)
        s = bearing_s(rig.shape, point[0], point[2], bearing, present)
        assert 0.0 <= s <= rig.length_m
        away = (places - point) * [1, 0, 1]
        side = np.cross(away, ray(bearing))[:, 1]
        ahead = away @ ray(bearing) > 0
        crossings = np.flatnonzero((np.diff(np.sign(side)) != 0) & ahead[1:])
        if len(crossings):
            roots_seen += 1
            to_rail = (rig.places(np.array([s]))[0] - point) * [1, 0, 1]
            assert np.abs(np.cross(to_rail, ray(bearing))[1]) < 1e-6
            assert to_rail @ ray(bearing) > 0
            gap = np.abs(s_grid[crossings] - present).min()
            assert abs(s - present) == pytest.approx(gap, abs=2 * s_grid[1])
        else:
            without += 1
            assert min(abs(s - present), s, rig.length_m - s) < 1e-12
    assert roots_seen > 15
    assert without > 30


def test_a_subject_behind_whom_the_track_lies_leaves_the_dolly_where_it_is():
    rig = track(np.array([-5.0, 1.0, 0.0]), np.array([5.0, 1.0, 0.0]))
    # From z = 3 the rail lies along -Z, bearing 0; at bearing pi it is behind.
    assert bearing_s(rig.shape, 1.0, 3.0, 0.0, 2.0) == pytest.approx(6.0)
    assert bearing_s(rig.shape, 1.0, 3.0, np.pi, 2.0) == 2.0
    assert bearing_s(rig.shape, 1.0, 3.0, np.pi / 2, 2.0) == 2.0  # along the rail


def test_distance_at_the_centre_of_an_arc_leaves_the_dolly_where_it_is():
    assert distance_s(ARCS["quarter"].shape, *CENTRE, 4.0, 1.7) == 1.7


@pytest.mark.parametrize("name", RAILS)
def test_rail_positions_do_not_depend_on_where_the_scene_is_turned_to(name):
    rig = ALL[name]
    turn, scale = 0.83, 2.5
    c, s = np.cos(turn), np.sin(turn)
    turned = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]) * scale
    if rig.kind == "track":
        ends = rig.places(np.array([0.0, rig.length_m])) @ turned.T
        other = track(ends[0], ends[1])
    else:
        shape = rig.shape
        other = arc(
            turned @ shape.origin,
            radius=scale * shape.radius,
            start=shape.start + turn,
            sweep=shape.turn * rig.length_m / shape.radius,
        )
    rng = np.random.default_rng(4)
    for point in points(rng, 100):
        moved = turned @ point
        present, distance = rng.uniform(0, rig.length_m), rng.uniform(0.5, 9.0)
        bearing = rng.uniform(-np.pi, np.pi)
        pairs = [
            (abreast_s(other.shape, *moved, 1.0), abreast_s(rig.shape, *point, 1.0)),
            (
                distance_s(other.shape, *moved, scale * distance, scale * present),
                distance_s(rig.shape, *point, distance, present),
            ),
            (
                bearing_s(
                    other.shape, moved[0], moved[2], bearing + turn, scale * present
                ),
                bearing_s(rig.shape, point[0], point[2], bearing, present),
            ),
        ]
        for found, expected in pairs:
            assert found == pytest.approx(scale * expected, abs=1e-6)


def test_a_track_without_length_is_refused():
    with pytest.raises(SolverError, match=r"track: must be longer than 0\.001 m"):
        track(np.ones(3), np.array([1.0, 1.0005, 1.0]))


@pytest.mark.parametrize(("radius", "sweep"), [(5e-4, 3.0), (2.0, 0.0), (-1.0, 1.0)])
def test_an_arc_without_length_is_refused(radius, sweep):
    with pytest.raises(SolverError, match=r"arc: must be longer than 0\.001 m"):
        arc(np.zeros(3), radius=radius, start=0.0, sweep=sweep)


def test_a_rail_has_the_run_up_that_its_dolly_needs_to_be_in_step_at_the_cut():
    layout = TrackLayout(
        distance_m=6.0,
        height_m=1.5,
        x=0.0,
        z=0.0,
        reach_m=2.0,
        ends_m_s=(1.2, 0.6),
        follow=0.5,
    )
    # Half of 1.2 m/s is reached within v^2 / 2a, and half a second is for the eye.
    run = 0.6**2 / (2 * 0.8) + 0.5 * 0.6
    assert layout.half_length(0.8) == pytest.approx(0.5 * 2.0 + run)
    rig = layout.built(Stage(), 0.8)
    assert rig.length_m == pytest.approx(2 * (1.0 + run), abs=2e-3)
    assert replace(layout, reach_m=0.4).half_length(0.8) is None


def test_a_curved_section_of_eight_feet_and_45_degrees_has_its_radius():
    # Trade: 8 sections of 8 ft make a circle, so R = 8 ft / (pi / 4) = 3.10 m.
    section = 8 * 0.3048
    rig = arc([0.0, 1.5, 0.0], radius=3.10, start=0.0, sweep=np.pi / 4)
    assert rig.length_m == pytest.approx(section, abs=0.01)
    # A dolly at the speed limit, 1.5 m/s, leans on it with v^2 / R = 0.73 m/s^2.
    speed, step = 1.5, 1e-3
    place = [rig.places(np.array([1.0 + k * speed * step]))[0] for k in (-1, 0, 1)]
    bent = np.linalg.norm(place[0] - 2 * place[1] + place[2]) / step**2
    assert bent == pytest.approx(0.73, abs=0.01)
