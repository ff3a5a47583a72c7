"""A layout: the few numbers that a grip would chalk on the floor for a rig.

A layout is what is searched. Each kind of rig has its own; what they share is here.
Lengths are in metres on the ground plane (x, z), bearings about the up axis.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from math import degrees, pi, radians
from typing import ClassVar, NamedTuple

import numpy as np

from ..arrays import FloatArray, frozen
from ..elementary.exponential import exp
from ..elementary.trigonometry import cos, sin
from ..laying.laying import Bounds, Wish
from ..stage.stage import Stage
from .shape import Rig

LEAST_RANGE_M = 0.5  # a dolly that covers less is sticks
PACES = (0.55, 0.9)  # shares of the dolly's top speed that a follow is laid for
ROUND_M = 1e-3
ROUND_RAD = radians(0.01)
AWAY_M, ACROSS_M, TURN_RAD, GROW = 0.12, 0.12, 0.14, 0.35  # first steps; metres a metre

Steps = tuple[float, float, float]


class RigWish(NamedTuple):
    """What a rig is laid for.

    Attributes:
        distance_m: at which the lens gives the asked size.
        height_m: of the lens.
        bearing_rad: of the camera from the subject, in the world.
        view_rad: of the camera from the subject's heading.
        view_open: whether the view is left open, and so counts for less.
        hand: +1 or -1, the other one in a mirrored scene.
        hold: what the dolly keeps, see `Shot`.
        dolly_speed: its top speed [m/s].
        stage: with its stock of track.
    """

    distance_m: float
    height_m: float
    bearing_rad: float
    view_rad: float
    view_open: bool
    hand: float
    hold: str
    dolly_speed: float
    stage: Stage


@dataclass(frozen=True, kw_only=True, slots=True)
class Layout(ABC):
    """A rig on the ground plane.

    Attributes:
        distance_m: at which the lens gives the asked size.
        height_m: of the lens.
        x, z: of the lens (sticks), the middle of the rail (track), the centre (arc).
        offset: bearing and length [rad, m] of the ideal place from the subject.
        hold: what the dolly keeps, see `Shot`.
        follow: share of the way that the dolly covers.
        hand: +1 or -1; a search first steps to this side.
    """

    kind: ClassVar[str]
    n_free: ClassVar[int] = 3
    """Steps of a search that move it."""

    distance_m: float
    height_m: float
    x: float
    z: float
    offset: tuple[float, float] = (0.0, 0.0)
    hold: str = "abreast"
    follow: float = 1.0
    hand: float = 1.0

    @abstractmethod
    def first_steps(self, stage: Stage) -> Steps:
        """Return the first steps of a search, in the units of `moved`."""

    @abstractmethod
    def moved(self, steps: Steps) -> "Layout":
        """Return the layout changed by the steps of a search.

        The first is a way from the subject [m]; what the others are, each kind says.
        """

    @abstractmethod
    def built(self, stage: Stage, dolly_accel: float) -> Rig | None:
        """Return the rig, rounded as it is written, None where not worth a rail.

        Args:
            stage: with its stock of track.
            dolly_accel: of the grip at most [m/s2], for run-up and run-out.
        """

    @abstractmethod
    def within(self, wish: Wish, bounds: Bounds) -> "Layout | None":
        """Return the layout moved to keep limits, None where nothing does.

        Args:
            wish: what the shot asks of the camera's place.
            bounds: the limits.
        """

    def away(self, step_m: float) -> tuple[float, float]:
        """Return x and z further away from the subject by so much."""
        bearing = self.offset[0]
        return self.x - sin(bearing) * step_m, self.z - cos(bearing) * step_m

    def ideal_places(self, subject: FloatArray) -> FloatArray:
        """Return where the dolly would be abreast of places (n, 2), (n, 2) [m]."""
        bearing, length = self.offset
        beside: FloatArray = subject - length * np.array([sin(bearing), cos(bearing)])
        return beside


@dataclass(frozen=True, kw_only=True, slots=True)
class RailLayout(Layout):
    """What layouts of rails share.

    Attributes:
        bearing: along the track, or of the middle of the arc from its centre [rad].
        reach_m: rail on either side of the middle that the subject's whole way takes.
        ends_m_s: speed of the ideal place along the rail at cut-in and cut-out.
        half_m: half of the rail's length where that is given; else the rail is as
            long as the way covered takes, with run-up and run-out.
    """

    bearing: float = 0.0
    reach_m: float = 0.0
    ends_m_s: tuple[float, float] = (0.0, 0.0)
    half_m: float | None = None

    def half_length(self, dolly_accel: float) -> float | None:
        """Return half the rail's length [m], None where it is not worth a rail."""
        runs = [
            speed * speed / (2 * dolly_accel) + 0.5 * speed
            for speed in (abs(v) * self.follow for v in self.ends_m_s)
        ]
        half = self.follow * self.reach_m
        if 2 * half < LEAST_RANGE_M:
            return None
        return half + max(runs) if self.half_m is None else self.half_m

    def grown(self, step: float) -> float:
        """Return the share followed, larger by a step of its logarithm, at most 1."""
        return min(1.0, self.follow * float(exp(step)))


def follows(wanted: RigWish, fast_m_s: float) -> list[float]:
    """Return the shares of a way that the dolly can comfortably cover, unequal.

    Args:
        wanted: with the dolly's speed.
        fast_m_s: speed that is exceeded in a twentieth of the way.
    """
    top = wanted.dolly_speed
    shares = [
        min(1.0, pace * top / fast_m_s) if fast_m_s > 0 else 1.0 for pace in PACES
    ]
    return shares[:1] if shares[0] == shares[1] else shares


def share_followed(followed: FloatArray, whole: FloatArray) -> float:
    """Return the share of the whole way (n,) that a dolly covers (n,), at most 1."""
    return min(1.0, float(np.ptp(followed)) / max(float(np.ptp(whole)), 1e-6))


def beside(bearing: float, distance: float) -> FloatArray:
    """Return the way from a subject to a place at a bearing and distance, (2,) [m]."""
    return np.array((-distance * sin(bearing), -distance * cos(bearing)))


def lens_place(x: float, height: float, z: float) -> FloatArray:
    """Return a place of the lens as it is written, to the millimetre, (3,) [m]."""
    return frozen((in_mm(x), height, in_mm(z)))


def in_mm(value: float) -> float:
    """Return metres as they are written, to the millimetre."""
    return round(value / ROUND_M) * ROUND_M


def in_cdeg(value: float) -> float:
    """Return radians as they are written, to a hundredth of a degree."""
    return round(degrees(value), 2) * pi / 180
