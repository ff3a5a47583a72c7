"""What of a set stands where a rig would, with known answers."""

from collections.abc import Callable

import numpy as np
import pytest
from set_scenes import box, floor_at, set_of, turned, wall_with_door

from carrellata.solver.rigs.faults import rail_faults, taken_out_for
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.rigs.track import Track, track
from carrellata.solver.sight.footprint import (
    BEYOND_M,
    DOLLY_M,
    KERB_M,
    STICKS_M,
    footprint_of,
)
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.stage.stage import Stage


def _along_z(x: float = 0.0, height: float = 1.5) -> np.ndarray:
    """Return a straight rail through z = 0."""
    z = np.linspace(-2.0, 2.0, 25)
    return np.column_stack([np.full(25, x), np.full(25, height), z])


def _track(start: tuple[float, ...], end: tuple[float, ...]) -> Track:
    return track(np.array(start), np.array(end))


def _depth(mesh: SetMesh, places: np.ndarray) -> list[float]:
    return footprint_of(mesh, places, 0.0).depth.tolist()


def test_a_doorway_narrower_than_the_dolly_stops_it() -> None:
    wide, narrow = 2 * DOLLY_M + 0.02, 2 * DOLLY_M - 0.02
    assert _depth(set_of(wall_with_door(wide)), _along_z()) == [0.0]
    depth = _depth(set_of(wall_with_door(narrow)), _along_z())
    assert depth == pytest.approx([0.01])


def test_sticks_keep_their_distance_from_a_wall() -> None:
    mesh = set_of({"wall": box((-5.0, 0.0, 0.0), (5.0, 3.0, 0.1))})
    for away, deep in ((0.5, 0.0), (0.3, STICKS_M - 0.3), (0.0, STICKS_M)):
        place = np.array([[0.0, 1.5, -away]])
        assert _depth(mesh, place) == pytest.approx([deep])


def test_the_dolly_reaches_beyond_the_ends_of_its_rail() -> None:
    for gap, stands in ((BEYOND_M + 0.01, False), (BEYOND_M - 0.01, True)):
        mesh = set_of({"wall": box((-5.0, 0, 2.0 + gap), (5.0, 3.0, 2.2 + gap))})
        assert (_depth(mesh, _along_z())[0] > 0.0) == stands


def test_a_camera_inside_a_pillar_is_found_wherever_its_faces_are() -> None:
    mesh = set_of({"block": box((-3.0, 0.0, -3.0), (3.0, 4.0, 3.0))})
    assert _depth(mesh, np.array([[0.0, 1.5, 0.0]])) == pytest.approx([STICKS_M])
    # Somebody walks in it: it is a room.
    room = mesh.hollowed(np.array([[0.5, 1.6, 0.5], [1.0, 1.6, 0.5]]))
    assert _depth(room, np.array([[0.0, 1.5, 0.0]])) == [0.0]


def test_what_is_under_a_kerb_or_over_the_camera_is_no_obstacle() -> None:
    low = box((-1.0, 0.0, -0.1), (1.0, KERB_M - 0.01, 0.1))
    lamp = box((-1.0, 1.9, -0.1), (1.0, 2.0, 0.1))
    crate = box((-1.0, 0.0, -0.1), (1.0, KERB_M + 0.05, 0.1))
    mesh = set_of({"kerb": low, "lamp": lamp, "crate": crate})
    assert _depth(mesh, np.array([[0.0, 1.5, 0.6]])) == [0.0, 0.0, 0.0]
    assert np.sign(_depth(mesh, np.array([[0.0, 1.5, 0.3]]))).tolist() == [0, 0, 1]


def test_a_rail_over_a_stair_is_off_its_floor_and_one_up_a_ramp_is_not() -> None:
    steps = np.concatenate(
        [box((-3.0, -1.0, 0.5 * k), (3.0, 0.17 * k, 0.5 * k + 0.5)) for k in range(4)]
    )
    stair = set_of({"stair": steps})
    assert footprint_of(stair, _along_z(), 0.0).step == pytest.approx(0.51)
    ramp = np.array([(-3.0, 0, -3), (3, 0, -3), (3, 0.6, 3), (-3, 0.6, 3)])
    slope = set_of({"ramp": ramp[[[0, 1, 2], [0, 2, 3]]]}, flags=0)
    level, rising = _along_z(), _along_z()
    rising[:, 1] += 0.1 * rising[:, 2]
    assert footprint_of(slope, level, 0.0).step == pytest.approx(0.4)
    assert footprint_of(slope, rising, 0.0).step == pytest.approx(0.0, abs=1e-9)


