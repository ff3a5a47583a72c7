"""From a job's `stage` table to the stage that the solver works on."""

from collections.abc import Sequence

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.sight.set_mesh import SetMesh
from ...solver.stage.outline import hull
from ...solver.stage.stage import DEFAULT_HEIGHT_M, Stage
from ..job.shot import ShotSpec
from ..job.world import WorldSpec


def stage_of(
    spec: ShotSpec,
    world: WorldSpec,
    *,
    usual: bool = False,
    mesh: SetMesh | None = None,
) -> Stage:
    """Return a shot's stage as the solver sees it.

    Args:
        spec: the shot.
        world: axes and units of its scene.
        usual: keep to the heights of usual rigs where the stage gives none.
        mesh: the set of the stage, where it has one.
    """
    asked = spec.stage
    ground = world.metres(asked.ground)
    free = DEFAULT_HEIGHT_M if usual else (-np.inf, np.inf)
    low, high = asked.height_m or free
    rings = [
        _ring(ring, world)
        for ring in (asked.floor, *asked.floor_holes)
        if ring is not None
    ]
    floor = rings[0] if rings else None
    plain = floor is None or (len(rings) == 1 and _is_convex(floor))
    if floor is not None and not plain:
        floor = hull(floor)
    boxes = [world.inside(np.array([box.from_, box.to])) for box in asked.keep_outs]
    return Stage(
        floor=floor,
        keep_outs=np.array(boxes).reshape(-1, 2, 3),
        names=tuple(box.name for box in asked.keep_outs),
        sight_forbidden=np.array(
            [box.sight == "forbid" for box in asked.keep_outs], dtype=np.bool_
        ),
        heights=(ground + low, ground + high),
        straight_m=asked.straight_m,
        curve_radii_m=asked.curve_radius_m,
        min_distance_m=asked.min_distance_m,
        outline=() if plain else tuple(rings),
        ground_m=ground,
        set=mesh,
        forbids_sight=spec.sight == "forbid",
    )


def _ring(corners: Sequence[tuple[float, float]], world: WorldSpec) -> FloatArray:
    """Return corners on the ground as the solver has them, (k, 2) [m]."""
    points = [
        (*point, 0.0) if world.up == "z" else (point[0], 0.0, point[1])
        for point in corners
    ]
    return world.inside(np.array(points))[:, [0, 2]]


def _is_convex(floor: FloatArray) -> bool:
    along = np.roll(floor, -1, axis=0) - floor
    after = np.roll(along, -1, axis=0)
    turns = along[:, 0] * after[:, 1] - along[:, 1] * after[:, 0]
    least = 1e-9 * float(np.abs(turns).max())
    return bool((turns >= -least).all() or (turns <= least).all())
