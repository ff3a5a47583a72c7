"""How a camera follows: what exact aim would be, and the plain ways to depart from it.

The plain ways have one number each: aim that is exact, n seconds late or early; aim
through a first-order lag; aim through a Gaussian over the whole shot, which
anticipates. Each is compared with the camera in half frames, the screen
point at which it holds the subject being fitted too.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from ..action.subject import Subject
from ..arrays import FloatArray
from ..optics.camera import aim
from .camera import CameraMove, lagged, smoothed

MARGIN_S = 1.0  # of either end that is not compared: filters begin and end there
LONGEST_LAG_S = 1.5
LONGEST_SMOOTHING_S = 2.5
# Of a Gaussian's weight, 5 % lies further ahead than this many of its widths.
REACH = 1.6449
SLOW_S = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class DollyWay:
    """One way of following, fitted to a camera.

    Attributes:
        name: shifted, lagged or smoothed; held for a camera that does not turn.
        seconds: delay (negative: early), time constant, or the Gaussian's width.
        u, v: where the subject is held, half frames right and up of the lens axis.
        angles: pan and tilt that it gives, (2, n) [rad].
        off_rail: r.m.s. difference of the dolly, as half frames at the subject; None
            where the dolly is taken as it was.
        miss: r.m.s. difference from the camera, dolly included, half frames.
    """

    name: str
    seconds: float
    u: float
    v: float
    angles: FloatArray
    off_rail: float | None
    miss: float


def inner(camera: CameraMove) -> slice:
    """Return the samples that are compared: all but the ends."""
    cut = round(min(MARGIN_S, camera.seconds / 8) * camera.rate_hz)
    return slice(cut, len(camera.times_s) - cut)


def exact_aim(
    camera: CameraMove, points: FloatArray, place: FloatArray, u: float, v: float
) -> FloatArray:
    """Return the pan and tilt that hold points exactly, (2, n) [rad].

    Args:
        camera: gives the lens and the roll; pan is unwrapped towards its own.
        points: what is held, (n, 3) [m].
        place: where the lens is, (n, 3) [m].
        u: where on screen, half frames right of the lens axis.
        v: half frames above the lens axis.
    """
    tx, ty = camera.tangents
    roll = float(np.median(camera.roll))
    pan, tilt, _ = aim(points - place, u, v, roll, tx, ty)
    pan = np.unwrap(pan)
    turns = np.round(np.median(camera.pan - pan) / (2 * np.pi))
    return np.stack([pan + 2 * np.pi * turns, tilt])


def centred_aim(
    camera: CameraMove, points: FloatArray, place: FloatArray
) -> tuple[FloatArray, float, float]:
    """Return exact aim with the screen point at which the camera holds it on average.

    Returns:
        Pan and tilt (2, n) [rad], u and v.
    """
    u = v = 0.0
    inside = inner(camera)
    angles = exact_aim(camera, points, place, u, v)
    for _ in range(3):
        off = np.median((angles - camera.angles)[:, inside], axis=1) / camera.half
        # Held further right is a camera turned more to the left: pan grows with u.
        # Held higher is a camera turned down: tilt falls with v.
        u, v = u - float(off[0]), v + float(off[1])
        u, v = float(np.clip(u, -2, 2)), float(np.clip(v, -2, 2))
        angles = exact_aim(camera, points, place, u, v)
    return angles, u, v


def shifted(angles: FloatArray, samples: float) -> FloatArray:
    """Return curves (..., n) late by a number of samples, ends held."""
    n = angles.shape[-1]
    at = np.arange(n) - samples
    rows = [np.interp(at, np.arange(n), row) for row in angles.reshape(-1, n)]
    return np.array(rows).reshape(angles.shape)


@dataclass(frozen=True, kw_only=True, slots=True)
class Rails:
    """A dolly that might be abreast of what it follows.

    Attributes:
        feet: of the held points on its line or arc, (n,) [m].
        rail: where it was, (n,) [m].
        places: lens places at places along the rail.
        scale_m: metres of dolly that count as a half frame.
    """

    feet: FloatArray
    rail: FloatArray
    places: Callable[[FloatArray], FloatArray]
    scale_m: float


def passed(name: str, values: FloatArray, samples: float) -> FloatArray:
    """Return curves (..., n) as a way of following makes them of exact ones."""
    if name == "shifted":
        return shifted(values, samples)
    if name == "lagged":
        return lagged(values, max(samples, 1e-3))
    return smoothed(values, samples)


class _Fit:
    """One way, on the camera's own places or on an ideal dolly's."""

    def __init__(
        self, camera: CameraMove, points: FloatArray, name: str, rails: Rails | None
    ) -> None:
        self.camera, self.points, self.name, self.rails = camera, points, name, rails
        self.inside = inner(camera)
        self.held: tuple[float, float] | None = None
        self.exact = None if rails else centred_aim(camera, points, camera.place)

    def made(self, seconds: float) -> tuple[FloatArray, float, float, float]:
        """Return angles (2, n), the dolly's miss in half frames, u and v."""
        samples = seconds * self.camera.rate_hz
        off_rail = 0.0
        if self.rails is None:
            assert self.exact is not None
            angles, u, v = self.exact
        else:
            late = passed(self.name, self.rails.feet, samples)
            gap = (self.rails.rail - late)[self.inside]
            beside = float(gap.mean())
            off_rail = float(gap.std()) / self.rails.scale_m
            place = self.rails.places(self.rails.feet + beside)
            if self.held is None:
                _, u, v = centred_aim(self.camera, self.points, place)
                self.held = u, v
            u, v = self.held
            angles = exact_aim(self.camera, self.points, place, u, v)
        out = passed(self.name, angles, samples)
        # Where it is held is fitted too: to first order an offset of the angles.
        off = (self.camera.angles - out)[:, self.inside]
        return out + off.mean(axis=1, keepdims=True), off_rail, u, v

    def miss(self, seconds: float) -> float:
        angles, off_rail, _, _ = self.made(seconds)
        off = (angles - self.camera.angles)[:, self.inside]
        square = np.mean((off / self.camera.half[:, None]) ** 2) + off_rail**2
        return float(np.sqrt(square))

    def best(self, low_s: float, high_s: float) -> "DollyWay":
        grid = np.linspace(low_s, high_s, 26)
        k = int(np.argmin([self.miss(float(s)) for s in grid]))
        around = (float(grid[max(k - 1, 0)]), float(grid[min(k + 1, 25)]))
        found = minimize_scalar(self.miss, bounds=around, method="bounded")
        seconds = float(found.x)
        angles, off_rail, u, v = self.made(seconds)
        return DollyWay(
            name=self.name,
            seconds=seconds,
            u=u,
            v=v,
            angles=angles,
            off_rail=off_rail if self.rails else None,
            miss=self.miss(seconds),
        )


