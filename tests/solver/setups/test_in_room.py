"""Proposals know the room: how deep it is, from where it leaves the action in sight."""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask, person, views
from set_scenes import box, set_of
from shots import walk

from carrellata.solver.arrays import FloatArray
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.setups.in_room import FAR_M, depth_m, free_views, standing_of
from carrellata.solver.setups.propose import distance_of, suitable
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask, rehearsed
from carrellata.solver.stage.stage import Stage

SECONDS = np.arange(97) / 24


def _room(x: float, z: float) -> dict[str, FloatArray]:
    """Return four walls round the origin, `x` and `z` from it, 4 m high."""
    return {
        "west": box((-x - 0.1, 0, -z), (-x, 4, z)),
        "east": box((x, 0, -z), (x + 0.1, 4, z)),
        "north": box((-x, 0, -z - 0.1), (x, 4, -z)),
        "south": box((-x, 0, z), (x, 4, z + 0.1)),
    }


def _ask(parts: dict[str, FloatArray], speed: float = 0.0, **rest: object) -> Ask:
    path = walk(speed, start=(-2.0 * speed, 0.0, 0.0))(SECONDS)
    stage = Stage(heights=(0.3, 2.6), min_distance_m=1.0, set=set_of(parts))
    return replace(open_ask(person(path), **rest), stage=stage)  # type: ignore[arg-type]


def test_the_depth_of_a_room_is_the_longest_free_line_to_its_walls() -> None:
    ask = _ask(_room(5.0, 3.0))
    angle = np.radians(np.arange(0, 360, 15))
    with np.errstate(divide="ignore"):
        walls = np.minimum(5.0 / np.abs(np.sin(angle)), 3.0 / np.abs(np.cos(angle)))
    assert depth_m(ask.stage, rehearsed(ask.shot)) == pytest.approx(walls.max())
    free = replace(ask, stage=replace(ask.stage, set=None))
    assert depth_m(free.stage, rehearsed(free.shot)) == np.inf
    far = _ask({"far": box((80.0, 0.0, 0.0), (81.0, 3.0, 1.0))})
    assert depth_m(far.stage, rehearsed(far.shot)) == pytest.approx(FAR_M)


def test_only_lenses_are_proposed_that_the_depth_has_room_for() -> None:
    ask = _ask(_room(5.0, 3.0))
    action = rehearsed(ask.shot)
    room = depth_m(ask.stage, action)
    kept = suitable(ask, action)
    open_air = suitable(replace(ask, stage=replace(ask.stage, set=None)), action)
    assert 0 < len(kept) < len(open_air)
    assert all(distance_of(ask, lens) <= room for lens in kept)
    assert any(distance_of(ask, lens) > room for lens in open_air)


def test_free_views_are_those_from_where_no_wall_is_between() -> None:
    # A wall along the way, on its south; cameras stand at -sin, -cos of a bearing.
    ask = _ask({"south": box((-20.0, 0.0, 2.0), (20.0, 3.0, 2.1))}, speed=1.2)
    action = rehearsed(ask.shot)
    found = free_views(ask, action, 6.0)
    assert found
    for view in found:
        bearing = action.main + view.bearing_rad
        assert -np.cos(bearing) * 6.0 < 2.0
    assert not {view.name for view in found} & {view.name for view in ask.views}


def test_how_a_rig_stands_is_told_by_its_lines_and_by_what_it_stands_in() -> None:
    parts = {
        "wall": box((0.0, 0.0, 1.0), (9.0, 3.0, 1.1)),
        "pillar": box((-4.3, 0.0, -5.3), (-3.7, 3.0, -4.7)),
    }
    ask = _ask(parts, speed=1.2)
    action = rehearsed(ask.shot)

    def stands(x: float, z: float) -> tuple[float, bool]:
        return standing_of(ask.stage, action, sticks(np.array([x, 1.6, z])))

    # Behind the end of the wall half of her way is hidden, and all of it from the side.
    assert stands(0.0, 6.0)[0] == pytest.approx(0.5)
    assert stands(8.0, 2.0)[0] == 1.0
    assert stands(-8.0, 3.0) == (0.0, False)
    assert stands(-4.0, -4.6) == (0.0, True)


def test_in_a_corridor_the_track_runs_along_it() -> None:
    walls = {
        "north": box((-20.0, 0.0, -1.6), (20.0, 3.0, -1.5)),
        "south": box((-20.0, 0.0, 1.5), (20.0, 3.0, 1.6)),
    }
    ask = _ask(
        walls,
        speed=1.2,
        kinds=("track",),
        kit=(35, 50),
        seen_from=views("front", "profile"),
    )
    found = [each for each in candidates(ask) if each.holds]
    assert found
    for each in found:
        rig = each.setup.rig
        places = rig.places(np.linspace(0.0, rig.length_m, 50))
        assert np.abs(places[:, 2]).max() < 1.5 - 0.45
        assert each.trial.in_set is not None
        assert each.trial.in_set.lost == 0.0
    first = found[0].setup.rig.places(np.array([0.0, found[0].setup.rig.length_m]))
    assert abs(first[1, 0] - first[0, 0]) > 5 * abs(first[1, 2] - first[0, 2])
