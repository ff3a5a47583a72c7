"""Sticks, track and arcs moved to where the stage allows them, by the convex programme.

A layout that is good but for the floor, a keep-out or the least distance is the start
of a sequential convex programme, whose answer keeps these limits with a certificate.
It says where a fully rehearsed crew would lay the rig; whether that is any better for
the real crew, a trial decides.
"""

import numpy as np

from ..action.rehearsed import Action
from ..arrays import FloatArray
from ..laying.feasible import feasible_arc, feasible_line, feasible_sticks
from ..laying.fit_arc import ArcFit
from ..laying.fit_line import LineFit
from ..laying.laying import Bounds, Curved, Straight, Wish, wish_at_nodes
from .judge import SIZE_KEPT_LOG2
from .layout import Layout
from .setup import Ask

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
        layout: sticks, or a rail on which the dolly keeps abreast, that breaks limits.
    """
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
        height_m=layout.height_m,
        aim_m=float(action.aim[:, 1].mean()),
        pan_speed=operator.max_speed,
        pan_accel=operator.max_accel,
        dolly_speed=grip.max_speed,
        dolly_accel=grip.max_accel,
    )
    if layout.kind == "sticks":
        found = feasible_sticks(wish, bounds, np.array([layout.x, layout.z]))
        x, z = found.places[0]
        return layout._replace(x=float(x), z=float(z)) if found.feasible else None
    if layout.kind == "arc":
        return _arc_within(layout, wish, bounds)
    return _track_within(layout, wish, bounds)


def _ideal_places(layout: Layout, wish: Wish) -> FloatArray:
    """Return where the dolly would be abreast at the nodes, (n, 2) [m]."""
    bearing, length = layout.offset
    return wish.subject - length * np.array([np.sin(bearing), np.cos(bearing)])


def _share(followed: FloatArray, whole: FloatArray) -> float:
    """Return the share of the whole way (n,) that a dolly covers (n,), at most 1."""
    return min(1.0, float(np.ptp(followed)) / max(float(np.ptp(whole)), 1e-6))


def _track_within(layout: Layout, wish: Wish, bounds: Bounds) -> Layout | None:
    along = -np.array([np.sin(layout.bearing), np.cos(layout.bearing)])
    middle = np.array([layout.x, layout.z])
    ideal = _ideal_places(layout, wish)
    s = layout.follow * ((ideal - middle) @ along)
    found = feasible_line(wish, bounds, LineFit(origin=middle, direction=along, s=s))
    laying = found.laying
    if not found.feasible or not isinstance(laying, Straight):
        return None
    low, high = laying.ends
    middle = laying.origin + laying.direction * (low + high) / 2
    return layout._replace(
        x=float(middle[0]),
        z=float(middle[1]),
        bearing=float(np.arctan2(-laying.direction[0], -laying.direction[1])),
        follow=_share(laying.s, (ideal - middle) @ laying.direction),
        half_m=(high - low) / 2,
    )


def _along_arc(
    places: FloatArray, centre: FloatArray, bearing: float, turned_m: float
) -> FloatArray:
    """Return the way of places round a centre from a bearing, (n,) [m].

    `turned_m` is the radius, below zero where s runs clockwise.
    """
    off = places - centre
    angles = np.unwrap(np.arctan2(-off[:, 0], -off[:, 1]) - bearing)
    whole = 2 * np.pi * np.round(np.median(angles) / (2 * np.pi))
    along: FloatArray = turned_m * (angles - whole)
    return along


def _arc_within(layout: Layout, wish: Wish, bounds: Bounds) -> Layout | None:
    centre = np.array([layout.x, layout.z])
    ideal = _ideal_places(layout, wish)
    turned_m = layout.turn * layout.radius_m
    s = layout.follow * _along_arc(ideal, centre, layout.bearing, turned_m)
    half = float(np.abs(s).max())
    fit = ArcFit(
        centre=centre,
        radius=layout.radius_m,
        start=layout.bearing - half / turned_m,
        sweep=2 * half / turned_m,
        s=s + half,
    )
    found = feasible_arc(wish, bounds, fit)
    laying = found.laying
    if not found.feasible or not isinstance(laying, Curved):
        return None
    low, high = laying.ends
    turned_m = laying.turn * laying.radius
    bearing = laying.angle + (low + high) / 2 / turned_m
    whole = _along_arc(ideal, laying.centre, bearing, turned_m)
    return layout._replace(
        x=float(laying.centre[0]),
        z=float(laying.centre[1]),
        bearing=float(bearing),
        radius_m=laying.radius,
        follow=_share(laying.s, whole),
        half_m=(high - low) / 2,
    )