def plain_ways(
    camera: CameraMove, subject: Subject, fraction: float, rails: Rails | None
) -> list[DollyWay]:
    """Fit every plain way to a camera.

    Args:
        camera: what is explained.
        subject: what it might follow.
        fraction: body point that is held, floor 0 to eyes 1.
        rails: the dolly, if there is one: every way is then tried with the dolly
            following likewise, besides the dolly just being where it was.

    Returns:
        `shifted`, `lagged` and `smoothed`, each for the dolly as it was, and then
        each with a dolly that follows likewise.
    """
    points = subject.at(camera.times_s, fraction)
    bounds = {
        "shifted": (-LONGEST_LAG_S, LONGEST_LAG_S),
        "lagged": (0.01, LONGEST_LAG_S),
        "smoothed": (0.01, LONGEST_SMOOTHING_S),
    }
    return [
        _Fit(camera, points, name, dolly).best(low, high)
        for dolly in ([None] if rails is None else [None, rails])
        for name, (low, high) in bounds.items()
    ]


def slow_of(camera: CameraMove, angles: FloatArray) -> float:
    """Return the r.m.s. of the slow difference from given angles, half frames.

    Args:
        camera: what was moved.
        angles: (2, k) [rad], k at most n: only as much is compared.
    """
    n = angles.shape[1]
    off = (camera.angles[:, :n] - angles) / camera.half[:, None]
    off = smoothed(off, SLOW_S * camera.rate_hz)
    cut = inner(camera).start
    part = off[:, cut : n - cut]
    part = part - part.mean(axis=1, keepdims=True)
    return float(np.sqrt(np.mean(part**2)))


def explained(camera: CameraMove, angles: FloatArray, departure: float) -> float:
    """Return the share of a slow departure's power that given angles explain.

    Args:
        camera: what was moved.
        angles: (2, k) [rad], k at most n: only as much is compared.
        departure: what exact aim leaves, half frames r.m.s., > 0.

    Returns:
        1 where the angles leave nothing; below 0 where they leave more than exact aim.
    """
    return 1.0 - (slow_of(camera, angles) / departure) ** 2
