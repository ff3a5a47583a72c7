"""A layout: the few numbers that a grip would chalk on the floor for a rig.

A layout is what is searched; `build` turns it into a setup, rounded as it is written
and with the run-up and run-out that the dolly needs to be in step at the cut.
"""

from math import cos, degrees, pi, radians, sin, tan
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, frozen
from ..optics.lens import Lens
from ..rigs.rig import Rig, arc, sticks, track
from ..stage.stage import Stage
from .descend import Steps
from .setup import Ask, Setup, View

LEAST_RANGE_M = 0.5  # a dolly that covers less is sticks
MOST_SWEEP = radians(120)  # of an arc; more is a hook that nobody lays
LEAST_RADIUS_M, MOST_RADIUS_M = 1.5, 40.0
ROUND_M = 1e-3
ROUND_RAD = radians(0.01)
RISE = {"below": radians(-12), "level": 0.0, "above": radians(15)}


class Layout(NamedTuple):
    """A rig on the ground plane, x and z in metres, bearings about the up axis.

    Attributes:
        kind: sticks, track or arc.
        lens, view: what it is laid for.
        distance_m: at which the lens gives the asked size.
        height_m: of the lens, see `lens_height`.
        x, z: of the lens (sticks), the middle of the rail (track), the centre (arc).
        bearing: along the track, or of the middle of the arc from its centre [rad].
        radius_m: of the arc.
        turn: +1 where s runs counter-clockwise on the arc.
        offset: bearing and length [rad, m] of the ideal place from the subject.
        reach_m: rail on either side of the middle that the subject's whole way takes.
        ends_m_s: speed of the ideal place along the rail at cut-in and cut-out.
        follow: share of the way that the dolly covers.
        hold: what the dolly keeps, see `Shot`.
        half_m: half of the rail's length where that is given; else the rail is as
            long as the way covered takes, with run-up and run-out.
    """

    kind: str
    lens: Lens
    view: View
    distance_m: float
    height_m: float
    x: float
    z: float
    bearing: float = 0.0
    radius_m: float = 0.0
    turn: float = 1.0
    offset: tuple[float, float] = (0.0, 0.0)
    reach_m: float = 0.0
    ends_m_s: tuple[float, float] = (0.0, 0.0)
    follow: float = 1.0
    hold: str = "abreast"
    half_m: float | None = None


def moved(layout: Layout, steps: Steps) -> Layout:
    """Return a layout changed by the steps of a search.

    Sticks: away from the subject [m], across [m]. Rails: away [m], a turn of the track
    or a share of the radius, and a factor on how much is followed, as its logarithm.
    """
    bearing = layout.offset[0]
    away, across, grow = steps
    x = layout.x - sin(bearing) * away
    z = layout.z - cos(bearing) * away
    if layout.kind == "sticks":
        x, z = x - cos(bearing) * across, z + sin(bearing) * across
        return layout._replace(x=x, z=z)
    follow = min(1.0, layout.follow * float(np.exp(grow)))
    if layout.kind == "track":
        bearing = layout.bearing + across
        return layout._replace(x=x, z=z, bearing=bearing, follow=follow)
    radius = layout.radius_m * float(np.exp(across))
    # The middle of the rail stays where it is.
    slide = radius - layout.radius_m
    return layout._replace(
        x=x + sin(layout.bearing) * slide,
        z=z + cos(layout.bearing) * slide,
        radius_m=radius,
        follow=follow,
    )


def build(layout: Layout, ask: Ask) -> Setup | None:
    """Return the setup of a layout, or None where it is not worth a rail.

    Args:
        layout: the layout.
        ask: the shot with its stage, crew limits and stock.
    """
    if layout.kind == "sticks":
        rig = sticks(_place(layout.x, layout.height_m, layout.z))
        return Setup(lens=layout.lens, rig=rig, view=layout.view)
    laid = _rail(layout, ask)
    if laid is None:
        return None
    bearing, length = layout.offset
    return Setup(
        lens=layout.lens,
        rig=laid,
        view=layout.view,
        hold=layout.hold,
        view_rad=layout.view.bearing_rad,
        offset=(_mm(-sin(bearing) * length), 0.0, _mm(-cos(bearing) * length)),
        follow=round(layout.follow, 3),
    )


def at_height(rig: Rig, height_m: float) -> Rig:
    """Return a rig with its lens at one height all along [m]."""
    shape = rig.shape
    origin = np.array(shape.origin)
    if rig.kind == "track":
        end = origin + shape.length * shape.direction
        origin[1] = end[1] = height_m
        return track(origin, end)
    origin[1] = height_m
    return Rig(shape=shape._replace(origin=frozen(origin)))


def lens_height(ask: Ask, distance_m: float, eyes_m: float) -> float:
    """Return the height of the lens that an angle asks for, as the stage allows [m].

    Args:
        ask: the shot with its stage.
        distance_m: of the lens.
        eyes_m: height of the eyes, from which angles of view are counted.
    """
    if ask.height_m is not None:
        return ask.height_m
    angle = ask.shot.framings[0].angle
    rise = RISE[angle] if isinstance(angle, str) else radians(angle)
    low, high = ask.stage.heights
    return _mm(min(max(eyes_m + distance_m * tan(rise), low), high))


def _place(x: float, height: float, z: float) -> FloatArray:
    return frozen((_mm(x), height, _mm(z)))


def _rail(layout: Layout, ask: Ask) -> Rig | None:
    grip = ask.shot.crew.grip
    runs = [
        speed * speed / (2 * grip.max_accel) + 0.5 * speed
        for speed in (abs(v) * layout.follow for v in layout.ends_m_s)
    ]
    half = layout.follow * layout.reach_m
    if 2 * half < LEAST_RANGE_M:
        return None
    half = half + max(runs) if layout.half_m is None else layout.half_m
    if layout.kind == "track":
        half = in_sections(2 * half, ask.stage) / 2
        dx, dz = -sin(layout.bearing) * half, -cos(layout.bearing) * half
        return track(
            _place(layout.x - dx, layout.height_m, layout.z - dz),
            _place(layout.x + dx, layout.height_m, layout.z + dz),
        )
    radius = _mm(layout.radius_m)
    if not LEAST_RADIUS_M <= radius <= MOST_RADIUS_M:
        return None
    sweep = min(2 * half / radius, MOST_SWEEP)
    sweep = max(_cdeg(sweep), ROUND_RAD)
    start = _cdeg(layout.bearing - layout.turn * sweep / 2)
    centre = _place(layout.x, layout.height_m, layout.z)
    return arc(centre, radius=radius, start=start, sweep=layout.turn * sweep)


def in_sections(length_m: float, stage: Stage) -> float:
    """Return the length of straight track that the stock makes of a length [m]."""
    if stage.straight_m is None:
        return length_m
    return float(np.ceil(length_m / stage.straight_m - 1e-9)) * stage.straight_m


def _mm(value: float) -> float:
    return round(value / ROUND_M) * ROUND_M


def _cdeg(value: float) -> float:
    return round(degrees(value), 2) * pi / 180
