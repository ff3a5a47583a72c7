"""A straight rail, level or rising: its places and what a dolly on it can hold.

A point is a line without length, all of whose places are its origin.
"""

import numpy as np

from ..compiled.kernel import kernel
from .shape import clamped, distance_miss, nearer_miss


@kernel
def line_place(rig, s):
    """Return the lens's x, y, z at rail position s."""
    return (
        rig.origin[0] + s * rig.direction[0],
        rig.origin[1] + s * rig.direction[1],
        rig.origin[2] + s * rig.direction[2],
    )


@kernel
def line_nearest(rig, x, y, z):
    """Return the s nearest to a point, beyond the ends too."""
    return (
        (x - rig.origin[0]) * rig.direction[0]
        + (y - rig.origin[1]) * rig.direction[1]
        + (z - rig.origin[2]) * rig.direction[2]
    )


@kernel
def line_distance_s(rig, point, distance, present):
    """See `rig.distance_s`."""
    x, y, z = point
    foot = line_nearest(rig, x, y, z)
    px, py, pz = line_place(rig, foot)
    square = distance**2 - (x - px) ** 2 - (y - py) ** 2 - (z - pz) ** 2
    half = np.sqrt(max(0.0, square))
    a = clamped(foot - half, rig.length)
    b = clamped(foot + half, rig.length)
    ax, ay, az = line_place(rig, a)
    bx, by, bz = line_place(rig, b)
    miss_a = distance_miss(ax, ay, az, x, y, z, distance)
    miss_b = distance_miss(bx, by, bz, x, y, z, distance)
    return nearer_miss(a, miss_a, b, miss_b, present)


@kernel
def line_bearing_s(rig, x, z, ray, present):
    """See `rig.bearing_s`; `ray` is the bearing's unit vector."""
    rx, rz = ray
    cross = rig.direction[0] * rz - rig.direction[2] * rx
    if abs(cross) < 1e-6:
        return present
    s = ((x - rig.origin[0]) * rz - (z - rig.origin[2]) * rx) / cross
    far = (rig.origin[0] + s * rig.direction[0] - x) * rx + (
        rig.origin[2] + s * rig.direction[2] - z
    ) * rz
    return clamped(s, rig.length) if far > 0.0 else present
