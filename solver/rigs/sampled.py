"""A rail of any other shape, as a table of places and tangents along it.

The table has k rows at equal steps h of the length: place c_i and unit tangent d_i.
Between two rows the rail is the cubic through both places with both tangents, which
misses a smooth curve by about h^4 / 384 times its fourth derivative. What a dolly can
hold is looked for on the whole table and then between its rows.

Source: our derivation, tested against brute force.
"""

from collections.abc import Callable

import numpy as np

from ..arrays import FloatArray, frozen
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..errors import SolverError
from .shape import SAMPLED, SHORTEST_M, RigShape, clamped

N_ROWS = 257
FINE = 16  # steps along the curve for each row, by which its length is measured
HALVINGS = 40  # of a step of the table; its 1e12th part is left
GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0


def sampled(
    curve: Callable[[FloatArray], FloatArray], *, n_rows: int = N_ROWS
) -> RigShape:
    """Return the shape of a rail along a curve.

    Args:
        curve: gives places (n, 3) [m] at shares (n,) from 0 to 1 of whatever parameter
            it has; smooth, without a stop or a corner.
        n_rows: of the table, >= 4.

    Raises:
        SolverError: the rail is shorter than a millimetre.
    """
    shares = np.linspace(0.0, 1.0, FINE * (n_rows - 1) + 1)
    places = curve(shares)
    steps = np.sqrt(((places[1:] - places[:-1]) ** 2).sum(axis=1))
    along = np.append(0.0, np.cumsum(steps))
    length = float(along[-1])
    if length < SHORTEST_M:
        message = f"rail: must be longer than 0.001 m, got {length:g} m"
        raise SolverError(message)
    even = np.interp(np.linspace(0.0, length, n_rows), along, shares)
    rows = curve(even)
    step = 0.25 / len(shares)
    low, high = np.maximum(even - step, 0.0), np.minimum(even + step, 1.0)
    tangents = curve(high) - curve(low)
    tangents /= np.sqrt((tangents**2).sum(axis=1))[:, None]
    table = frozen(np.column_stack((rows, tangents)))
    return RigShape(SAMPLED, length, frozen(rows[0]), table=table)


def sampled_places(shape: RigShape, s: FloatArray) -> FloatArray:
    """Return lens places (n, 3) [m] at `s` (n,); beyond an end they go straight on."""
    table = shape.table
    step = shape.length / (len(table) - 1)
    inside = np.minimum(np.maximum(s, 0.0), shape.length)
    row = np.minimum((inside / step).astype(np.int64), len(table) - 2)
    t = (inside / step - row)[:, None]
    c0, d0 = table[row, :3], table[row, 3:]
    c1, d1 = table[row + 1, :3], table[row + 1, 3:]
    places: FloatArray = (
        (1.0 + 2.0 * t) * (1.0 - t) * (1.0 - t) * c0
        + t * t * (3.0 - 2.0 * t) * c1
        + step * (t * (1.0 - t) * (1.0 - t) * d0 - t * t * (1.0 - t) * d1)
    )
    before = np.minimum(s, 0.0)[:, None] * table[0, 3:]
    behind = np.maximum(s - shape.length, 0.0)[:, None] * table[-1, 3:]
    return places + before + behind


@kernel
def sampled_place(rig, s):
    """Return the lens's x, y, z at rail position s, on the rail."""
    step = rig.length / (rig.table.shape[0] - 1)
    inside = clamped(s, rig.length)
    row = min(int(inside / step), rig.table.shape[0] - 2)
    t = inside / step - row
    one, two = rig.table[row], rig.table[row + 1]
    a = (1.0 + 2.0 * t) * (1.0 - t) * (1.0 - t)
    b = t * t * (3.0 - 2.0 * t)
    p, q = step * t * (1.0 - t) * (1.0 - t), step * t * t * (1.0 - t)
    return (
        a * one[0] + b * two[0] + p * one[3] - q * two[3],
        a * one[1] + b * two[1] + p * one[4] - q * two[4],
        a * one[2] + b * two[2] + p * one[5] - q * two[5],
    )


