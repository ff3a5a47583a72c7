"""From a job's `stage` table to the stage that the solver works on."""

import numpy as np

from ...solver.stage.stage import DEFAULT_HEIGHT_M, Stage
from ..job.shot import ShotSpec
from ..job.world import WorldSpec


def stage_of(spec: ShotSpec, world: WorldSpec, *, usual: bool = False) -> Stage:
    """Return a shot's stage as the solver sees it.

    Args:
        spec: the shot.
        world: axes and units of its scene.
        usual: keep to the heights of usual rigs where the stage gives none.
    """
    asked = spec.stage
    ground = world.metres(asked.ground)
    free = DEFAULT_HEIGHT_M if usual else (-np.inf, np.inf)
    low, high = asked.height_m or free
    floor = None
    if asked.floor is not None:
        corners = [
            (*point, 0.0) if world.up == "z" else (point[0], 0.0, point[1])
            for point in asked.floor
        ]
        floor = world.inside(np.array(corners))[:, [0, 2]]
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
    )
