"""Rigs: sticks, a straight track, a smooth arc. At most one degree of freedom.

`s` in [0, length] metres runs along the rail. Positions are the lens's (its entrance
pupil), so a rail of lens places; the dolly's own geometry below it is the grip's.
Arc angles: 0 puts the camera on the centre's -Z side, positive counter-clockwise seen
from above.
"""

from dataclasses import dataclass
from math import cos, sin
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, frozen
from ..compiled.kernel import kernel
from ..errors import SolverError

STICKS, TRACK, ARC = 0, 1, 2
SHORTEST_M = 1e-3


class RigShape(NamedTuple):
    """A rig as kernels read it: kind, length [m], and its geometry.

    `origin` is the place at s = 0 (sticks, track) or the centre at lens height (arc);
    `direction` the track's unit vector; `radius` [m], `start` [rad] and `turn` (+1
    counter-clockwise, -1 clockwise) the arc's.
    """

    kind: int
    length: float
    origin: FloatArray
    direction: FloatArray
    radius: float
    start: float
    turn: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Rig:
    """One rig; build it with `sticks`, `track` or `arc`."""

    shape: RigShape

    @property
    def kind(self) -> str:
        """Name of the rig: sticks, track or arc."""
        return ("sticks", "track", "arc")[self.shape.kind]

    @property
    def length_m(self) -> float:
        """Rail length [m], 0 for sticks."""
        return self.shape.length

    def places(self, s: FloatArray) -> FloatArray:
        """Return lens places (n, 3) [m] at rail positions `s` (n,) [m]."""
        # The very numbers of `rig_place`, from the same sine; commands that only look
        # where a rig stands start without a compiler.
        shape = self.shape
        if shape.kind != ARC:
            return shape.origin + np.multiply.outer(s, shape.direction)
        angles = (shape.start + shape.turn * s / shape.radius).tolist()
        out = np.empty((len(s), 3))
        out[:, 0] = shape.origin[0] - shape.radius * np.array(list(map(sin, angles)))
        out[:, 1] = shape.origin[1]
        out[:, 2] = shape.origin[2] - shape.radius * np.array(list(map(cos, angles)))
        return out


_NO_DIRECTION = frozen(np.zeros(3))


def sticks(at: FloatArray) -> Rig:
    """Return a camera on sticks with its lens at `at` (3,) [m]."""
    return Rig(shape=RigShape(STICKS, 0.0, frozen(at), _NO_DIRECTION, 0.0, 0.0, 1.0))


def track(start: FloatArray, end: FloatArray) -> Rig:
    """Return a straight track whose lens runs from `start` to `end`, (3,) [m].

    Raises:
        SolverError: the two are less than a millimetre apart.
    """
    span = np.asarray(end, dtype=np.float64) - np.asarray(start, dtype=np.float64)
    length = float(np.linalg.norm(span))
    if length < SHORTEST_M:
        message = f"track: must be longer than 0.001 m, got {length:g} m"
        raise SolverError(message)
    direction = frozen(span / length)
    return Rig(shape=RigShape(TRACK, length, frozen(start), direction, 0.0, 0.0, 1.0))


def arc(centre: FloatArray, *, radius: float, start: float, sweep: float) -> Rig:
    """Return a level arc.

    Args:
        centre: centre at lens height, (3,) [m].
        radius: of the lens's path [m], > 0.
        start: angle of s = 0 [rad].
        sweep: signed angle covered [rad], not 0, positive counter-clockwise.

    Raises:
        SolverError: radius or path shorter than a millimetre.
    """
    length = radius * abs(sweep)
    if radius < SHORTEST_M or length < SHORTEST_M:
        message = f"arc: must be longer than 0.001 m, got {length:g} m"
        raise SolverError(message)
    turn = 1.0 if sweep > 0 else -1.0
    place = frozen(centre)
    return Rig(
        shape=RigShape(
            ARC, float(length), place, _NO_DIRECTION, float(radius), float(start), turn
        )
    )


@kernel
def rig_place(rig, s):
    """Return the lens's x, y, z at rail position s."""
    if rig.kind == ARC:
        angle = rig.start + rig.turn * s / rig.radius
        return (
            rig.origin[0] - rig.radius * np.sin(angle),
            rig.origin[1],
            rig.origin[2] - rig.radius * np.cos(angle),
        )
    return (
        rig.origin[0] + s * rig.direction[0],
        rig.origin[1] + s * rig.direction[1],
        rig.origin[2] + s * rig.direction[2],
    )


@kernel
def _clamp(s, length):
    return min(max(s, 0.0), length)


