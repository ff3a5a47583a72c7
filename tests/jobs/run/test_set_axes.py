"""A shot in a set is the same shot whatever the scene's axes and units, and turned."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from job_tables import a_job, a_shot
from scene_files import ROOM, add_mesh, corners_of, new_scene

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.shots import prepare
from carrellata.solver.measures.measure import measure
from carrellata.solver.take import Take, operate

pytest.importorskip("pxr")

N = 48
Change = Callable[[np.ndarray], np.ndarray]
TURN = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
"""A quarter turn about Y."""


def _take(folder: Path, up: str, metres: float, change: Change) -> Take:
    """Return the take of a shot through the pillar of a room, given in other axes.

    Args:
        folder: for the scene.
        up: axis of scene and job.
        metres: its unit.
        change: from metres, Y up, to what the scene has, (n, 3) both.
    """
    scene = new_scene(folder / "room.usda", up=up, metres=metres)
    for name, box in ROOM.items():
        add_mesh(scene, f"/World/{name}", change(corners_of(box)))
    scene.Save()
    walk = np.column_stack([np.linspace(-2, 2, N), np.zeros(N), np.full(N, -2.0)])
    x, y, z = change(walk).T.tolist()
    samples = {"frame": list(range(1, N + 1)), "x": x, "y": y, "z": z}
    subject = {"name": "ann", "samples": samples, "at": "floor", "height_m": 1.7}
    (at,) = change(np.array([[0.0, 1.5, 4.0]])).tolist()
    shot: Any = a_shot(
        frames=[1, N], subjects=[subject], rig={"kind": "sticks", "at": at}
    )
    world = {"up": up.lower(), "metres_per_unit": metres}
    job = parse_job(
        a_job(shots=[shot], world=world, stage={"set": {"file": "room.usda"}})
    )
    return operate(prepare(job, job.shots[0], folder).shot)


@pytest.mark.parametrize(
    ("up", "metres", "change"),
    [
        ("Z", 1.0, lambda p: p[:, [0, 2, 1]] * [1.0, -1.0, 1.0]),
        ("Z", 0.01, lambda p: p[:, [0, 2, 1]] * [100.0, -100.0, 100.0]),
        ("Y", 0.0254, lambda p: p / 0.0254),
        ("Y", 1.0, lambda p: p @ TURN.T),
    ],
    ids=["z_up", "centimetres", "inches", "turned"],
)
def test_a_shot_in_a_set_is_the_same_in_other_axes_and_units_and_turned(
    tmp_path: Path, up: str, metres: float, change: Change
) -> None:
    for name in ("plain", "other"):
        (tmp_path / name).mkdir()
    plain = _take(tmp_path / "plain", "Y", 1.0, lambda p: p)
    other = _take(tmp_path / "other", up, metres, change)
    assert plain.hidden_by == other.hidden_by
    assert "pillar" in plain.hidden_by
    for name in ("u", "v", "size"):
        one, two = getattr(plain, name), getattr(other, name)
        np.testing.assert_allclose(one, two, rtol=0, atol=1e-4)
    found, told = measure(plain), measure(other)
    for name in ("hidden", "hidden_by", "rig_through", "rig_step_m"):
        assert found[name] == told[name], name
    assert plain.sighted is not None
    assert other.sighted is not None
    np.testing.assert_array_equal(plain.sighted.hider >= 0, other.sighted.hider >= 0)