def test_a_table_under_the_lens_is_no_floor() -> None:
    table = box((-1.0, 0.7, -1.0), (1.0, 0.75, 1.0))
    mesh = set_of({"floor": floor_at(0.0), "table": table})
    found = footprint_of(mesh, np.array([[0.0, 1.5, 0.0]]), 0.0)
    assert found.floors.tolist() == [0.0]
    assert found.depth[1] == pytest.approx(STICKS_M)


def test_the_faults_of_a_rig_name_the_part_and_leave_wild_ones_out() -> None:
    parts = {
        "north": box((-5.0, 0.0, 1.0), (5.0, 3.0, 1.1)),
        "east": box((1.0, 0.0, -5.0), (1.1, 3.0, 5.0)),
    }
    stage = Stage(set=set_of(parts, wild=("east",)))
    rail = _track((0.8, 1.5, -2.0), (0.8, 1.5, 0.8))
    assert rail_faults(stage, rail) == {"set:north": pytest.approx(DOLLY_M - 0.05)}
    assert taken_out_for(stage, rail).tolist() == [False, True]
    clear = sticks(np.array([-2.0, 1.5, -2.0]))
    assert rail_faults(stage, clear) == {}
    assert not taken_out_for(stage, clear).any()


def test_a_step_over_what_is_wedged_is_a_fault() -> None:
    for rise, fault in ((KERB_M - 0.01, None), (KERB_M + 0.05, 0.05)):
        parts = {"low": floor_at(0.0, x=(-6, 0)), "high": floor_at(rise, x=(0, 6))}
        stage = Stage(set=set_of(parts, flags=0))
        found = rail_faults(stage, _track((-2.0, 1.5, 0.0), (2.0, 1.5, 0.0)))
        assert found.get("step") == (fault and pytest.approx(fault))
        assert ("set:high" in found) == (fault is not None)


def test_a_camera_on_a_platform_or_a_gallery_stands_on_it() -> None:
    platform = box((-2.0, 0.0, -2.0), (2.0, 0.5, 2.0))
    gallery = box((-2.0, 2.8, -2.0), (2.0, 3.0, 2.0))
    slab = box((-6.0, -0.2, -6.0), (6.0, 0.0, 6.0))
    mesh = set_of({"slab": slab, "platform": platform, "gallery": gallery})
    places = np.array([[0.0, 1.9, 0.0], [0.0, 4.4, 0.0], [4.0, 1.5, 0.0]])
    assert footprint_of(mesh, places, 0.0).floors.tolist() == [0.5, 3.0, 0.0]
    for place in places:
        assert _depth(mesh, place[None]) == [0.0, 0.0, 0.0]


def _handed(change: Callable[[np.ndarray], np.ndarray]) -> int:
    """Return -1 for a change that mirrors, whose faces must turn to point out, or 1."""
    axes = change(np.eye(3)) - change(np.zeros((3, 3)))
    return int(np.sign(np.linalg.det(axes)))


def test_a_footprint_does_not_change_when_set_and_rail_are_turned_or_moved() -> None:
    # No sample of the rail is on an edge between two steps.
    edges = [0.06 + 0.5 * k for k in range(5)]
    steps = [
        box((-3.0, -1.0, edges[k]), (3.0, 0.17 * k, edges[k + 1])) for k in range(4)
    ]
    parts = {
        **wall_with_door(0.8, at=-1.0),
        "stair": np.concatenate(steps),
        "pillar": box((0.2, 0.0, -2.2), (0.5, 3.0, -1.9)),
    }
    plain = footprint_of(set_of(parts), _along_z(), 0.0)
    assert (plain.depth > 0.0).all()
    assert plain.step > KERB_M
    for change in (
        lambda p: turned(p, 0.7),
        lambda p: turned(p, -2.0) + np.array([40.0, 0.0, -7.0]),
        lambda p: p * [-1.0, 1.0, 1.0],
    ):
        mesh = set_of(
            {
                name: change(corners)[:, :: _handed(change)]
                for name, corners in parts.items()
            }
        )
        found = footprint_of(mesh, change(_along_z()), 0.0)
        np.testing.assert_allclose(found.depth, plain.depth, rtol=0, atol=1e-9)
        np.testing.assert_allclose(found.floors, plain.floors, rtol=0, atol=1e-9)
        assert found.step == pytest.approx(plain.step, abs=1e-9)
