"""What every rig is: a rail with at most one degree of freedom, as kernels read it.

`s` in [0, length] metres runs along the rail. Positions are the lens's (its entrance
pupil), so a rail of lens places; the dolly's own geometry below it is the grip's.
Bearings: 0 along -Z, positive counter-clockwise seen from above.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from ..arrays import FloatArray, frozen
from ..compiled.kernel import kernel

LINE, ARC, SAMPLED = 0, 1, 2
"""Forms of a rail that kernels know; a form without length is a point."""
SHORTEST_M = 1e-3
NO_DIRECTION = frozen(np.zeros(3))
NO_TABLE = frozen(np.empty((0, 6)))


class RigShape(NamedTuple):
    """A rail as kernels read it: form, length [m], and its geometry.

    `origin` is the place at s = 0, or an arc's centre at lens height; `direction` a
    line's unit vector, zero without length; `radius` [m], `start` [rad] and `turn` (+1
    counter-clockwise, -1 clockwise) an arc's; `table` (k, 6) the places and unit
    tangents of any other curve, at equal steps of its length.
    """

    form: int
    length: float
    origin: FloatArray
    direction: FloatArray = NO_DIRECTION
    radius: float = 0.0
    start: float = 0.0
    turn: float = 1.0
    table: FloatArray = NO_TABLE


@dataclass(frozen=True, slots=True)
class Rig(ABC):
    """One rig; what is true of its kind stands in the file of the kind.

    Attributes:
        kind: name of the kind.
        sectioned: whether its rail is laid of straight sections.
        n_drawn: places that draw its rail.
        shape: as kernels read it.
    """

    kind: ClassVar[str]
    sectioned: ClassVar[bool] = False
    n_drawn: ClassVar[int] = 49

    shape: RigShape

    @property
    def length_m(self) -> float:
        """Rail length [m], 0 for sticks."""
        return self.shape.length

    @property
    def radius_m(self) -> float:
        """Radius of an arc [m], else 0."""
        return self.shape.radius

    @property
    def heights_m(self) -> tuple[float, float]:
        """Lowest and highest lens [m]."""
        heights = self.places(self.drawn_s)[:, 1]
        return float(heights.min()), float(heights.max())

    @property
    def drawn_s(self) -> FloatArray:
        """Places along the rail that draw it, (n_drawn,) [m]."""
        return np.linspace(0.0, self.length_m, self.n_drawn)

    @abstractmethod
    def places(self, s: FloatArray) -> FloatArray:
        """Return lens places (n, 3) [m] at rail positions `s` (n,) [m].

        They are the very numbers of `rig_place`; commands that only look where a rig
        stands start without a compiler.
        """

    @abstractmethod
    def at_height(self, height_m: float) -> "Rig":
        """Return the rig with its lens at one height all along [m]."""


class StudiedRig(Rig):
    """A rig that a study can find in a camera's path: a point, a line or an arc."""

    __slots__ = ()

    @abstractmethod
    def feet(self, points: FloatArray, near_s: FloatArray) -> FloatArray:
        """Return where along the rail, or on beyond its ends, points are nearest.

        Args:
            points: (n, 3) [m].
            near_s: about where along the rail they are, (n,) [m].
        """

    @abstractmethod
    def longer(self, before_m: float, after_m: float) -> "StudiedRig":
        """Return the rig with more rail before its start and behind its end [m]."""


@kernel
def clamped(s, length):
    """Return the place on the rail nearest to s."""
    return min(max(s, 0.0), length)


@kernel
def distance_miss(px, py, pz, x, y, z, distance):
    """Return how far the distance of two points is from the asked one [m]."""
    square = (x - px) ** 2 + (y - py) ** 2 + (z - pz) ** 2
    return abs(np.sqrt(square) - distance)


@kernel
def nearer_miss(a, miss_a, b, miss_b, present):
    """Return the one of two places that misses less, or else is nearer to a third."""
    if abs(miss_a - miss_b) > 1e-6:
        return a if miss_a < miss_b else b
    return a if abs(a - present) <= abs(b - present) else b