@kernel
def _arc_s(rig, angle, near):
    """Return s of a world angle: of the turns on the rail, the nearest to `near`.

    Where none is on the rail, the turn that is the least beyond an end.
    """
    full = 2 * np.pi * rig.radius
    s = rig.turn * (angle - rig.start) * rig.radius
    s += full * np.round((near - s) / full)
    inward = s + full if s < 0.0 else s - full
    beyond = abs(s - _clamp(s, rig.length))
    return inward if abs(inward - _clamp(inward, rig.length)) < beyond else s


@kernel
def abreast_s(rig, x, y, z, follow):
    """Return the s nearest to a point, drawn to the middle of the rail by 1 - follow.

    With `follow` 1 it is the nearest place; with less the dolly covers that share of
    the way, from the middle of its rail.
    """
    middle = rig.length / 2
    if rig.kind == ARC:
        angle = np.arctan2(-(x - rig.origin[0]), -(z - rig.origin[2]))
        s = _arc_s(rig, angle, middle)
    else:
        s = (
            (x - rig.origin[0]) * rig.direction[0]
            + (y - rig.origin[1]) * rig.direction[1]
            + (z - rig.origin[2]) * rig.direction[2]
        )
    if follow != 1.0:
        s = middle + follow * (s - middle)
    return _clamp(s, rig.length)


@kernel
def distance_s(rig, x, y, z, distance, present):
    """Return the s nearest to `present` at `distance` from a point.

    Where the rail never comes that close: the nearest approach. Where its reach ends
    before: the end on the nearer side.
    """
    if rig.kind == ARC:
        dx, dy, dz = x - rig.origin[0], y - rig.origin[1], z - rig.origin[2]
        off = np.hypot(dx, dz)
        angle = np.arctan2(-dx, -dz)
        if off < 1e-9:
            return present
        cosine = (rig.radius**2 + off**2 + dy**2 - distance**2) / (2 * rig.radius * off)
        swing = np.arccos(min(1.0, max(-1.0, cosine)))
        a = _clamp(_arc_s(rig, angle - swing, present), rig.length)
        b = _clamp(_arc_s(rig, angle + swing, present), rig.length)
    else:
        foot = (
            (x - rig.origin[0]) * rig.direction[0]
            + (y - rig.origin[1]) * rig.direction[1]
            + (z - rig.origin[2]) * rig.direction[2]
        )
        px, py, pz = rig_place(rig, foot)
        square = distance**2 - (x - px) ** 2 - (y - py) ** 2 - (z - pz) ** 2
        half = np.sqrt(max(0.0, square))
        a = _clamp(foot - half, rig.length)
        b = _clamp(foot + half, rig.length)
    ax, ay, az = rig_place(rig, a)
    bx, by, bz = rig_place(rig, b)
    miss_a = abs(np.sqrt((x - ax) ** 2 + (y - ay) ** 2 + (z - az) ** 2) - distance)
    miss_b = abs(np.sqrt((x - bx) ** 2 + (y - by) ** 2 + (z - bz) ** 2) - distance)
    if abs(miss_a - miss_b) > 1e-6:
        return a if miss_a < miss_b else b
    return a if abs(a - present) <= abs(b - present) else b


@kernel
def bearing_s(rig, x, z, bearing, present):
    """Return the s nearest to `present` that a subject at x, z sees at `bearing`.

    `bearing` is a world angle about the up axis [rad], 0 along -Z. Where the ray
    crosses the line or circle beyond the rail: the nearer end. Where it crosses
    neither, the dolly stays where it is.
    """
    rx, rz = -np.sin(bearing), -np.cos(bearing)
    if rig.kind == ARC:
        dx, dz = x - rig.origin[0], z - rig.origin[2]
        along = dx * rx + dz * rz
        root = along**2 - (dx * dx + dz * dz - rig.radius**2)
        if root < 0.0:
            return present
        best = present
        gap = beyond = np.inf
        for sign in (-1.0, 1.0):
            far = -along + sign * np.sqrt(root)
            if far > 0.0:
                angle = np.arctan2(-(dx + far * rx), -(dz + far * rz))
                turned = _arc_s(rig, angle, present)
                s = _clamp(turned, rig.length)
                over = abs(turned - s)
                # A true crossing comes before an end that is only nearer to one.
                if over < beyond or (over == beyond and abs(s - present) < gap):
                    beyond, gap, best = over, abs(s - present), s
        return best
    cross = rig.direction[0] * rz - rig.direction[2] * rx
    if abs(cross) < 1e-6:
        return present
    s = ((x - rig.origin[0]) * rz - (z - rig.origin[2]) * rx) / cross
    far = (rig.origin[0] + s * rig.direction[0] - x) * rx + (
        rig.origin[2] + s * rig.direction[2] - z
    ) * rz
    return _clamp(s, rig.length) if far > 0.0 else present
