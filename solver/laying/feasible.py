"""The best sticks, track or arc near a candidate that every limit allows.

Each runs the sequential programme of `sequential`; where a candidate is stopped, from a
few other starts too, since what it finds is the best of a neighbourhood. Where nothing
is found, the breaches left say what is in the way.
"""

from dataclasses import replace
from math import atan2, ceil, pi

import numpy as np

from ..arrays import FloatArray
from .fit_arc import ArcFit
from .fit_line import LineFit
from .laying import Bounds, Curved, Standing, Straight, Wish
from .sequential import KEPT, Laid, best_of, lay
from .stock import in_sections, room_of


def feasible_sticks(wish: Wish, bounds: Bounds, place: FloatArray) -> Laid:
    """Return the best place for sticks near one, (2,) [m].

    Where it breaks a limit, places all round the subject are tried too.
    """
    found = lay(Standing(place=np.asarray(place, dtype=np.float64)), wish, bounds)
    if found.feasible:
        return found
    middle, distance = wish.subject.mean(axis=0), float(wish.distance_m.mean())
    angles = wish.azimuth[0] + np.arange(4) * pi / 2
    ring = middle - distance * np.column_stack((np.sin(angles), np.cos(angles)))
    tries = [lay(Standing(place=point), wish, bounds) for point in ring]
    return best_of([found, *tries])


def feasible_line(wish: Wish, bounds: Bounds, line: LineFit) -> Laid:
    """Return the best straight track near a fitted line.

    Of whole sections where the stock has a section; where not even one has room, the
    limit "rail" is broken by what is missing.

    Args:
        wish: at the times of the line's fit or at other nodes that span them.
        bounds: limits.
        line: where to begin; its motion is read at equal steps.
    """
    straight = Straight(
        origin=line.origin,
        angle=atan2(line.direction[1], line.direction[0]),
        s=_at_nodes(line.s, len(wish.times_s)),
        ends=(float(line.s.min()), float(line.s.max())),
    )
    found = _around_keep_outs(straight, wish, bounds)
    section, ends = bounds.stage.straight_m, found.laying.ends
    if section is None or not found.feasible:
        return found
    for n in range(ceil((ends[1] - ends[0]) / section - 1e-9), 0, -1):
        whole = in_sections(found, n * section)
        if whole is not None:
            return whole
        # Less what a limit may be broken by and still count as kept.
        length_m = min(bounds.rail_m, (n - 1) * section) - KEPT
        if n > 1:
            found = lay(found.laying, wish, replace(bounds, rail_m=length_m))
    short_m = section - room_of(found)
    return replace(found, breaches={**found.breaches, "rail": max(short_m, 2 * KEPT)})


def feasible_arc(wish: Wish, bounds: Bounds, arc: ArcFit) -> Laid:
    """Return the best arc near a fitted one, of the stock's radii if it names any."""
    radii = bounds.stage.curve_radii_m
    length = arc.radius * abs(arc.sweep)
    middle = arc.start + arc.sweep / 2
    out = -np.array((np.sin(middle), np.cos(middle)))
    s = _at_nodes(arc.s, len(wish.times_s)) - length / 2
    begun = Curved(
        centre=arc.centre,
        radius=arc.radius,
        angle=middle,
        turn=1.0 if arc.sweep > 0 else -1.0,
        s=s,
        ends=(float(s.min()), float(s.max())),
        free_radius=not radii,
    )
    tries = [
        lay(
            replace(begun, radius=r, centre=arc.centre + (arc.radius - r) * out),
            wish,
            bounds,
        )
        for r in radii or (arc.radius,)
    ]
    return best_of(tries)


def _around_keep_outs(straight: Straight, wish: Wish, bounds: Bounds) -> Laid:
    """Lay track, and where a keep-out stops it, try again from beside each."""
    found = lay(straight, wish, bounds)
    if found.feasible:
        return found
    tries = [found]
    for low, high in bounds.stage.keep_outs[:, :, ::2]:
        half = 0.5 * float(np.hypot(*(high - low))) + bounds.clearance_m
        off = (0.5 * (low + high) - straight.origin) @ straight.normal
        for side in (-1.0, 1.0):
            shift = (off + side * half) * straight.normal
            beside = replace(straight, origin=straight.origin + shift)
            tries.append(lay(beside, wish, bounds))
    return best_of(tries)


def _at_nodes(s: FloatArray, n_nodes: int) -> FloatArray:
    """Return places along a rail at equal steps."""
    steps = np.linspace(0.0, len(s) - 1.0, n_nodes)
    return np.interp(steps, np.arange(len(s)), s)
