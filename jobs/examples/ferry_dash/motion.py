"""How a person on foot moves: along a path, at a speed, with the bounce of a gait.

Metres, seconds, Z up. Angles are degrees counter-clockwise seen from above, 0 along
+Y. A person makes strokes; each goes on from where the one before came to rest.

Source: a sprint from rest is v = Vm (1 - exp(-t / tau)), Furusawa, Hill & Parkinson
1927. Step rates and the rise and fall of the head are rounded after Orendurff et al.
2004, from memory; the sway is a guess at its order of size.
"""

from dataclasses import dataclass
from math import exp

import numpy as np

from ....solver.arrays import FloatArray

_GRID_M = 0.02
_CORNER_M = 0.5  # standard deviation of the rounding of corners
_TURN_S = 0.13  # standard deviation of the rounding of turns of the body
_GLANCE_S = 0.3  # to turn to a glance, and back

_SPEEDS = (0.0, 0.3, 1.4, 3.0)  # m/s, at which the three below are given
_STEPS_HZ = (1.8, 1.8, 2.0, 2.7)
_BOUNCE_M = (0.0, 0.01, 0.045, 0.07)  # peak to peak, at step rate
_SWAY_M = (0.0, 0.01, 0.03, 0.02)  # peak to peak, at stride rate


@dataclass(frozen=True, kw_only=True, slots=True)
class Pace:
    """A change of speed from `start_s` on.

    Toward `speed_m_s` exponentially with time constant `tau_s`, or, with `brake_m_s2`
    above 0, evenly.
    """

    start_s: float
    speed_m_s: float
    tau_s: float = 0.9
    brake_m_s2: float = 0.0

    def after(self, elapsed_s: float, speed_m_s: float) -> tuple[float, float]:
        """Return the way gone [m] and the speed [m/s], from the speed at the start."""
        gap = speed_m_s - self.speed_m_s
        if self.brake_m_s2 > 0:
            braked_s = min(elapsed_s, abs(gap) / self.brake_m_s2)
            change = np.sign(gap) * self.brake_m_s2 * braked_s
            way = (speed_m_s - 0.5 * change) * braked_s
            way += self.speed_m_s * (elapsed_s - braked_s)
            return float(way), float(speed_m_s - change)
        left = exp(-elapsed_s / self.tau_s)
        way = self.speed_m_s * elapsed_s + gap * self.tau_s * (1.0 - left)
        return way, self.speed_m_s + gap * left


