"""Sticks and track moved to where the stage allows them, by the convex programme.

A layout that is good but for the floor, a keep-out or the least distance is the start
of a sequential convex programme, whose answer keeps these limits with a certificate.
It says where a fully rehearsed crew would lay the rig; whether that is any better for
the real crew, a trial decides.
"""

from dataclasses import replace

import numpy as np

from .action import Action
from .feasible import feasible_line, feasible_sticks
from .fit_line import LineFit
from .laying import Bounds, Straight, Wish, wish_at_nodes
from .layout import Layout, lens_height
from .setup import Ask
from .trial import SIZE_KEPT_LOG2

STAGE_LIMITS = ("floor", "keep_out", "min_distance", "rail_in_path", "sight")
VIEW_WEIGHT = 0.1


def breaks_stage_only(broken: dict[str, float]) -> bool:
    """Tell whether a verdict is bad for nothing but limits of the stage."""
    return bool(broken) and all(
        name.partition(":")[0] in STAGE_LIMITS for name in broken
    )


def within_limits(ask: Ask, action: Action, layout: Layout) -> Layout | None:
    """Return the layout moved to keep the stage's limits, or None if nothing does.

    Args:
        ask: the shot with its stage.
        action: of the shot.
        layout: sticks or a track that breaks limits.
    """
    eyes = float(action.eyes[:, 1].mean())
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
        stage=ask.stage,
        height_m=lens_height(ask, layout.distance_m, eyes),
        aim_m=float(action.aim[:, 1].mean()),
        pan_speed=operator.max_speed,
        pan_accel=operator.max_accel,
        dolly_speed=grip.max_speed,
        dolly_accel=grip.max_accel,
    )
    if layout.kind == "sticks":
        found = feasible_sticks(wish, bounds, np.array([layout.x, layout.z]))
        x, z = found.places[0]
        return replace(layout, x=float(x), z=float(z)) if found.feasible else None
    along = -np.array([np.sin(layout.bearing), np.cos(layout.bearing)])
    middle = np.array([layout.x, layout.z])
    away = layout.offset[1] * np.array(
        [np.sin(layout.offset[0]), np.cos(layout.offset[0])]
    )
    s = layout.follow * ((wish.subject - away - middle) @ along)
    found = feasible_line(wish, bounds, LineFit(origin=middle, direction=along, s=s))
    laying = found.laying
    if not found.feasible or not isinstance(laying, Straight):
        return None
    low, high = laying.ends
    middle = laying.origin + laying.direction * (low + high) / 2
    asked = (wish.subject - away - middle) @ laying.direction
    share = float(np.ptp(laying.s)) / max(float(np.ptp(asked)), 1e-6)
    return replace(
        layout,
        x=float(middle[0]),
        z=float(middle[1]),
        bearing=float(np.arctan2(-laying.direction[0], -laying.direction[1])),
        follow=min(1.0, share),
        half_m=(high - low) / 2,
    )
