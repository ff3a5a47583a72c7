"""Cameras written as glTF 2.0, judged by the reference validator and another loader."""

import json
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pygltflib
import pytest
from export_takes import RIGS, WORLDS, Delivered, delivered
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from carrellata.jobs.export.gltf import CAMERA, angle_is_widened, gltf_bytes
from carrellata.jobs.job.world import inside_from_scene
from carrellata.jobs.takes.curves import curves_of

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
MODULES = ROOT / ".venv/validator/node_modules"
NODE = Path(sys.executable).parent / "node"
WIDTHS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}


def report_of(path: Path) -> dict[str, Any]:
    """Return what the reference validator says of a file."""
    script = HERE / "validator/validate.cjs"
    done = subprocess.run(
        [NODE, script, MODULES, path], capture_output=True, text=True, check=True
    )
    report: dict[str, Any] = json.loads(done.stdout)
    return report


def loaded(folder: Path, take: Delivered) -> pygltflib.GLTF2:
    path = folder / "take.glb"
    path.write_bytes(gltf_bytes(take.curves, name="chase_010_cam"))
    return pygltflib.GLTF2().load(str(path))


def values(scene: pygltflib.GLTF2, accessor: int) -> NDArray[np.float64]:
    """Return the numbers of an accessor, (n,) or (n, width)."""
    found = scene.accessors[accessor]
    view = scene.bufferViews[found.bufferView]
    width = WIDTHS[found.type]
    data = np.frombuffer(
        scene.binary_blob(), "<f4", count=found.count * width, offset=view.byteOffset
    )
    rows = data.reshape(-1, width).astype(np.float64)
    return rows[:, 0] if width == 1 else rows


def matrices(scene: pygltflib.GLTF2) -> NDArray[np.float64]:
    """Return the camera's world matrices at the keys of the animation, (n, 4, 4)."""
    (animation,) = scene.animations
    times = values(scene, animation.samplers[0].input)
    world = np.tile(np.eye(4), (len(times), 1, 1))
    for k, node in enumerate(scene.nodes[: CAMERA + 1]):
        move = np.tile(node.translation or [0.0, 0.0, 0.0], (len(times), 1))
        turn = np.tile(node.rotation or [0.0, 0.0, 0.0, 1.0], (len(times), 1))
        for channel in animation.channels:
            if channel.target.node == k:
                keys = values(scene, animation.samplers[channel.sampler].output)
                if channel.target.path == "translation":
                    move = keys
                else:
                    turn = keys
        local = np.tile(np.eye(4), (len(times), 1, 1))
        local[:, :3, :3] = Rotation.from_quat(turn).as_matrix()
        local[:, :3, 3] = move
        world = world @ local
    return world


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("rig", RIGS)
def test_another_loader_gives_the_matrices_of_the_take(tmp_path, world, rig) -> None:
    take = delivered(world=world, rig=rig, roll_deg=2.0)
    found = matrices(loaded(tmp_path, take))
    scene = WORLDS[world]
    places = take.columns("cam_x", "cam_y", "cam_z") * scene["metres_per_unit"]
    np.testing.assert_allclose(
        found[:, :3, 3], inside_from_scene(places, scene["up"]), atol=2e-6
    )
    turns = Rotation.from_quat(take.columns("qx", "qy", "qz", "qw")).as_matrix()
    for axis in range(3):
        ahead = inside_from_scene(turns[:, :, axis], scene["up"])
        np.testing.assert_allclose(found[:, :3, axis], ahead, atol=1e-6)


@pytest.mark.parametrize("rate", ["24", "25", "24000/1001", "60"])
def test_keys_stand_on_the_seconds_of_the_rate(tmp_path, rate) -> None:
    take = delivered(rate=rate)
    scene = loaded(tmp_path, take)
    times = values(scene, scene.animations[0].samplers[0].input)
    exact = (take.curves.frame - take.curves.frame[0]) / float(Fraction(rate))
    np.testing.assert_allclose(times, exact, atol=1e-7 * exact[-1])
    assert scene.asset.extras["rate"] == rate
    assert scene.asset.extras["first_frame"] == take.curves.frame[0]


def test_angle_of_view_is_that_of_the_rendered_frame(tmp_path) -> None:
    take = delivered()
    (lens,) = loaded(tmp_path, take).cameras
    gate = take.curves.gate
    assert gate.squeeze == 2.0
    tan_v = gate.height_mm * 1.1 / (2 * 40)
    assert np.tan(lens.perspective.yfov / 2) == pytest.approx(tan_v)
    assert lens.perspective.aspectRatio == pytest.approx(2.39)
    assert not angle_is_widened(take.curves)


def test_a_frame_off_the_lens_axis_lies_inside_the_angle_of_view(tmp_path) -> None:
    film = {"film_back": "super35-4perf", "aspect": 2.39, "extraction": "common_top"}
    take = delivered(camera=film | {"lens_kit_mm": [40]})
    assert angle_is_widened(take.curves)
    scene = loaded(tmp_path, take)
    half_back = 18.66 / 2
    # The frame keeps the top of a back whose middle the lens stands on.
    top = half_back
    bottom = half_back - 24.89 / 2.39
    (lens,) = scene.cameras
    assert np.tan(lens.perspective.yfov / 2) * 40 == pytest.approx(max(top, -bottom))
    wide = np.tan(lens.perspective.yfov / 2) * lens.perspective.aspectRatio
    assert wide * 40 == pytest.approx(24.89 / 2)
    assert scene.asset.extras["lens_axis_v"] == take.curves.gate.axis_v


@pytest.mark.parametrize("shake", ["locked", "rough"])
@pytest.mark.parametrize("rig", RIGS)
def test_the_reference_validator_reports_nothing(tmp_path, rig, shake) -> None:
    take = delivered(rig=rig, shake=shake)
    loaded(tmp_path, take)
    report = report_of(tmp_path / "take.glb")
    issues = report["issues"]
    assert issues["messages"] == []
    counts = [f"num{kind}" for kind in ("Errors", "Warnings", "Infos", "Hints")]
    assert [issues[name] for name in counts] == [0, 0, 0, 0]
    assert report["info"]["version"] == "2.0"
    assert report["info"].get("extensionsUsed", []) == []
    assert report["info"]["animationCount"] == 1


def test_the_reference_validator_sees_a_fault(tmp_path) -> None:
    good = gltf_bytes(delivered().curves, name="take")
    (tmp_path / "bad.glb").write_bytes(good.replace(b'"VEC4"', b'"VEC3"'))
    assert report_of(tmp_path / "bad.glb")["issues"]["numErrors"] > 0


def test_a_camera_that_never_moves_has_no_animation(tmp_path) -> None:
    take = delivered(rig="sticks", shake="locked")
    still = take.table.slice(6, 1)
    path = tmp_path / "still.glb"
    path.write_bytes(gltf_bytes(curves_of(still), name="still"))
    scene = pygltflib.GLTF2().load(str(path))
    assert scene.animations == []
    assert report_of(path)["issues"]["messages"] == []
