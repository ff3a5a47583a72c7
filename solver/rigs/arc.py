"""A dolly on a level arc of track."""

from dataclasses import dataclass, replace
from math import radians
from typing import ClassVar

import numpy as np

from ..arrays import FloatArray, frozen
from ..compiled.kernel import kernel
from ..elementary.arctangent import acos, atan2
from ..elementary.exponential import exp
from ..elementary.length import hypot
from ..elementary.trigonometry import cos, sin, sin_cos
from ..errors import SolverError
from ..laying.feasible import feasible_arc
from ..laying.fit_arc import ArcFit, ArcRules, arc_fault
from ..laying.laying import Bounds, Curved, Wish
from ..laying.way import Way
from ..stage.stage import Stage
from .kind import RigKind
from .layout import (
    AWAY_M,
    GROW,
    ROUND_RAD,
    TURN_RAD,
    Layout,
    RailLayout,
    RigWish,
    Steps,
    beside,
    follows,
    in_cdeg,
    in_mm,
    lens_place,
    share_followed,
)
from .shape import (
    ARC,
    SHORTEST_M,
    RigShape,
    StudiedRig,
    clamped,
    distance_miss,
    nearer_miss,
)

NAME = "arc"
MOST_SWEEP = radians(120)  # of an arc; more is a hook that nobody lays
LEAST_RADIUS_M, MOST_RADIUS_M = 1.5, 40.0
PARALLAX_RULES = ArcRules(most_sweep=2 * np.pi)


class Arc(StudiedRig):
    """A dolly on a level arc; `origin` of its shape is the centre at lens height."""

    __slots__ = ()
    kind = NAME

    @property
    def heights_m(self) -> tuple[float, float]:
        """See `Rig`."""
        height = float(self.shape.origin[1])
        return height, height

    def places(self, s: FloatArray) -> FloatArray:
        """See `Rig`."""
        shape = self.shape
        angles = (shape.start + shape.turn * s / shape.radius).tolist()
        out = np.empty((len(s), 3))
        out[:, 0] = shape.origin[0] - shape.radius * np.array(list(map(sin, angles)))
        out[:, 1] = shape.origin[1]
        out[:, 2] = shape.origin[2] - shape.radius * np.array(list(map(cos, angles)))
        return out

    def feet(self, points: FloatArray, near_s: FloatArray) -> FloatArray:
        """See `Rig`."""
        shape = self.shape
        centre = shape.origin[[0, 2]]
        turned = shape.turn * shape.radius
        off = round_centre(points[:, [0, 2]], centre, shape.start, turned)
        full = 2 * np.pi * shape.radius
        whole: FloatArray = off + full * np.round(np.median(near_s - off) / full)
        return whole

    def at_height(self, height_m: float) -> "Arc":
        """See `Rig`."""
        centre = np.array(self.shape.origin)
        centre[1] = height_m
        return Arc(self.shape._replace(origin=frozen(centre)))

    def longer(self, before_m: float, after_m: float) -> "Arc":
        """See `Rig`."""
        shape = self.shape
        turn = shape.turn / shape.radius
        return arc(
            shape.origin,
            radius=shape.radius,
            start=shape.start - turn * before_m,
            sweep=turn * (before_m + shape.length + after_m),
        )


def arc(centre: FloatArray, *, radius: float, start: float, sweep: float) -> Arc:
    """Return a level arc.

    Args:
        centre: centre at lens height, (3,) [m].
        radius: of the lens's path [m], > 0.
        start: angle of s = 0 [rad], 0 on the centre's -Z side.
        sweep: signed angle covered [rad], not 0, positive counter-clockwise.

    Raises:
        SolverError: radius or path shorter than a millimetre.
    """
    length = radius * abs(sweep)
    if radius < SHORTEST_M or length < SHORTEST_M:
        message = f"arc: must be longer than 0.001 m, got {length:g} m"
        raise SolverError(message)
    return Arc(
        RigShape(
            ARC,
            float(length),
            frozen(centre),
            radius=float(radius),
            start=float(start),
            turn=1.0 if sweep > 0 else -1.0,
        )
    )


