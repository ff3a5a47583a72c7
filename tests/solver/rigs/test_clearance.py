"""How far rails are from what they must keep clear of, by brute force."""

import numpy as np
import pytest

from carrellata.solver.rigs.arc import arc
from carrellata.solver.rigs.clearance import (
    RAIL_SAMPLES,
    rail_gap,
    rail_places,
    rail_samples,
)
from carrellata.solver.rigs.faults import rail_faults
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.rigs.track import track
from carrellata.solver.stage.stage import Stage

RIGS = {
    "sticks": sticks(np.array([1.0, 1.5, 2.0])),
    "track": track(np.array([-4.0, 1.5, 2.0]), np.array([5.0, 1.0, 4.0])),
    "arc": arc(np.array([0.0, 1.5, 0.0]), radius=6.0, start=0.4, sweep=-1.5),
}


@pytest.mark.parametrize("kind", RIGS)
def test_places_are_evenly_spread_and_end_at_the_ends(kind):
    rig = RIGS[kind]
    n = RAIL_SAMPLES if rig.length_m > 0 else 1
    expected = rig.places(np.linspace(0.0, rig.length_m, n))
    np.testing.assert_array_equal(rail_places(rig), expected)
    np.testing.assert_array_equal(rail_samples(rig.shape), expected)


@pytest.mark.parametrize("kind", RIGS)
def test_the_gap_to_a_path_is_the_least_of_all(kind):
    rig = RIGS[kind]
    rng = np.random.default_rng(9)
    for _ in range(20):
        feet = rng.normal(0, 5, (2, 41, 3))
        feet[1] += 30.0
        corners = rail_places(rig)[:, [0, 2]]
        share = np.linspace(0, 1, 400)[:, None, None]
        line = corners
        if len(corners) > 1:
            line = (corners[:-1] + share * np.diff(corners, axis=0)).reshape(-1, 2)
        walked = feet[:, ::4][..., [0, 2]].reshape(-1, 1, 2)
        expected = np.linalg.norm(walked - line, axis=2).min()
        assert rail_gap(
            rig.shape, np.stack([feet, feet + 9.0], axis=1)
        ) == pytest.approx(expected, abs=2e-3)


def test_faults_say_how_far_off():
    floor = np.array([[-3.0, -9.0], [9.0, -9.0], [9.0, 9.0], [-3.0, 9.0]])
    stage = Stage(floor=floor, heights=(1.2, 1.4))
    found = rail_faults(stage, RIGS["track"])
    assert found == pytest.approx({"floor": 1.0, "height": 0.2})
    assert not rail_faults(Stage(), RIGS["track"])


def test_a_rail_through_a_keep_out_is_named():
    middle = RIGS["track"].places(np.array([0.5 * RIGS["track"].length_m]))
    crate = np.array([middle[0] - 0.5, middle[0] + 0.5])
    for shift, named in ((0.0, {"keep_out:crate": 1.0}), (30.0, {})):
        boxes = (crate + np.array([0.0, 0.0, shift]))[None]
        flags = np.zeros(1, np.bool_)
        stage = Stage(names=("crate",), keep_outs=boxes, sight_forbidden=flags)
        assert rail_faults(stage, RIGS["track"]) == named