@dataclass(frozen=True, kw_only=True, slots=True)
class Stroke:
    """A way through `points` (x, y, z of the ground), and paces in rising order."""

    points: tuple[tuple[float, float, float], ...]
    paces: tuple[Pace, ...]
    speed_m_s: float = 0.0
    """At the start of the first pace."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Glance:
    """A turn of head and shoulders to a direction, for a while."""

    start_s: float
    end_s: float
    facing_deg: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Person:
    """Who moves: stature, strokes in rising order, glances."""

    height_m: float
    strokes: tuple[Stroke, ...]
    glances: tuple[Glance, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Motion:
    """Where a person is, n samples.

    `floor` (n, 3) is the ground under the body [m], `bob` (n, 3) what the gait adds to
    the points above it [m], `facing_deg` (n,) the direction of head and shoulders.
    """

    floor: FloatArray
    bob: FloatArray
    facing_deg: FloatArray


def move(person: Person, times_s: FloatArray) -> Motion:
    """Return the motion of a person.

    Args:
        person: who moves.
        times_s: evenly rising, (n,) [s], none before the first pace.
    """
    floor = np.zeros((len(times_s), 3))
    speed = np.zeros(len(times_s))
    heading = np.zeros(len(times_s))
    ends = [stroke.paces[0].start_s for stroke in person.strokes[1:]] + [np.inf]
    here: tuple[float, float, float] | None = None
    for stroke, end in zip(person.strokes, ends, strict=True):
        now = (times_s >= stroke.paces[0].start_s) & (times_s < end)
        grid_m, path = _path(stroke.points if here is None else (here, *stroke.points))
        way, speed[now] = _pace(stroke, times_s[now])
        floor[now] = _along(grid_m, path, way)
        ahead = _along(grid_m, path, way + _GRID_M) - floor[now]
        heading[now] = np.degrees(np.arctan2(-ahead[:, 0], ahead[:, 1]))
        if end < np.inf:
            last_m, _ = _pace(stroke, np.array([end]))
            x, y, z = _along(grid_m, path, last_m)[0]
            here = (float(x), float(y), float(z))
    step_s = float(times_s[1] - times_s[0])
    heading = _rounded(np.degrees(np.unwrap(np.radians(heading))), _TURN_S / step_s)
    return Motion(
        floor=floor,
        bob=_gait(speed, heading, step_s),
        facing_deg=_facing(person.glances, heading, times_s),
    )


def _path(points: tuple[tuple[float, float, float], ...]) -> tuple[FloatArray, ...]:
    """Return ways on the ground plan (k,) [m] and places (k, 3), corners rounded."""
    corners = np.array(points)
    legs_m = np.hypot(*np.diff(corners[:, :2], axis=0).T)
    at_m = np.concatenate([[0.0], np.cumsum(legs_m)])
    grid_m = np.arange(0.0, at_m[-1], _GRID_M)
    places = np.column_stack([np.interp(grid_m, at_m, c) for c in corners.T])
    places = np.column_stack([_rounded(c, _CORNER_M / _GRID_M) for c in places.T])
    steps_m = np.hypot(*np.diff(places[:, :2], axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps_m)]), places


def _along(grid_m: FloatArray, path: FloatArray, way_m: FloatArray) -> FloatArray:
    return np.column_stack([np.interp(way_m, grid_m, c) for c in path.T])


def _rounded(values: FloatArray, spread: float) -> FloatArray:
    """Return values smoothed by a Gaussian, samples; the ends go straight on."""
    reach = int(np.ceil(4 * spread))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    reach = min(reach, len(values) - 1)
    kernel = kernel[len(kernel) // 2 - reach : len(kernel) // 2 + reach + 1]
    before = 2 * values[0] - values[reach:0:-1]
    after = 2 * values[-1] - values[-2 : -reach - 2 : -1]
    longer = np.concatenate([before, values, after])
    return np.convolve(longer, kernel / kernel.sum(), mode="valid")


def _pace(stroke: Stroke, times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the way gone [m] and the speed [m/s] at each time, (n,) each."""
    way, speed = np.zeros(len(times_s)), np.zeros(len(times_s))
    gone_m, at_m_s = 0.0, stroke.speed_m_s
    ends = [pace.start_s for pace in stroke.paces[1:]] + [np.inf]
    for pace, end in zip(stroke.paces, ends, strict=True):
        for k in np.flatnonzero((times_s >= pace.start_s) & (times_s < end)):
            more_m, speed[k] = pace.after(float(times_s[k]) - pace.start_s, at_m_s)
            way[k] = gone_m + more_m
        if end < np.inf:
            more_m, at_m_s = pace.after(end - pace.start_s, at_m_s)
            gone_m += more_m
    return way, speed


def _gait(speed: FloatArray, heading_deg: FloatArray, step_s: float) -> FloatArray:
    """Return what the gait adds, (n, 3) [m]: lowest as a foot lands."""
    steps = np.cumsum(np.interp(speed, _SPEEDS, _STEPS_HZ)) * step_s
    rise = -0.5 * np.interp(speed, _SPEEDS, _BOUNCE_M) * np.cos(2 * np.pi * steps)
    sway = 0.5 * np.interp(speed, _SPEEDS, _SWAY_M) * np.sin(np.pi * steps)
    left = np.radians(heading_deg + 90.0)
    return np.column_stack([-np.sin(left) * sway, np.cos(left) * sway, rise])


def _facing(
    glances: tuple[Glance, ...], heading_deg: FloatArray, times_s: FloatArray
) -> FloatArray:
    facing = heading_deg
    for glance in glances:
        into = np.clip((times_s - glance.start_s) / _GLANCE_S, 0.0, 1.0)
        back = np.clip((glance.end_s - times_s) / _GLANCE_S, 0.0, 1.0)
        share = into * back
        share = share * share * (3.0 - 2.0 * share)
        # The shorter way round.
        turn = (glance.facing_deg - facing + 180.0) % 360.0 - 180.0
        facing = facing + share * turn
    return (facing + 180.0) % 360.0 - 180.0