def round_centre(
    places: FloatArray, centre: FloatArray, bearing: float, turned_m: float
) -> FloatArray:
    """Return the way of places (n, 2) round a centre from a bearing, (n,) [m].

    Its median is less than half a turn. `turned_m` is the radius, below zero where s
    runs clockwise.
    """
    off = places - centre
    angles = np.unwrap(np.arctan2(-off[:, 0], -off[:, 1]) - bearing)
    whole = 2 * np.pi * np.round(np.median(angles) / (2 * np.pi))
    along: FloatArray = turned_m * (angles - whole)
    return along


@dataclass(frozen=True, kw_only=True, slots=True)
class ArcLayout(RailLayout):
    """An arc about `x` and `z`, its middle at `bearing` from there.

    Steps go away [m], grow the radius and what is followed (logarithms); the middle of
    the rail stays where it is as the radius grows.

    Attributes:
        radius_m: of the lens's path.
        turn: +1 where s runs counter-clockwise.
    """

    kind: ClassVar[str] = NAME

    radius_m: float
    turn: float

    def first_steps(self, stage: Stage) -> Steps:
        """See `Layout`; the radius is that of the stock, where there is a stock."""
        grow = 0.0 if stage.curve_radii_m else TURN_RAD
        return AWAY_M * self.distance_m, grow, GROW

    def moved(self, steps: Steps) -> "ArcLayout":
        """See `Layout`."""
        x, z = self.away(steps[0])
        radius = self.radius_m * exp(steps[1])
        slide = radius - self.radius_m
        return replace(
            self,
            x=x + sin(self.bearing) * slide,
            z=z + cos(self.bearing) * slide,
            radius_m=radius,
            follow=self.grown(steps[2]),
        )

    def built(self, stage: Stage, dolly_accel: float) -> Arc | None:
        """See `Layout`."""
        half = self.half_length(dolly_accel)
        radius = in_mm(self.radius_m)
        if half is None or not LEAST_RADIUS_M <= radius <= MOST_RADIUS_M:
            return None
        sweep = min(2 * half / radius, MOST_SWEEP)
        sweep = max(in_cdeg(sweep), ROUND_RAD)
        start = in_cdeg(self.bearing - self.turn * sweep / 2)
        centre = lens_place(self.x, self.height_m, self.z)
        return arc(centre, radius=radius, start=start, sweep=self.turn * sweep)

    def within(self, wish: Wish, bounds: Bounds) -> "ArcLayout | None":
        """See `Layout`."""
        centre = np.array([self.x, self.z])
        ideal = self.ideal_places(wish.subject)
        turned_m = self.turn * self.radius_m
        s = self.follow * round_centre(ideal, centre, self.bearing, turned_m)
        half = float(np.abs(s).max())
        fit = ArcFit(
            centre=centre,
            radius=self.radius_m,
            start=self.bearing - half / turned_m,
            sweep=2 * half / turned_m,
            s=s + half,
        )
        found = feasible_arc(wish, bounds, fit)
        laid = found.laying
        if not found.feasible or not isinstance(laid, Curved):
            return None
        low, high = laid.ends
        turned_m = laid.turn * laid.radius
        bearing = laid.angle + (low + high) / 2 / turned_m
        whole = round_centre(ideal, laid.centre, bearing, turned_m)
        return replace(
            self,
            x=float(laid.centre[0]),
            z=float(laid.centre[1]),
            bearing=float(bearing),
            radius_m=laid.radius,
            follow=share_followed(laid.s, whole),
            half_m=(high - low) / 2,
        )


def propose(wanted: RigWish, way: Way) -> list[Layout]:
    """Return arcs beside the way, and round the place that a turning subject faces.

    Bearings that turn with the subject would swing the camera on a lever as long as
    the distance, so they are only proposed for arcs round a circle.
    """
    fixed, distance = wanted.bearing_rad, wanted.distance_m
    found: list[Layout] = []
    for curve, offset in (
        (way.arc(beside(fixed, distance)), (fixed, distance)),
        (way.swung(wanted.view_rad, distance), (fixed, 0.0)),
    ):
        if curve is None or arc_fault(curve.fit, PARALLAX_RULES):
            continue
        fit, low, high = curve.fit, curve.low_m, curve.high_m
        radius = _stock_radius(wanted.stage, fit.radius)
        most = 0.9 * MOST_SWEEP * fit.radius / (high - low)
        keeps = wanted.hold == "abreast"
        paced = follows(wanted, curve.fast_m_s)[-1] if keeps else 1.0
        turn = 1.0 if fit.sweep > 0 else -1.0
        bearing = fit.start + turn * (low + high) / 2 / fit.radius
        x, z = fit.centre.tolist()
        slide = radius - fit.radius
        found.append(
            ArcLayout(
                distance_m=distance,
                height_m=wanted.height_m,
                x=x + sin(bearing) * slide,
                z=z + cos(bearing) * slide,
                bearing=bearing,
                radius_m=radius,
                turn=turn,
                offset=offset,
                reach_m=(high - low) / 2,
                ends_m_s=curve.ends_m_s,
                follow=min(paced, most),
                hold=wanted.hold,
            )
        )
    return found


