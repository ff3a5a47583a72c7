"""Where a subject moves evenly: its place and velocity over a stride, and their change.

Measures and judges read this; it looks both ways in time, the crew never sees it.
"""

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..elementary.arrays import lengths

STRIDE_S = 0.35  # on both sides, over which a place is a mean
EVEN_S = 0.5  # on both sides, over which a velocity has to stay
EVEN_M_S = 0.5  # slower is standing
EVEN_SHARE = 0.15  # of the speed by which the velocity may change


def over_stride(times: FloatArray, points: FloatArray, half_s: float) -> FloatArray:
    """Return means of points (n, c) over `half_s` on both sides, (n, c).

    Towards the ends over as much as there is on both sides, so that nothing that moves
    evenly is shifted.

    Args:
        times: evenly spaced, ascending, (n,) [s].
        points: at them.
        half_s: [s].
    """
    n = len(times)
    step = (times[-1] - times[0]) / max(n - 1, 1) if n > 1 else 1.0
    wide = round(half_s / step)
    k = np.arange(n)
    half = np.minimum(np.minimum(k, n - 1 - k), wide)
    sums = np.concatenate([np.zeros((1, points.shape[1])), np.cumsum(points, axis=0)])
    total = sums[k + half + 1] - sums[k - half]
    means: FloatArray = total / (2 * half + 1)[:, None]
    return means


def moves_evenly(
    times: FloatArray, floor: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return place over a stride, velocity on the ground, and where it is even.

    Args:
        times: evenly spaced, ascending, (n,) [s].
        floor: where the subject stands, (n, 3) [m].

    Returns:
        Means over a stride (n, 3) [m], their velocities along x and z (n, 2) [m/s], and
        the samples (n,) at which the subject is under way and its velocity is the same
        `EVEN_S` before and after.
    """
    n = len(times)
    place = over_stride(times, floor, STRIDE_S)
    even = np.zeros(n, dtype=np.bool_)
    if n < 3:
        return place, np.zeros((n, 2)), even
    velocity = np.gradient(place[:, [0, 2]], times, axis=0)
    reach = round(EVEN_S * (n - 1) / (times[-1] - times[0]))
    if n > 2 * reach:
        inside = slice(reach, n - reach)
        now = velocity[inside]
        after = lengths(*(velocity[2 * reach :] - now).T)
        before = lengths(*(velocity[: n - 2 * reach] - now).T)
        speed = lengths(*now.T)
        stays = np.maximum(before, after) <= EVEN_SHARE * speed
        even[inside] = (speed >= EVEN_M_S) & stays
    return place, velocity, even
