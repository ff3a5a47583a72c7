"""From a job's `stage` table to the stage that the solver works on."""

from typing import Any

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.stage.clearance import DEFAULT_HEIGHT_M
from ...solver.stage.stage import Stage
from ..job.shot import ShotSpec
from ..job.spec import WorldSpec
from ..subjects.axes import inside_from_scene


def stage_of(spec: ShotSpec, world: WorldSpec) -> Stage:
    """Return a shot's stage as the solver sees it."""
    asked, unit = spec.stage, world.metres_per_unit
    ground = asked.ground * unit
    low, high = asked.height_m or DEFAULT_HEIGHT_M
    floor = None
    if asked.floor is not None:
        corners = [
            (*point, 0.0) if world.up == "z" else (point[0], 0.0, point[1])
            for point in asked.floor
        ]
        floor = _inside(world, corners)[:, [0, 2]]
    boxes = [_inside(world, [box.from_, box.to]) for box in asked.keep_outs]
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
    )


def _inside(world: WorldSpec, points: Any) -> FloatArray:
    metres = np.array(points, dtype=np.float64) * world.metres_per_unit
    inside: FloatArray = inside_from_scene(metres, world.up)
    return inside