def _stock_radius(stage: Stage, radius: float) -> float:
    """Return the radius of curved track in stock that is nearest, or the radius."""
    stock = stage.curve_radii_m
    return min(stock, key=lambda r: abs(r - radius)) if stock else radius


ARC_KIND = RigKind(
    name=NAME,
    price=4.0,
    price_per_m=0.20,
    propose=propose,
)


@kernel
def arc_place(rig, s):
    """Return the lens's x, y, z at rail position s."""
    angle = rig.start + rig.turn * s / rig.radius
    sine, cosine = sin_cos(angle)
    return (
        rig.origin[0] - rig.radius * sine,
        rig.origin[1],
        rig.origin[2] - rig.radius * cosine,
    )


@kernel
def arc_s(rig, angle, near):
    """Return s of a world angle: of the turns on the rail, the nearest to `near`.

    Where none is on the rail, the turn that is the least beyond an end.
    """
    full = 2 * np.pi * rig.radius
    s = rig.turn * (angle - rig.start) * rig.radius
    s += full * np.round((near - s) / full)
    inward = s + full if s < 0.0 else s - full
    beyond = abs(s - clamped(s, rig.length))
    return inward if abs(inward - clamped(inward, rig.length)) < beyond else s


@kernel
def arc_nearest(rig, x, z):
    """Return the s nearest to a point, beyond the ends too."""
    angle = atan2(-(x - rig.origin[0]), -(z - rig.origin[2]))
    return arc_s(rig, angle, rig.length / 2)


@kernel
def arc_distance_s(rig, point, distance, present):
    """See `rig.distance_s`."""
    x, y, z = point
    dx, dy, dz = x - rig.origin[0], y - rig.origin[1], z - rig.origin[2]
    off = hypot(dx, dz)
    angle = atan2(-dx, -dz)
    if off < 1e-9:
        return present
    cosine = (rig.radius**2 + off**2 + dy**2 - distance**2) / (2 * rig.radius * off)
    swing = acos(min(1.0, max(-1.0, cosine)))
    a = clamped(arc_s(rig, angle - swing, present), rig.length)
    b = clamped(arc_s(rig, angle + swing, present), rig.length)
    ax, ay, az = arc_place(rig, a)
    bx, by, bz = arc_place(rig, b)
    miss_a = distance_miss(ax, ay, az, x, y, z, distance)
    miss_b = distance_miss(bx, by, bz, x, y, z, distance)
    return nearer_miss(a, miss_a, b, miss_b, present)


@kernel
def arc_bearing_s(rig, x, z, ray, present):
    """See `rig.bearing_s`; `ray` is the bearing's unit vector."""
    rx, rz = ray
    dx, dz = x - rig.origin[0], z - rig.origin[2]
    along = dx * rx + dz * rz
    root = along**2 - (dx * dx + dz * dz - rig.radius**2)
    if root < 0.0:
        return present
    best = present
    gap = beyond = np.inf
    for sign in (-1.0, 1.0):
        far = -along + sign * np.sqrt(root)
        if far > 0.0:
            angle = atan2(-(dx + far * rx), -(dz + far * rz))
            turned = arc_s(rig, angle, present)
            s = clamped(turned, rig.length)
            over = abs(turned - s)
            # A true crossing comes before an end that is only nearer to one.
            if over < beyond or (over == beyond and abs(s - present) < gap):
                beyond, gap, best = over, abs(s - present), s
    return best
