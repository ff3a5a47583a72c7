"""Bearings of a subject from a lens that moves."""

import numpy as np

from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..elementary.length import hypot

LEAST_TURN_RAD_S = float(np.radians(1.0))  # of a bearing; below, a ratio means nothing


@kernel
def sight(base, place, bearing, rise):
    """Fill bearing, unwrapped, and elevation of places from the lens, (n,) [rad].

    Args:
        base: lens, (n, 3) or longer [m].
        place: (n, 3) [m].
        bearing: filled, (n,).
        rise: filled, (n,).
    """
    turns = last = 0.0
    for k in range(place.shape[0]):
        dx = place[k, 0] - base[k, 0]
        dy = place[k, 1] - base[k, 1]
        dz = place[k, 2] - base[k, 2]
        now = atan2(-dx, -dz)
        if k > 0 and now - last > np.pi:
            turns -= 1.0
        elif k > 0 and now - last < -np.pi:
            turns += 1.0
        last = now
        bearing[k] = now + 2.0 * np.pi * turns
        rise[k] = atan2(dy, hypot(dx, dz))
