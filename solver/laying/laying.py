"""A laying: a rig on the ground, and the dolly's way along it; what it is to keep.

Ground plane (x, z), metres. At N nodes equal in time a dolly at c_k follows a subject
at q_k. A laying is a rig's geometry with its places s_k along it and the rail's ends.
Its steps x are those of the geometry, of the two ends and of each s_k, in this order;
sticks have only the geometry's.

Source: our derivation; gradients held against differences in tests/solver.
"""

from dataclasses import dataclass, field, replace
from math import cos, sin
from typing import Protocol

import numpy as np

from ..arrays import FloatArray
from ..stage.stage import Stage

N_NODES = 40
N_ARC_POINTS = 9  # at which floor and keep-outs are held along an arc
RUN_S = 0.5  # of travel at full speed that a run-up has beyond gathering it


@dataclass(frozen=True, kw_only=True, slots=True)
class Wish:
    """What a shot asks of the camera's place.

    Attributes:
        times_s: of the nodes, equally spaced, (N,).
        subject: (N, 2) [m].
        distance_m: asked horizontal distance, (N,).
        azimuth: asked world bearing from subject to camera, (N,) [rad].
        weight_azimuth: of squared bearing error against squared log of distance.
        size_band: factor by which the distance may miss, > 1; inf: only priced.
        view_band: angle by which the azimuth may miss [rad]; inf: only priced.
    """

    times_s: FloatArray
    subject: FloatArray
    distance_m: FloatArray
    azimuth: FloatArray
    weight_azimuth: float = 0.1
    size_band: float = 1.25
    view_band: float = np.inf

    @property
    def step_s(self) -> float:
        """Time from node to node."""
        return float(self.times_s[1] - self.times_s[0])


@dataclass(frozen=True, kw_only=True, slots=True)
class Bounds:
    """What holds wherever the rig stands; infinite where nothing is asked.

    Attributes:
        stage: floor, keep-outs and the least distance.
        height_m: of the lens: keep-outs that hang above it are no bar.
        aim_m: height that the lens looks at, for sight lines.
        pan_speed: [rad/s]; pan_accel: [rad/s2]; of the head.
        dolly_speed: [m/s]; dolly_accel: [m/s2].
        rail_m: straight track there is.
        clearance_m: kept from keep-outs; margin_m: from the floor's edge.
    """

    stage: Stage
    height_m: float = 1.5
    aim_m: float = 1.5
    pan_speed: float = np.inf
    pan_accel: float = np.inf
    dolly_speed: float = np.inf
    dolly_accel: float = np.inf
    rail_m: float = np.inf
    clearance_m: float = 0.05
    margin_m: float = 0.002  # twice what rounding a setup moves it


def wish_at_nodes(wish: Wish, n_nodes: int = N_NODES) -> Wish:
    """Return a wish at equally spaced times, linear between its own."""
    times = np.linspace(wish.times_s[0], wish.times_s[-1], n_nodes)

    def at(values: FloatArray) -> FloatArray:
        return np.interp(times, wish.times_s, values)

    return replace(
        wish,
        times_s=times,
        subject=np.column_stack((at(wish.subject[:, 0]), at(wish.subject[:, 1]))),
        distance_m=at(wish.distance_m),
        azimuth=at(np.unwrap(wish.azimuth)),
    )


class Laying(Protocol):
    """A rig on the ground with the dolly's way along it."""

    @property
    def s(self) -> FloatArray:
        """Places along the rail at the nodes, (N,) [m]; empty for sticks."""

    @property
    def ends(self) -> tuple[float, float]:
        """First and last place of the rail [m]."""

    @property
    def n_geometry(self) -> int:
        """Steps of the geometry."""

    @property
    def n_points(self) -> int:
        """Points of the rail at which floor and keep-outs are held."""

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return places (k, 2), by geometry (k, 2, g) and by s (k, 2)."""

    def moved(self, geometry: FloatArray, ends: FloatArray, s: FloatArray) -> "Laying":
        """Return the laying after a step."""

    def bulge(self) -> tuple[float, FloatArray]:
        """Return how far the rail leaves its chords [m], by geometry and ends."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """Sticks at a place (2,) [m]; steps move it along x and z."""

    place: FloatArray
    n_geometry: int = 2
    n_points: int = 1
    s: FloatArray = field(default_factory=lambda: np.empty(0))
    ends: tuple[float, float] = (0.0, 0.0)

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return places (k, 2) [m], by geometry (k, 2, g) and by s (k, 2)."""
        k = len(s)
        eye = np.broadcast_to(np.eye(2), (k, 2, 2))
        return np.broadcast_to(self.place, (k, 2)), eye, np.zeros((k, 2))

    def bulge(self) -> tuple[float, FloatArray]:
        """Return zero: the rail lies on its chords."""
        return 0.0, np.zeros(self.n_geometry + 2)

    def moved(self, geometry: FloatArray, ends: FloatArray, s: FloatArray) -> "Laying":
        """Return the sticks after a step."""
        return replace(self, place=self.place + geometry)


