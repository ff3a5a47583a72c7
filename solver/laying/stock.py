"""Track in whole sections: how far a rail that is laid can be drawn out."""

from dataclasses import replace

import numpy as np

from ..arrays import FloatArray
from ..stage.stage import floor_rows
from .laying import Bounds, Straight
from .rows import in_the_way
from .sequential import Laid


def in_sections(found: Laid, length_m: float) -> Laid | None:
    """Return a straight laying whose rail is drawn out to a length, if there is room.

    The rail is drawn out at both ends alike as far as floor and keep-outs let it.
    """
    laying = found.laying
    assert isinstance(laying, Straight)
    low, high = laying.ends
    first, last = room_along(found.bounds, laying.origin, laying.direction, low, high)
    spare = length_m - (high - low)
    if spare < -1e-9 or last - first < length_m:
        return None
    start = min(max(low - spare / 2, first), last - length_m)
    start = min(max(start, high - length_m), low)
    ends = np.array((start - low, start + length_m - high))
    none = np.zeros_like(laying.s)
    return replace(found, laying=laying.moved(np.zeros(2), ends, none))


def room_of(found: Laid) -> float:
    """Return how long the rail of a straight laying could be where it lies [m]."""
    laying = found.laying
    assert isinstance(laying, Straight)
    along = (laying.origin, laying.direction)
    first, last = room_along(found.bounds, *along, *laying.ends)
    return last - first


def room_along(
    bounds: Bounds, origin: FloatArray, direction: FloatArray, low: float, high: float
) -> tuple[float, float]:
    """Return how far a rail from `low` to `high` can be drawn out, as places on it [m].

    The rail itself must be clear. Exact: the floor cuts the line at its edges, a box
    where the line enters its footprint, widened by the clearance.
    """
    first, last = -np.inf, np.inf
    for normal, bound in zip(*floor_rows(bounds.stage), strict=True):
        rate, free = normal @ direction, bound - bounds.margin_m - normal @ origin
        if rate > 1e-12:
            last = min(last, free / rate)
        elif rate < -1e-12:
            first = max(first, free / rate)
    for k in in_the_way(bounds):
        enter, leave = -np.inf, np.inf
        corners = bounds.stage.keep_outs[k][:, ::2]
        for axis in range(2):
            near = corners[0, axis] - bounds.clearance_m - origin[axis]
            far = corners[1, axis] + bounds.clearance_m - origin[axis]
            if abs(direction[axis]) > 1e-12:
                cuts = sorted((near / direction[axis], far / direction[axis]))
                enter, leave = max(enter, cuts[0]), min(leave, cuts[1])
            elif near > 0.0 or far < 0.0:
                leave = -np.inf
        if enter <= leave and enter >= high - 1e-6:
            last = min(last, enter)
        elif enter <= leave and leave <= low + 1e-6:
            first = max(first, leave)
    return min(float(first), low), max(float(last), high)
