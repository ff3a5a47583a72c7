"""Proposes setups: for each lens, view and side the simplest rigs that hold the ideal.

The ideal place of the lens is where it gives the asked size at the asked view, kept at
a fixed bearing in the world while the subject moves; a curve through these places is
what a grip would lay. Bearings that turn with the subject would swing the camera on a
lever as long as the distance, so they are only proposed for arcs round a circle.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from ..arrays import FloatArray
from ..lens import Lens
from .action import Action
from .clearance import room_m
from .fit_arc import ArcRules, arc_fault, arc_through
from .fit_line import fit_line
from .fit_sticks import AZIMUTH_ASKED, AZIMUTH_OPEN, fit_sticks
from .layout import MOST_SWEEP, Layout
from .setup import Ask, View

PACES = (0.55, 0.9)  # shares of the dolly's top speed that a follow is laid for
NATURAL_TX = 0.31  # half-frame tangent of a lens that draws attention to nothing
NODES = 48  # ideal places that a curve is fitted through
FAST_SHARE = 0.95  # quantile of the speed that a follow is laid for
PARALLAX_RULES = ArcRules(most_sweep=2 * np.pi)


def propose_sticks(ask: Ask, action: Action) -> list[Layout]:
    """Return sticks worth trying, for every suitable lens and view."""
    if "sticks" not in ask.kinds:
        return []
    picks = _nodes(action)
    return [
        _sticks(ask, action, picks, lens, view)
        for lens, view in product(suitable(ask, action), ask.views)
    ]


def propose_rails(ask: Ask, action: Action, lenses: Sequence[Lens]) -> list[Layout]:
    """Return tracks, and for the first of the lenses arcs, worth trying."""
    picks = _nodes(action)
    found: list[Layout] = []
    if "track" in ask.kinds:
        for lens, view in product(lenses, ask.views):
            found.extend(_tracks(ask, action, picks, lens, view))
    if "arc" in ask.kinds:
        arc_lenses = lenses[: 1 if "track" in ask.kinds else len(lenses)]
        for lens, view in product(arc_lenses, ask.views):
            found.extend(_arcs(ask, action, picks, lens, view))
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
    tx, _ = ask.shot.gate.half_tangents(lens.focal_mm)
    return abs(float(np.log2(tx / NATURAL_TX)))


def _nodes(action: Action) -> np.ndarray:
    """Return the indices of up to NODES frames, evenly spread."""
    n = min(NODES, action.n_frames)
    return np.unique(np.linspace(0, action.n_frames - 1, n).round().astype(int))


def _flat(points: FloatArray) -> FloatArray:
    return np.ascontiguousarray(points[:, [0, 2]])


def _beside(bearing: float, distance: float) -> FloatArray:
    return -distance * np.array([np.sin(bearing), np.cos(bearing)])


def _sticks(
    ask: Ask, action: Action, picks: np.ndarray, lens: Lens, view: View
) -> Layout:
    distance = distance_of(ask, lens)
    bearing = action.main + view.bearing_rad
    weight = AZIMUTH_OPEN if len(ask.views) > 2 else AZIMUTH_ASKED
    wanted = distance * action.ratio[picks]
    place = fit_sticks(_flat(action.centre[picks]), wanted, bearing, weight)
    return Layout(
        kind="sticks",
        lens=lens,
        view=view,
        distance_m=distance,
        x=float(place[0]),
        z=float(place[1]),
        offset=(bearing, distance),
    )


def _follows(ask: Ask, s: FloatArray, times: FloatArray) -> list[float]:
    """Return the shares of the way that the dolly can comfortably cover, unequal."""
    speeds = np.abs(np.diff(s) / np.diff(times))
    fast = float(np.quantile(speeds, FAST_SHARE)) if len(speeds) else 0.0
    top = ask.shot.crew.grip.max_speed
    shares = [min(1.0, pace * top / fast) if fast > 0 else 1.0 for pace in PACES]
    return shares[:1] if shares[0] == shares[1] else shares


def _ends(s: FloatArray, times: FloatArray) -> tuple[float, float]:
    """Return the speed along the rail at both ends of the shot [m/s]."""
    step = np.diff(s) / np.diff(times)
    return (float(step[0]), float(step[-1])) if len(step) else (0.0, 0.0)


def _tracks(
    ask: Ask, action: Action, picks: np.ndarray, lens: Lens, view: View
) -> list[Layout]:
    if len(picks) < 3:
        return []
    distance = distance_of(ask, lens)
    bearing = action.main + view.bearing_rad
    times = action.times_s[picks]
    wanted = distance * action.ratio[picks]
    ideal = _flat(action.centre[picks]) + _beside(bearing, 1.0) * wanted[:, None]
    fit = fit_line(ideal, times)
    low, high = float(fit.s.min()), float(fit.s.max())
    middle = fit.origin + fit.direction * (low + high) / 2
    base = Layout(
        kind="track",
        lens=lens,
        view=view,
        distance_m=distance,
        x=float(middle[0]),
        z=float(middle[1]),
        bearing=float(np.arctan2(-fit.direction[0], -fit.direction[1])),
        offset=(bearing, distance),
        reach_m=(high - low) / 2,
        ends_m_s=_ends(fit.s, times),
    )
    hold = ask.hold or ("size" if action.resizes else "abreast")
    if hold != "abreast":
        return [replace(base, hold=hold)]
    return [replace(base, follow=f) for f in _follows(ask, fit.s, times)]


def _arcs(
    ask: Ask, action: Action, picks: np.ndarray, lens: Lens, view: View
) -> list[Layout]:
    if len(picks) < 3:
        return []
    distance = distance_of(ask, lens)
    times = action.times_s[picks]
    centre = _flat(action.centre[picks])
    fixed = action.main + view.bearing_rad
    turning = np.unwrap(action.heading[picks]) + view.bearing_rad
    wanted = (distance * action.ratio[picks])[:, None]
    swung = centre - wanted * np.column_stack([np.sin(turning), np.cos(turning)])
    hold = ask.hold or ("size" if action.resizes else "abreast")
    found = []
    for ideal, offset in (
        (centre + wanted * _beside(fixed, 1.0), (fixed, distance)),
        (swung, (fixed, 0.0)),
    ):
        fit = arc_through(ideal, times)
        if fit is None or arc_fault(fit, PARALLAX_RULES):
            continue
        radius = _stock_radius(ask, fit.radius)
        low, high = float(fit.s.min()), float(fit.s.max())
        follow = _follows(ask, fit.s, times)[-1]
        turned = (high - low) / fit.radius
        follow = min(follow, 0.9 * MOST_SWEEP / turned)
        if hold != "abreast":
            follow = min(1.0, 0.9 * MOST_SWEEP / turned)
        turn = 1.0 if fit.sweep > 0 else -1.0
        bearing = fit.start + turn * (low + high) / 2 / fit.radius
        x, z = fit.centre
        slide = radius - fit.radius
        found.append(
            Layout(
                kind="arc",
                lens=lens,
                view=view,
                distance_m=distance,
                x=float(x + np.sin(bearing) * slide),
                z=float(z + np.cos(bearing) * slide),
                bearing=float(bearing),
                radius_m=radius,
                turn=turn,
                offset=offset,
                reach_m=(high - low) / 2,
                ends_m_s=_ends(fit.s, times),
                follow=follow,
                hold=hold,
            )
        )
    return found


def _stock_radius(ask: Ask, radius: float) -> float:
    """Return the radius of curved track in stock that is nearest, or the radius."""
    stock = ask.stage.curve_radii_m
    return min(stock, key=lambda r: abs(r - radius)) if stock else radius
