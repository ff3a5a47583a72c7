"""Track that is laid beyond a rail, to get going and to stop: it needs room as well."""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask, person
from set_scenes import box, set_of
from shots import acted, shot, walk

from carrellata.solver.measures.measure import measure
from carrellata.solver.measures.on_stage import laid_of, taken_out
from carrellata.solver.rigs.clearance import laid_places, rail_places
from carrellata.solver.rigs.faults import rail_faults
from carrellata.solver.rigs.laid import laid_track
from carrellata.solver.rigs.track import track
from carrellata.solver.setups.in_set import laid_about
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import in_setup
from carrellata.solver.sight.footprint import BEYOND_M
from carrellata.solver.stage.stage import Stage
from carrellata.solver.take import Take, operate

RATE = 24.0
STOP_M = (1 / 1 + 1 / 2.5) / 2  # from 1 m/s at 1 m/s2 and 2.5 m/s3


def _steady(start: float) -> np.ndarray:
    """Return four seconds at 1 m/s along a rail, (n, 3)."""
    n = 4 * 24 + 1
    return np.column_stack([start + np.arange(n) / RATE, np.ones(n), np.zeros(n)])


def _take(wall_x: float, *, wild: bool = False) -> Take:
    """Return a take on a rail from x = 0 to 5 that is at 1 m/s at both ends."""
    wall = box((wall_x, 0.0, -2.0), (wall_x + 0.1, 3.0, 20.0))
    stage = Stage(set=set_of({"wall": wall}, wild=("wall",) if wild else ()))
    rig = track(np.array([0.0, 1.5, 8.0]), np.array([5.0, 1.5, 8.0]))
    seconds = 4.0
    made = shot(acted(walk(0.0, start=(2.0, 0.0, 0.0)), seconds), rig)
    take = operate(replace(made, stage=stage))
    rail = _steady(0.5)[: len(take.times_s)]
    return replace(take, rail=rail, base=rig.places(rail[:, 0]))


def test_track_is_laid_over_what_is_covered_with_run_up_and_run_out() -> None:
    laid = laid_track(_steady(0.5), max_accel=1.0, max_jerk=2.5)
    assert laid == pytest.approx((0.5 - STOP_M, 4.5 + STOP_M, STOP_M, STOP_M))


def test_places_of_laid_track_go_on_along_the_rail() -> None:
    rig = track(np.array([0.0, 1.0, 0.0]), np.array([4.0, 2.0, 0.0]))
    np.testing.assert_array_equal(laid_places(rig, 0.5, 3.0), rail_places(rig))
    longer = laid_places(rig, -rig.length_m, 2 * rig.length_m)
    np.testing.assert_allclose(longer[[0, -1]], [[-4, 0, 0], [8, 3, 0]], atol=1e-12)
    assert len(longer) >= 3 * (len(rail_places(rig)) - 1)


def test_a_wall_across_the_run_out_is_in_the_way_though_the_rail_ends_before() -> None:
    beyond = 4.5 + STOP_M + BEYOND_M
    take = _take(beyond - 0.1)
    assert laid_of(take) == pytest.approx((0.5 - STOP_M, 4.5 + STOP_M))
    assert rail_faults(take.shot.stage, take.shot.rig) == {}
    assert measure(take)["rig_through"] == "wall"
    assert measure(_take(beyond + 0.02))["rig_through"] is None


def test_a_wild_wall_across_the_run_out_is_taken_out() -> None:
    take = _take(4.5 + STOP_M + BEYOND_M - 0.1, wild=True)
    assert measure(take)["rig_through"] is None
    assert taken_out(take) == ("wall",)


def test_setups_in_a_hall_keep_their_whole_track_clear_of_its_walls() -> None:
    path = walk(1.2, start=(-3.0, 0.0, 0.0))(np.arange(121) / RATE)
    walls = {
        "west": box((-6.2, 0.0, -9.0), (-6.0, 3.0, 9.0)),
        "east": box((5.0, 0.0, -9.0), (5.2, 3.0, 9.0)),
    }
    stage = Stage(heights=(0.3, 2.6), min_distance_m=1.0, set=set_of(walls))
    ask = open_ask(person(path), kinds=("track",), stage=stage, kit=(35, 50))
    holding = [each for each in candidates(ask) if each.holds]
    assert len(holding) > 3
    off = []
    for each in holding[:6]:
        take = operate(replace(in_setup(ask.shot, each.setup), stage=stage))
        laid = laid_of(take)
        about = laid_about(ask.shot, each.setup.rig, each.trial.cams[:, :3])
        assert laid is not None
        assert about is not None
        off += [abs(about[0] - laid[0]), abs(about[1] - laid[1])]
        assert measure(take)["rig_through"] is None
    # What a trial takes track to need is what the take needs, but for the handles.
    assert max(off) < 0.15
