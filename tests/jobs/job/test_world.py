"""From the solver's axes to a scene's, against rotation matrices."""

import numpy as np
import pytest

from carrellata.jobs.job.world import WorldSpec
from carrellata.solver.optics.camera import quaternion, rotation

Z_UP_CM = WorldSpec(up="z", metres_per_unit=0.01)
Y_UP_M = WorldSpec(up="y", metres_per_unit=1.0)
# Columns are where inside +X, +Y and +Z point in a Z-up scene.
TURN = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def matrix(turn: np.ndarray) -> np.ndarray:
    """Rotation matrix of a unit quaternion x, y, z, w (textbook form, from memory)."""
    x, y, z, w = turn
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def test_z_up_points_are_turned_and_scaled() -> None:
    points = np.array([[1.0, 2.0, 3.0], [-0.5, 0.0, 4.0]])
    scene = Z_UP_CM.scene(points)
    assert scene == pytest.approx(np.array([[100.0, -300.0, 200.0], [-50, -400, 0]]))


@pytest.mark.parametrize("world", [Z_UP_CM, Y_UP_M])
def test_way_out_undoes_the_way_in(world: WorldSpec) -> None:
    points = np.random.default_rng(3).normal(size=(20, 3))
    assert world.inside(world.scene(points)) == pytest.approx(points)


def test_turns_agree_with_the_matrix_product() -> None:
    pan, tilt, roll = np.random.default_rng(4).uniform(-1.4, 1.4, size=(3, 30))
    turns = Z_UP_CM.scene_turns(quaternion(pan, tilt, roll))
    for turn, inside in zip(turns, rotation(pan, tilt, roll), strict=True):
        assert matrix(turn) == pytest.approx(TURN @ inside, abs=1e-12)


def test_turns_stay_continuous_and_begin_with_positive_w() -> None:
    pan = np.linspace(-9.0, 9.0, 400)
    tilt = np.full(400, 1.2)
    turns = Z_UP_CM.scene_turns(quaternion(pan, tilt, 0.3))
    assert turns[0, 3] >= 0.0
    assert (np.sum(turns[1:] * turns[:-1], axis=1) > 0.0).all()


def test_y_up_turns_are_left_alone() -> None:
    turns = quaternion(np.linspace(0, 2, 5), 0.1, 0.2)
    assert (Y_UP_M.scene_turns(turns) == turns).all()


@pytest.mark.parametrize("world", [Z_UP_CM, Y_UP_M])
def test_turns_come_back_from_the_scene(world: WorldSpec) -> None:
    turns = quaternion(np.linspace(-9.0, 9.0, 400), 1.2, 0.3)
    back = world.inside_turns(world.scene_turns(turns))
    assert back == pytest.approx(turns, abs=1e-14)
