"""Proposes setups: for each lens, view and side the simplest rigs that hold the ideal.

The ideal place of the lens is where it gives the asked size at the asked view, kept at
a fixed bearing in the world while the subject moves; a curve through these places is
what a grip would lay. Bearings that turn with the subject would swing the camera on a
lever as long as the distance, so they are only proposed for arcs round a circle.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import product
from math import atan2, cos, sin

import numpy as np

from ..action.rehearsed import Action
from ..arrays import FloatArray
from ..laying.fit_arc import ArcRules, arc_fault
from ..laying.fit_sticks import AZIMUTH_ASKED, AZIMUTH_OPEN
from ..optics.camera import Gate
from ..optics.lens import Lens
from ..stage.clearance import room_m
from .layout import MOST_SWEEP, Layout, lens_height
from .setup import Ask, View
from .way import Way

PACES = (0.55, 0.9)  # shares of the dolly's top speed that a follow is laid for
NATURAL_TX = 0.31  # half-frame tangent of a lens that draws attention to nothing
LEAST_NODES = 3  # of a way that a rail is laid along
PARALLAX_RULES = ArcRules(most_sweep=2 * np.pi)


def propose_sticks(ask: Ask, way: Way) -> list[Layout]:
    """Return sticks worth trying, for every suitable lens and view."""
    if "sticks" not in ask.kinds:
        return []
    return [
        _sticks(ask, way, lens, view)
        for lens, view in product(suitable(ask, way.action), ask.views)
    ]


def propose_rails(
    ask: Ask,
    way: Way,
    lenses: Sequence[Lens],
    may_pay: Callable[[str, Lens, View], bool] = lambda kind, lens, view: True,
) -> list[Layout]:
    """Return tracks, and for the first of the lenses arcs, worth trying.

    Args:
        ask: the shot and what its setup may be.
        way: of the shot's subjects.
        lenses: for which rails are laid, the first one first.
        may_pay: whether a kind of rig may be worth its price with a lens on a view.
    """
    if len(way.times_s) < LEAST_NODES:
        return []
    arc_lenses = lenses[: 1 if "track" in ask.kinds else len(lenses)]
    found: list[Layout] = []
    for kind, some, lay in (("track", lenses, _tracks), ("arc", arc_lenses, _arcs)):
        for lens, view in product(some if kind in ask.kinds else (), ask.views):
            if may_pay(kind, lens, view):
                found.extend(lay(ask, way, lens, view))
    return found


def suitable(ask: Ask, action: Action) -> tuple[Lens, ...]:
    """Return the lenses whose distance for the size the stage has room for."""
    room = room_m(ask.stage, action.centre)
    near = ask.stage.min_distance_m
    fits = tuple(
        lens
        for lens in ask.lenses
        if max(near, lens.close_focus_m) <= distance_of(ask, lens) <= room
    )
    return fits or ask.lenses


def distance_of(ask: Ask, lens: Lens) -> float:
    """Return the distance at which a lens gives the shot's first size [m]."""
    shot = ask.shot
    return shot.framings[0].distance_m * lens.focal_mm / shot.lens.focal_mm


def unnatural(ask: Ask, lens: Lens) -> float:
    """Return how far a lens is from one that draws no attention, in octaves."""
    return _unnatural(ask.shot.gate, lens.focal_mm)


@lru_cache(maxsize=256)
def _unnatural(gate: Gate, focal_mm: float) -> float:
    tx, _ = gate.half_tangents(focal_mm)
    return abs(float(np.log2(tx / NATURAL_TX)))


def _beside(bearing: float, distance: float) -> FloatArray:
    return np.array((-distance * sin(bearing), -distance * cos(bearing)))


def _sticks(ask: Ask, way: Way, lens: Lens, view: View) -> Layout:
    distance = distance_of(ask, lens)
    bearing = way.action.main + view.bearing_rad
    weight = AZIMUTH_OPEN if len(ask.views) > 2 else AZIMUTH_ASKED
    x, z = way.stand(bearing, distance, weight)
    return Layout(
        kind="sticks",
        lens=lens,
        view=view,
        distance_m=distance,
        height_m=lens_height(ask, distance, way.eyes_m),
        x=x,
        z=z,
        offset=(bearing, distance),
    )


def _follows(ask: Ask, fast: float) -> list[float]:
    """Return the shares of the way that the dolly can comfortably cover, unequal."""
    top = ask.shot.crew.grip.max_speed
    shares = [min(1.0, pace * top / fast) if fast > 0 else 1.0 for pace in PACES]
    return shares[:1] if shares[0] == shares[1] else shares


def _hold(ask: Ask, way: Way) -> str:
    return ask.hold or ("size" if way.action.resizes else "abreast")


def _tracks(ask: Ask, way: Way, lens: Lens, view: View) -> list[Layout]:
    distance = distance_of(ask, lens)
    bearing = way.action.main + view.bearing_rad
    curve = way.line(_beside(bearing, distance))
    (x, z), (along_x, along_z) = curve.fit.origin.tolist(), curve.fit.direction.tolist()
    middle = (curve.low_m + curve.high_m) / 2
    base = Layout(
        kind="track",
        lens=lens,
        view=view,
        distance_m=distance,
        height_m=lens_height(ask, distance, way.eyes_m),
        x=x + along_x * middle,
        z=z + along_z * middle,
        bearing=atan2(-along_x, -along_z),
        offset=(bearing, distance),
        reach_m=(curve.high_m - curve.low_m) / 2,
        ends_m_s=curve.ends_m_s,
    )
    hold = _hold(ask, way)
    if hold != "abreast":
        return [base._replace(hold=hold)]
    return [base._replace(follow=f) for f in _follows(ask, curve.fast_m_s)]


def _arcs(ask: Ask, way: Way, lens: Lens, view: View) -> list[Layout]:
    distance = distance_of(ask, lens)
    fixed = way.action.main + view.bearing_rad
    hold = _hold(ask, way)
    found = []
    for curve, offset in (
        (way.arc(_beside(fixed, distance)), (fixed, distance)),
        (way.swung(view.bearing_rad, distance), (fixed, 0.0)),
    ):
        if curve is None or arc_fault(curve.fit, PARALLAX_RULES):
            continue
        fit, low, high = curve.fit, curve.low_m, curve.high_m
        radius = _stock_radius(ask, fit.radius)
        most = 0.9 * MOST_SWEEP * fit.radius / (high - low)
        paced = _follows(ask, curve.fast_m_s)[-1] if hold == "abreast" else 1.0
        turn = 1.0 if fit.sweep > 0 else -1.0
        bearing = fit.start + turn * (low + high) / 2 / fit.radius
        x, z = fit.centre.tolist()
        slide = radius - fit.radius
        found.append(
            Layout(
                kind="arc",
                lens=lens,
                view=view,
                distance_m=distance,
                height_m=lens_height(ask, distance, way.eyes_m),
                x=x + sin(bearing) * slide,
                z=z + cos(bearing) * slide,
                bearing=bearing,
                radius_m=radius,
                turn=turn,
                offset=offset,
                reach_m=(high - low) / 2,
                ends_m_s=curve.ends_m_s,
                follow=min(paced, most),
                hold=hold,
            )
        )
    return found


def _stock_radius(ask: Ask, radius: float) -> float:
    """Return the radius of curved track in stock that is nearest, or the radius."""
    stock = ask.stage.curve_radii_m
    return min(stock, key=lambda r: abs(r - radius)) if stock else radius
