"""Rigs as the crew's kernels ask them: a place, and what a dolly can hold.

Kernels cannot call through a table, so the form of the rail is told apart here, once
for each question. What is true of one kind of rig stands in the file of that kind.
"""

from ..compiled.kernel import kernel
from ..elementary.trigonometry import sin_cos
from .arc import arc_bearing_s, arc_distance_s, arc_nearest, arc_place
from .line import line_bearing_s, line_distance_s, line_nearest, line_place
from .sampled import (
    sampled_bearing_s,
    sampled_distance_s,
    sampled_nearest,
    sampled_place,
)
from .shape import ARC, SAMPLED, clamped


@kernel
def rig_place(rig, s):
    """Return the lens's x, y, z at rail position s."""
    if rig.form == ARC:
        return arc_place(rig, s)
    if rig.form == SAMPLED:
        return sampled_place(rig, s)
    return line_place(rig, s)


@kernel
def abreast_s(rig, x, y, z, follow):
    """Return the s nearest to a point, drawn to the middle of the rail by 1 - follow.

    With `follow` 1 it is the nearest place; with less the dolly covers that share of
    the way, from the middle of its rail.
    """
    middle = rig.length / 2
    if rig.form == ARC:
        s = arc_nearest(rig, x, z)
    elif rig.form == SAMPLED:
        s = sampled_nearest(rig, x, y, z)
    else:
        s = line_nearest(rig, x, y, z)
    if follow != 1.0:
        s = middle + follow * (s - middle)
    return clamped(s, rig.length)


@kernel
def distance_s(rig, x, y, z, distance, present):
    """Return the s nearest to `present` at `distance` from a point.

    Where the rail never comes that close: the nearest approach. Where its reach ends
    before: the end on the nearer side.
    """
    if rig.form == ARC:
        return arc_distance_s(rig, (x, y, z), distance, present)
    if rig.form == SAMPLED:
        return sampled_distance_s(rig, (x, y, z), distance, present)
    return line_distance_s(rig, (x, y, z), distance, present)


@kernel
def bearing_s(rig, x, z, bearing, present):
    """Return the s nearest to `present` that a subject at x, z sees at `bearing`.

    `bearing` is a world angle about the up axis [rad], 0 along -Z. Where the ray
    crosses the line or circle beyond the rail: the nearer end. Where it crosses
    neither, the dolly stays where it is.
    """
    sine, cosine = sin_cos(bearing)
    ray = -sine, -cosine
    if rig.form == ARC:
        return arc_bearing_s(rig, x, z, ray, present)
    if rig.form == SAMPLED:
        return sampled_bearing_s(rig, x, z, ray, present)
    return line_bearing_s(rig, x, z, ray, present)