@kernel
def _off(rig, s, point, distance):
    """Return the distance of the rail at s from a point, less the asked one [m]."""
    px, py, pz = sampled_place(rig, s)
    x, y, z = point
    return np.sqrt((x - px) ** 2 + (y - py) ** 2 + (z - pz) ** 2) - distance


@kernel
def _least(rig, point, distance, size, low, high):
    """Return the s between two at which the distance, or its miss, is least."""
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_a, at_b = _off(rig, a, point, distance), _off(rig, b, point, distance)
    for _ in range(HALVINGS):
        if size * at_a < size * at_b:
            high, b, at_b = b, a, at_a
            a = high - GOLDEN * (high - low)
            at_a = _off(rig, a, point, distance)
        else:
            low, a, at_a = a, b, at_b
            b = low + GOLDEN * (high - low)
            at_b = _off(rig, b, point, distance)
    return (low + high) / 2


@kernel
def sampled_nearest(rig, x, y, z):
    """Return the s nearest to a point, on the rail."""
    n = rig.table.shape[0]
    step = rig.length / (n - 1)
    best, least = 0, np.inf
    for i in range(n):
        off = _off(rig, i * step, (x, y, z), 0.0)
        if off < least:
            best, least = i, off
    low, high = max(best - 1, 0) * step, min(best + 1, n - 1) * step
    return _least(rig, (x, y, z), 0.0, 1.0, low, high)


@kernel
def sampled_distance_s(rig, point, distance, present):
    """See `rig.distance_s`."""
    n = rig.table.shape[0]
    step = rig.length / (n - 1)
    best, gap = -1.0, np.inf
    nearest, least = 0, np.inf
    before = _off(rig, 0.0, point, distance)
    for i in range(n):
        off = _off(rig, i * step, point, distance)
        if abs(off) < least:
            nearest, least = i, abs(off)
        if i > 0 and (before > 0.0) != (off > 0.0):
            low, high = (i - 1) * step, i * step
            for _ in range(HALVINGS):
                middle = (low + high) / 2
                if (_off(rig, middle, point, distance) > 0.0) == (before > 0.0):
                    low = middle
                else:
                    high = middle
            if abs(low - present) < gap:
                best, gap = low, abs(low - present)
        before = off
    if best >= 0.0:
        return best
    # All of the rail is too far, or all too near: the place that misses least.
    low, high = max(nearest - 1, 0) * step, min(nearest + 1, n - 1) * step
    size = 1.0 if before > 0.0 else -1.0
    return _least(rig, point, distance, size, low, high)


@kernel
def _aside(rig, s, x, z, ray):
    """Return how far the rail at s is left of a ray from x, z, and how far along it."""
    px, _, pz = sampled_place(rig, s)
    dx, dz = px - x, pz - z
    return dx * ray[1] - dz * ray[0], dx * ray[0] + dz * ray[1]


@kernel
def sampled_bearing_s(rig, x, z, ray, present):
    """See `rig.bearing_s`; `ray` is the bearing's unit vector.

    Where no part of the rail is on the ray: the end that is the less off it, or
    `present` where both are behind.
    """
    n = rig.table.shape[0]
    step = rig.length / (n - 1)
    best, gap = -1.0, np.inf
    first, first_far = _aside(rig, 0.0, x, z, ray)
    before = first
    far = first_far
    for i in range(1, n):
        aside, far = _aside(rig, i * step, x, z, ray)
        if (before > 0.0) != (aside > 0.0):
            low, high = (i - 1) * step, i * step
            for _ in range(HALVINGS):
                middle = (low + high) / 2
                off, _ = _aside(rig, middle, x, z, ray)
                if (off > 0.0) == (before > 0.0):
                    low = middle
                else:
                    high = middle
            _, ahead = _aside(rig, low, x, z, ray)
            if ahead > 0.0 and abs(low - present) < gap:
                best, gap = low, abs(low - present)
        before = aside
    if best >= 0.0:
        return best
    off_first = abs(atan2(first, first_far))
    off_last = abs(atan2(before, far))
    if min(off_first, off_last) > np.pi / 2:
        return present
    return 0.0 if off_first < off_last else rig.length
