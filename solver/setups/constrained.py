"""Rigs moved to where the stage allows them, by the convex programme.

A layout that is good but for the floor, a keep-out or the least distance is the start
of a sequential convex programme, whose answer keeps these limits with a certificate.
It says where a fully rehearsed crew would lay the rig; whether that is any better for
the real crew, a trial decides.
"""

import numpy as np

from ..action.rehearsed import Action
from ..laying.laying import Bounds, Wish, wish_at_nodes
from ..stage.stage import with_floor_boxed
from .judge import SIZE_KEPT_LOG2
from .proposal import Proposal
from .setup import Ask

STAGE_LIMITS = (
    "floor",
    "floor_hole",
    "keep_out",
    "min_distance",
    "rail_in_path",
    "sight",
)
VIEW_WEIGHT = 0.1


def breaks_stage_only(broken: dict[str, float]) -> bool:
    """Tell whether a verdict is bad for nothing but limits of the stage."""
    return bool(broken) and all(
        name.partition(":")[0] in STAGE_LIMITS for name in broken
    )


def within_limits(ask: Ask, action: Action, proposal: Proposal) -> Proposal | None:
    """Return a proposal moved to keep the stage's limits, or None if nothing does.

    Args:
        ask: the shot with its stage.
        action: of the shot.
        proposal: of a rig on which the dolly, if any, keeps abreast; it breaks limits.
    """
    layout = proposal.layout
    wish = wish_at_nodes(
        Wish(
            times_s=action.times_s,
            subject=np.ascontiguousarray(action.centre[:, [0, 2]]),
            distance_m=layout.distance_m * action.ratio,
            azimuth=np.full(action.n_frames, layout.offset[0]),
            weight_azimuth=VIEW_WEIGHT,
            size_band=float(2.0 ** (2 * SIZE_KEPT_LOG2)),
        )
    )
    operator, grip = ask.shot.crew.operator, ask.shot.crew.grip
    bounds = Bounds(
        stage=with_floor_boxed(ask.stage),
        height_m=layout.height_m,
        aim_m=float(action.aim[:, 1].mean()),
        pan_speed=operator.max_speed,
        pan_accel=operator.max_accel,
        dolly_speed=grip.max_speed,
        dolly_accel=grip.max_accel,
    )
    found = layout.within(wish, bounds)
    return None if found is None else proposal._replace(layout=found)
