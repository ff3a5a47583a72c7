"""Rails on floors that slope: they rise with a ramp, and with nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask, person, views
from set_scenes import box, set_of
from shots import acted, shot, walk

from carrellata.solver.measures.measure import measure
from carrellata.solver.rigs.faults import rail_faults
from carrellata.solver.rigs.rise import STEEPEST, risen
from carrellata.solver.rigs.track import track
from carrellata.solver.setups.search import candidates
from carrellata.solver.sight.footprint import KERB_M
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.stage.stage import Stage
from carrellata.solver.take import operate

LOW, HIGH = np.array([-3.0, 1.5, 0.0]), np.array([3.0, 1.5, 0.0])


def _ramp(slope: float) -> SetMesh:
    """Return a floor that rises along x, at height 0 where x is 0."""
    x, y = 12.0, 12.0 * slope
    corners = np.array([(-x, -y, -12), (x, y, -12), (x, y, 12), (-x, -y, 12)])
    return set_of({"ramp": corners[[[0, 2, 1], [0, 3, 2]]]}, flags=0)


def test_a_rail_on_a_ramp_rises_as_the_ramp_does() -> None:
    start, end = risen(_ramp(0.08), LOW, HIGH)
    assert start.tolist() == pytest.approx([-3.0, 1.5 - 0.24, 0.0])
    assert end.tolist() == pytest.approx([3.0, 1.5 + 0.24, 0.0])
    assert "step" not in rail_faults(Stage(set=_ramp(0.08)), track(start, end))
    assert "step" in rail_faults(Stage(set=_ramp(0.08)), track(LOW, HIGH))


@pytest.mark.parametrize(
    "slope",
    [0.0, 0.9 * KERB_M / 6.0, 1.01 * STEEPEST],
    ids=["level", "wedged", "steep"],
)
def test_a_rail_stays_level_on_what_is_no_ramp_for_a_dolly(slope: float) -> None:
    start, end = risen(_ramp(slope), LOW, HIGH)
    assert (start == LOW).all()
    assert (end == HIGH).all()


def test_a_rail_does_not_rise_with_a_stair_or_where_there_is_no_floor() -> None:
    steps = [box((2.0 * k, -1, -6), (2.0 * k + 2, 0.2 * k, 6)) for k in range(-2, 2)]
    for mesh in (
        set_of({"stair": np.concatenate(steps)}),
        set_of({"lamp": box((0.0, 3.0, 0.0), (0.1, 3.1, 0.1))}),
    ):
        start, end = risen(mesh, LOW, HIGH)
        assert (start == LOW).all()
        assert (end == HIGH).all()


def test_an_open_track_up_a_ramp_holds_and_lies_on_it() -> None:
    mesh = _ramp(0.08)
    path = walk(1.2, start=(-3.0, 0.0, 0.0))(np.arange(121) / 24.0)
    path[:, 1] = 0.08 * path[:, 0]
    stage = Stage(heights=(-2.0, 4.0), min_distance_m=1.0, set=mesh)
    ask = open_ask(
        person(path),
        kinds=("track",),
        stage=stage,
        kit=(35,),
        seen_from=views("profile"),
    )
    found = candidates(ask)[0]
    assert found.holds
    rig = found.setup.rig
    first, last = rig.places(np.array([0.0, rig.length_m]))
    rise = (last - first)[1] / np.hypot(*(last - first)[[0, 2]])
    along = (last - first)[0] / np.hypot(*(last - first)[[0, 2]])
    assert abs(along) > 0.9
    assert rise == pytest.approx(0.08 * along, abs=1e-3)
    assert rail_faults(stage, rig) == {}


def test_a_fixed_rail_over_steps_is_told_by_how_much() -> None:
    steps = [box((k - 3.0, -1.0, 5.0), (k - 2.0, 0.17 * k, 9.0)) for k in range(6)]
    rig = track(np.array([-2.5, 1.5, 7.0]), np.array([2.5, 1.5, 7.0]))
    made = shot(acted(walk(0.0), 2.0), rig)
    stage = Stage(set=set_of({"stair": np.concatenate(steps)}))
    found = measure(operate(replace(made, stage=stage)))
    assert found["rig_step_m"] == pytest.approx(5 * 0.17)
    assert "rig_step_m" not in measure(operate(made))