@dataclass(frozen=True, kw_only=True, slots=True)
class Straight:
    """Straight track through `origin` (s = 0), at `angle` from +x toward +z [rad].

    Steps of the geometry: across the track [m], a turn about the origin [rad].
    """

    origin: FloatArray
    angle: float
    s: FloatArray
    ends: tuple[float, float]
    n_geometry: int = 2
    n_points: int = 2

    @property
    def direction(self) -> FloatArray:
        """Unit vector along it, (2,)."""
        return np.array((cos(self.angle), sin(self.angle)))

    @property
    def normal(self) -> FloatArray:
        """Unit vector across it, (2,)."""
        return np.array((-sin(self.angle), cos(self.angle)))

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return places (k, 2) [m], by geometry (k, 2, g) and by s (k, 2)."""
        across = np.broadcast_to(self.normal, (len(s), 2))
        by_geometry = np.stack((across, s[:, None] * self.normal), axis=2)
        along = np.broadcast_to(self.direction, (len(s), 2))
        return self.origin + s[:, None] * self.direction, by_geometry, along

    def bulge(self) -> tuple[float, FloatArray]:
        """Return zero: the rail lies on its chords."""
        return 0.0, np.zeros(self.n_geometry + 2)

    def moved(self, geometry: FloatArray, ends: FloatArray, s: FloatArray) -> "Laying":
        """Return it after a step; the origin goes back to the middle of the rail."""
        angle = self.angle + float(geometry[1])
        origin = self.origin + geometry[0] * self.normal
        low, high = self.ends[0] + float(ends[0]), self.ends[1] + float(ends[1])
        middle = 0.5 * (low + high)
        return replace(
            self,
            origin=origin + middle * np.array((cos(angle), sin(angle))),
            angle=angle,
            s=self.s + s - middle,
            ends=(low - middle, high - middle),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Curved:
    """An arc: s = 0 at `angle` [rad] as a rig counts it, `turn` +1 counter-clockwise.

    Steps of the geometry: centre along x and z, radius [m].
    """

    centre: FloatArray
    radius: float
    angle: float
    turn: float
    s: FloatArray
    ends: tuple[float, float]
    free_radius: bool
    n_geometry: int = 3
    n_points: int = N_ARC_POINTS

    def bulge(self) -> tuple[float, FloatArray]:
        """Return the sagitta between neighbouring points [m], and by each step."""
        half = (self.ends[1] - self.ends[0]) / self.radius / (self.n_points - 1) / 2
        by_length = sin(half) / (self.n_points - 1) / 2
        by_radius = 1.0 - cos(half) - half * sin(half) if self.free_radius else 0.0
        by_step = np.array((0.0, 0.0, by_radius, -by_length, by_length))
        return self.radius * (1.0 - cos(half)), by_step

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return places (k, 2) [m], by geometry (k, 2, g) and by s (k, 2)."""
        angle = self.angle + self.turn * s / self.radius
        out = -np.column_stack((np.sin(angle), np.cos(angle)))
        along = -self.turn * np.column_stack((np.cos(angle), -np.sin(angle)))
        by_geometry = np.zeros((len(s), 2, 3))
        by_geometry[:, 0, 0] = by_geometry[:, 1, 1] = 1.0
        if self.free_radius:
            by_geometry[:, :, 2] = out - along * (s / self.radius)[:, None]
        return self.centre + self.radius * out, by_geometry, along

    def moved(self, geometry: FloatArray, ends: FloatArray, s: FloatArray) -> "Laying":
        """Return it after a step; s = 0 goes back to the middle of the rail."""
        radius = self.radius + (float(geometry[2]) if self.free_radius else 0.0)
        low, high = self.ends[0] + float(ends[0]), self.ends[1] + float(ends[1])
        middle = 0.5 * (low + high)
        return replace(
            self,
            centre=self.centre + geometry[:2],
            radius=radius,
            angle=self.angle + self.turn * middle / radius,
            s=self.s + s - middle,
            ends=(low - middle, high - middle),
        )


def reached(
    laying: Laying, step_s: float, accel: float
) -> tuple[FloatArray, FloatArray]:
    """Return the places that the rail must reach, and their rows by s.

    Those of the nodes, then those of the run-up and run-out, v^2 / 2A + v / 2 beyond
    the first and the last node, in which the dolly gathers and loses its speed.

    Returns:
        Places (N + 2,) [m] and rows (N + 2, N).
    """
    s = laying.s
    n = len(s)
    rows = np.zeros((n + 2, n))
    rows[np.arange(n), np.arange(n)] = 1.0
    places = np.append(s, (s[0], s[-1]))
    for at, one, two, way in ((n, 0, 1, -1.0), (n + 1, n - 2, n - 1, 1.0)):
        speed = (s[two] - s[one]) / step_s
        places[at] += way * speed * (abs(speed) / (2 * accel) + RUN_S)
        by_speed = way * (abs(speed) / accel + RUN_S)
        rows[at, 0 if way < 0 else n - 1] += 1.0
        rows[at, one] -= by_speed / step_s
        rows[at, two] += by_speed / step_s
    return places, rows


def tightened(laying: Laying, step_s: float, accel: float) -> Laying:
    """Return a laying whose rail ends where it need reach no further."""
    if not len(laying.s):
        return laying
    places, _ = reached(laying, step_s, accel)
    low, high = laying.ends
    ends = np.array((places.min() - low, places.max() - high))
    return laying.moved(np.zeros(laying.n_geometry), ends, np.zeros(len(laying.s)))
