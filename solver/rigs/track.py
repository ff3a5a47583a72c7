"""A dolly on straight track; ends of different height make a rise or a fall."""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from ..arrays import FloatArray, frozen
from ..elementary.arctangent import atan2
from ..elementary.trigonometry import cos, sin
from ..errors import SolverError
from ..laying.feasible import feasible_line
from ..laying.fit_line import LineFit
from ..laying.laying import Bounds, Straight, Wish
from ..laying.way import Way
from ..stage.stage import Stage
from .kind import RigKind
from .layout import (
    AWAY_M,
    GROW,
    TURN_RAD,
    Layout,
    RailLayout,
    RigWish,
    Steps,
    beside,
    follows,
    lens_place,
    share_followed,
)
from .shape import LINE, SHORTEST_M, RigShape, StudiedRig

NAME = "track"


class Track(StudiedRig):
    """A dolly on straight track."""

    __slots__ = ()
    kind = NAME
    sectioned = True
    n_drawn = 2

    @property
    def heights_m(self) -> tuple[float, float]:
        """See `Rig`."""
        one = float(self.shape.origin[1])
        two = one + self.shape.length * float(self.shape.direction[1])
        return min(one, two), max(one, two)

    @property
    def end(self) -> FloatArray:
        """The lens at the far end, (3,) [m]."""
        return self.shape.origin + self.shape.length * self.shape.direction

    def places(self, s: FloatArray) -> FloatArray:
        """See `Rig`."""
        return self.shape.origin + np.multiply.outer(s, self.shape.direction)

    def feet(self, points: FloatArray, near_s: FloatArray) -> FloatArray:
        """See `Rig`."""
        feet: FloatArray = (points - self.shape.origin) @ self.shape.direction
        return feet

    def at_height(self, height_m: float) -> "Track":
        """See `Rig`."""
        start, end = np.array(self.shape.origin), self.end
        start[1] = end[1] = height_m
        return track(start, end)

    def longer(self, before_m: float, after_m: float) -> "Track":
        """See `Rig`."""
        shape = self.shape
        start = shape.origin - before_m * shape.direction
        return track(start, shape.origin + (shape.length + after_m) * shape.direction)


def track(start: FloatArray, end: FloatArray) -> Track:
    """Return a straight track whose lens runs from `start` to `end`, (3,) [m].

    Raises:
        SolverError: the two are less than a millimetre apart.
    """
    span = np.asarray(end, dtype=np.float64) - np.asarray(start, dtype=np.float64)
    length = float(np.linalg.norm(span))
    if length < SHORTEST_M:
        message = f"track: must be longer than 0.001 m, got {length:g} m"
        raise SolverError(message)
    return Track(RigShape(LINE, length, frozen(start), frozen(span / length)))


@dataclass(frozen=True, kw_only=True, slots=True)
class TrackLayout(RailLayout):
    """Track whose middle is at `x` and `z`, along `bearing`.

    Steps go away [m], turn the track [rad], and grow what is followed (logarithm).
    """

    kind: ClassVar[str] = NAME

    def first_steps(self, stage: Stage) -> Steps:
        """See `Layout`."""
        return AWAY_M * self.distance_m, TURN_RAD, GROW

    def moved(self, steps: Steps) -> "TrackLayout":
        """See `Layout`."""
        x, z = self.away(steps[0])
        follow = self.grown(steps[2])
        return replace(
            self, x=x, z=z, bearing=self.bearing + self.hand * steps[1], follow=follow
        )

    def built(self, stage: Stage, dolly_accel: float) -> Track | None:
        """See `Layout`; of whole sections where the stock has a section.

        On a ramp of the set the rail rises with it.
        """
        half = self.half_length(dolly_accel)
        if half is None:
            return None
        half = in_sections(2 * half, stage) / 2
        dx, dz = -sin(self.bearing) * half, -cos(self.bearing) * half
        start = lens_place(self.x - dx, self.height_m, self.z - dz)
        end = lens_place(self.x + dx, self.height_m, self.z + dz)
        if stage.set is not None:
            from .rise import risen  # a start without a set needs no set

            start, end = risen(stage.set, start, end)
        return track(start, end)

    def within(self, wish: Wish, bounds: Bounds) -> "TrackLayout | None":
        """See `Layout`."""
        along = -np.array([sin(self.bearing), cos(self.bearing)])
        middle = np.array([self.x, self.z])
        ideal = self.ideal_places(wish.subject)
        s = self.follow * ((ideal - middle) @ along)
        line = LineFit(origin=middle, direction=along, s=s)
        found = feasible_line(wish, bounds, line)
        laid = found.laying
        if not found.feasible or not isinstance(laid, Straight):
            return None
        low, high = laid.ends
        middle = laid.origin + laid.direction * (low + high) / 2
        return replace(
            self,
            x=float(middle[0]),
            z=float(middle[1]),
            bearing=atan2(-laid.direction[0], -laid.direction[1]),
            follow=share_followed(laid.s, (ideal - middle) @ laid.direction),
            half_m=(high - low) / 2,
        )


def propose(wanted: RigWish, way: Way) -> list[Layout]:
    """Return track along the ideal places, for each pace that the dolly may keep."""
    offset = (wanted.bearing_rad, wanted.distance_m)
    curve = way.line(beside(*offset))
    (x, z), (along_x, along_z) = curve.fit.origin.tolist(), curve.fit.direction.tolist()
    middle = (curve.low_m + curve.high_m) / 2
    base = TrackLayout(
        distance_m=wanted.distance_m,
        height_m=wanted.height_m,
        x=x + along_x * middle,
        z=z + along_z * middle,
        bearing=atan2(-along_x, -along_z),
        offset=offset,
        reach_m=(curve.high_m - curve.low_m) / 2,
        ends_m_s=curve.ends_m_s,
        hold=wanted.hold,
        hand=wanted.hand,
    )
    if wanted.hold != "abreast":
        return [base]
    return [replace(base, follow=f) for f in follows(wanted, curve.fast_m_s)]


def in_sections(length_m: float, stage: Stage) -> float:
    """Return the length of straight track that the stock makes of a length [m]."""
    if stage.straight_m is None:
        return length_m
    return float(np.ceil(length_m / stage.straight_m - 1e-9)) * stage.straight_m


TRACK_KIND = RigKind(
    name=NAME,
    price=2.0,
    price_per_m=0.12,
    propose=propose,
)
