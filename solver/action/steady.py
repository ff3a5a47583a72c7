"""Where a subject moves evenly: its place and velocity over a stride, and their change.

Measures and judges read this; it looks both ways in time, the crew never sees it.
"""

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..compiled.kernel import kernel
from ..elementary.length import hypot

STRIDE_S = 0.35  # on both sides, over which a place is a mean
EVEN_S = 0.5  # on both sides, over which a velocity has to stay
EVEN_M_S = 0.5  # slower is standing
EVEN_SHARE = 0.15  # of the speed by which the velocity may change


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
    place, velocity = np.empty((n, 3)), np.empty((n, 2))
    even = np.empty(n, dtype=np.bool_)
    even_moves(times, floor, place, velocity, even)
    return place, velocity, even


@kernel
def even_moves(times, floor, place, velocity, even):
    """Fill `place`, `velocity` and `even`; see `moves_evenly`."""
    n = times.shape[0]
    stride_means(times, floor, STRIDE_S, place)
    for k in range(n):
        even[k] = False
        velocity[k, 0] = velocity[k, 1] = 0.0
    if n < 3:
        return
    ground_rates(times, place, velocity)
    reach = int(np.rint(EVEN_S * (n - 1) / (times[n - 1] - times[0])))
    for k in range(reach, n - reach):
        speed = hypot(velocity[k, 0], velocity[k, 1])
        change = max(
            change_of(velocity, k - reach, k), change_of(velocity, k + reach, k)
        )
        even[k] = speed >= EVEN_M_S and change <= EVEN_SHARE * speed


@kernel
def change_of(velocity, j, k):
    """Return by how much two of velocities (n, 2) differ."""
    return hypot(velocity[j, 0] - velocity[k, 0], velocity[j, 1] - velocity[k, 1])


@kernel
def step_of(times):
    """Return the step of evenly spaced times (n,)."""
    n = times.shape[0]
    return (times[n - 1] - times[0]) / (n - 1) if n > 1 else 1.0


@kernel
def stride_means(times, points, half_s, out):
    """Fill `out` with means of points (n, c) over `half_s` on both sides.

    Towards the ends over as much as there is on both sides, so that nothing that moves
    evenly is shifted.
    """
    n = times.shape[0]
    wide = int(np.rint(half_s / step_of(times)))
    sums = np.zeros(n + 1)
    for c in range(points.shape[1]):
        for k in range(n):
            sums[k + 1] = sums[k] + points[k, c]
        for k in range(n):
            half = min(min(k, n - 1 - k), wide)
            out[k, c] = (sums[k + half + 1] - sums[k - half]) / (2 * half + 1)


@kernel
def ground_rates(times, place, out):
    """Fill `out` (n, 2) with the rates along x and z of places (n, 3)."""
    n = times.shape[0]
    values, rates = np.empty(n), np.empty(n)
    for c in range(2):
        for k in range(n):
            values[k] = place[k, 2 * c]
        rates_of(times, values, rates)
        for k in range(n):
            out[k, c] = rates[k]


@kernel
def rates_of(times, values, out):
    """Fill `out` (n,) with the rates of values (n,): central, of one side at the ends.

    The arithmetic is that of numpy's `gradient`, to the bit.
    """
    n = times.shape[0]
    step = times[1] - times[0]
    same = True
    for k in range(1, n - 1):
        same = same and times[k + 1] - times[k] == step
    for k in range(1, n - 1):
        if same:
            out[k] = (values[k + 1] - values[k - 1]) / (2.0 * step)
            continue
        before, after = times[k] - times[k - 1], times[k + 1] - times[k]
        both = before + after
        out[k] = (
            -after / (before * both) * values[k - 1]
            + (after - before) / (before * after) * values[k]
            + before / (after * both) * values[k + 1]
        )
    out[0] = (values[1] - values[0]) / step
    out[n - 1] = (values[n - 1] - values[n - 2]) / (times[n - 1] - times[n - 2])
