"""Sight in a set of 100 000 triangles: whom a camera sees, frame by frame."""

import time

import numpy as np

from carrellata.solver.frame.projection import Screen
from carrellata.solver.frame.sight import SightCamera, bodies_seen, sighted
from carrellata.solver.stage.stage import Stage

from .clock import medians, paired
from .figures import Figure, Sizes
from .halls import hall

TRIANGLES = 100_000
FRAMES, PEOPLE = 120, 4


def run(sizes: Sizes) -> list[Figure]:
    """Time what hides four people in 120 frames of a hall, and building its tree."""
    mesh = hall(TRIANGLES)
    built = time.perf_counter()
    assert len(mesh.tree.size)
    tree_ms = (time.perf_counter() - built) * 1e3
    stage = Stage(set=mesh)
    along = np.linspace(0.0, 1.0, FRAMES)
    floor = np.zeros((PEOPLE, FRAMES, 3))
    for k in range(PEOPLE):
        floor[k, :, 0] = -12.0 + 1.5 * k + 8.0 * along
        floor[k, :, 2] = -3.5 + 1.2 * k
    eyes = floor + np.array([0.0, 1.6, 0.0])
    bodies = bodies_seen(floor, eyes, np.ones(PEOPLE, np.bool_))
    cams = np.zeros((FRAMES, 5))
    cams[:, 0], cams[:, 1], cams[:, 2] = -6.0, 1.6, 8.5
    camera = SightCamera(cams, 0.0, Screen(0.9, 0.6, 0.0))
    runs = {"sight": lambda: sighted(stage, mesh, bodies, camera)}
    taken = medians(paired(runs, max(sizes.takes, 5)))
    seen = sighted(stage, mesh, bodies, camera)
    lines = int((seen.hider >= -1).sum())
    return [
        Figure(
            name="set_sight_ms",
            value=taken["sight"] * 1e3,
            unit="ms",
            target=5.0,
            note=f"{FRAMES} frames, {PEOPLE} people, {len(mesh.corners)} triangles, "
            f"{lines} lines in the picture",
        ),
        Figure(name="set_tree_ms", value=tree_ms, unit="ms", note="once a process"),
    ]
