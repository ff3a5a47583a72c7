"""How a camera follows: what exact aim would be, and the plain ways to depart from it.

The plain ways: aim that is exact, some seconds late or early; aim through a first-order
lag, late or not; aim through a Gaussian over the whole shot, which anticipates. Each is
compared with the camera in half frames. Where on the body it aims, and where on the
screen it holds that, is fitted with it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.optimize import minimize, minimize_scalar

from ..action.subject import Subject
from ..arrays import FloatArray
from .camera import CameraMove, lagged, smoothed
from .looked import Aimed, AimPoint, aimed, exact_aim, fitted_look

MARGIN_S = 1.0  # of either end that is not compared: filters begin and end there
LONGEST_LAG_S = 1.5
LONGEST_SMOOTHING_S = 2.5
LONGEST_DELAY_S = 0.8
LAGS_S = (0.05, 0.12, 0.25, 0.5, 1.0)
DELAYS_S = (0.0, 0.1, 0.2, 0.4)
BOUNDS = {
    "shifted": (-LONGEST_LAG_S, LONGEST_LAG_S),
    "lagged": (0.01, LONGEST_LAG_S),
    "smoothed": (0.01, LONGEST_SMOOTHING_S),
}
NOWHERE_ELSE = AimPoint()
# Of a Gaussian's weight, 5 % lies further ahead than this many of its widths.
REACH = 1.6449
SLOW_S = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class DollyWay:
    """One way of following, fitted to a camera.

    Attributes:
        name: shifted, lagged or smoothed; held for a camera that does not turn.
        seconds: delay (negative: early), time constant, or the Gaussian's width.
        look: where on the body it aims, and where on the screen it holds that.
        angles: pan and tilt that it gives, (2, n) [rad].
        off_rail: r.m.s. difference of the dolly, as half frames at the subject; None
            where the dolly is taken as it was.
        miss: r.m.s. difference from the camera, dolly included, half frames.
        late_s: of a lag, by how much it is late besides [s].
    """

    name: str
    seconds: float
    look: AimPoint
    angles: FloatArray
    off_rail: float | None
    miss: float
    late_s: float = 0.0


def inner(camera: CameraMove) -> slice:
    """Return the samples that are compared: all but the ends."""
    cut = round(min(MARGIN_S, camera.seconds / 8) * camera.rate_hz)
    return slice(cut, len(camera.times_s) - cut)


def centred_aim(
    camera: CameraMove,
    points: FloatArray,
    place: FloatArray,
    look: AimPoint = NOWHERE_ELSE,
) -> tuple[FloatArray, AimPoint]:
    """Return exact aim with the screen point at which the camera holds it on average.

    Args:
        camera: what was moved.
        points: the expected points of the body, (n, 3) [m].
        place: where the lens is, (n, 3) [m].
        look: how far beside them it looks.

    Returns:
        Pan and tilt (2, n) [rad], and the look with that screen point.
    """
    inside = inner(camera)
    angles = exact_aim(camera, points, place, look)
    for _ in range(3):
        off = np.median((angles - camera.angles)[:, inside], axis=1) / camera.half
        # Held further right is a camera turned more to the left: pan grows with u.
        # Held higher is a camera turned down: tilt falls with v.
        u, v = look.u - float(off[0]), look.v + float(off[1])
        look = look._replace(u=float(np.clip(u, -2, 2)), v=float(np.clip(v, -2, 2)))
        angles = exact_aim(camera, points, place, look)
    return angles, look


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


def passed(
    name: str, values: FloatArray, samples: float, late: float = 0.0
) -> FloatArray:
    """Return curves (..., n) as a way of following makes them of exact ones.

    Args:
        name: of the way.
        values: (..., n).
        samples: its own number: delay, time constant, or width.
        late: samples by which a lag is delayed besides, >= 0.
    """
    if name == "shifted":
        return shifted(values, samples)
    if name == "lagged":
        late_too = shifted(values, late) if late > 0.0 else values
        return lagged(late_too, max(samples, 1e-3))
    return smoothed(values, samples)


class _Fit:
    """One way about one look, the dolly just being where it was."""

    def __init__(self, camera: CameraMove, here: Aimed, name: str) -> None:
        self.camera, self.name, self.here = camera, name, here
        self.inside = inner(camera)
        self.stack = np.concatenate([here.angles[None], here.changes])

    def made(self, seconds: float, late_s: float) -> tuple[AimPoint, FloatArray]:
        rate = self.camera.rate_hz
        through = passed(self.name, self.stack, seconds * rate, late_s * rate)
        return fitted_look(self.camera, self.inside, self.here, through)

    def miss(self, seconds: float, late_s: float = 0.0) -> float:
        off = (self.made(seconds, late_s)[1] - self.camera.angles)[:, self.inside]
        return float(np.sqrt(np.mean((off / self.camera.half[:, None]) ** 2)))

    def best(self, low_s: float, high_s: float) -> "DollyWay":
        seconds, late_s = self._delayed() if self.name == "lagged" else (0.0, 0.0)
        if self.name != "lagged":
            seconds = _least(self.miss, low_s, high_s)
        look, angles = self.made(seconds, late_s)
        return DollyWay(
            name=self.name,
            seconds=seconds,
            late_s=late_s,
            look=look,
            angles=angles,
            off_rail=None,
            miss=self.miss(seconds, late_s),
        )

    def _delayed(self) -> tuple[float, float]:
        """Return time constant and delay of a lag, both fitted."""
        start = min(
            product(LAGS_S, DELAYS_S), key=lambda pair: self.miss(pair[0], pair[1])
        )
        bounds = [(0.01, LONGEST_LAG_S), (0.0, LONGEST_DELAY_S)]
        found = minimize(
            lambda x: self.miss(float(x[0]), float(x[1])),
            start,
            bounds=bounds,
            method="Nelder-Mead",
            options={"xatol": 1e-3, "fatol": 1e-6, "maxfev": 120},
        )
        return float(found.x[0]), float(found.x[1])


class _RailFit:
    """One way of which the dolly is a part: it is abreast likewise."""

    def __init__(
        self,
        camera: CameraMove,
        points: FloatArray,
        name: str,
        rails: Rails,
        look: AimPoint,
    ) -> None:
        self.camera, self.points, self.name, self.rails = camera, points, name, rails
        self.inside, self.look = inner(camera), look
        self.held: AimPoint | None = None

    def made(self, seconds: float) -> tuple[FloatArray, float, AimPoint]:
        """Return angles (2, n), the dolly's miss in half frames, and the look."""
        samples = seconds * self.camera.rate_hz
        late = passed(self.name, self.rails.feet, samples)
        gap = (self.rails.rail - late)[self.inside]
        off_rail = float(gap.std()) / self.rails.scale_m
        place = self.rails.places(self.rails.feet + float(gap.mean()))
        if self.held is None:
            _, self.held = centred_aim(self.camera, self.points, place, self.look)
        angles = exact_aim(self.camera, self.points, place, self.held)
        out = passed(self.name, angles, samples)
        # Where it is held is fitted too: to first order an offset of the angles.
        off = (self.camera.angles - out)[:, self.inside]
        return out + off.mean(axis=1, keepdims=True), off_rail, self.held

    def miss(self, seconds: float) -> float:
        angles, off_rail, _ = self.made(seconds)
        off = (angles - self.camera.angles)[:, self.inside]
        square = np.mean((off / self.camera.half[:, None]) ** 2) + off_rail**2
        return float(np.sqrt(square))

    def best(self, low_s: float, high_s: float) -> "DollyWay":
        seconds = _least(self.miss, low_s, high_s)
        angles, off_rail, look = self.made(seconds)
        return DollyWay(
            name=self.name,
            seconds=seconds,
            look=look,
            angles=angles,
            off_rail=off_rail,
            miss=self.miss(seconds),
        )


def _least(miss: Callable[[float], float], low_s: float, high_s: float) -> float:
    """Return where a miss is least: the best of a grid, then between its neighbours."""
    grid = np.linspace(low_s, high_s, 26)
    k = int(np.argmin([miss(float(s)) for s in grid]))
    around = (float(grid[max(k - 1, 0)]), float(grid[min(k + 1, 25)]))
    return float(minimize_scalar(miss, bounds=around, method="bounded").x)


def plain_ways(
    camera: CameraMove, subject: Subject, fraction: float, rails: Rails | None
) -> list[DollyWay]:
    """Fit every plain way to a camera, where on the body it looks included.

    Args:
        camera: what is explained.
        subject: what it might follow.
        fraction: body point that is expected, floor 0 to eyes 1.
        rails: the dolly, if there is one: every way is then tried with the dolly
            following likewise, besides the dolly just being where it was.

    Returns:
        `shifted`, `lagged` and `smoothed`, each for the dolly as it was, and then
        each with a dolly that follows likewise.
    """
    points = subject.at(camera.times_s, fraction)
    _, held = centred_aim(camera, points, camera.place)
    first = [_about(camera, points, name, held) for name in BOUNDS]
    # Linear about the look, so once more about each way's own.
    ways = [_about(camera, points, way.name, way.look) for way in first]
    if rails is not None:
        look = min(ways, key=lambda way: way.miss).look
        ways += [
            _RailFit(camera, points, name, rails, look).best(low, high)
            for name, (low, high) in BOUNDS.items()
        ]
    return ways


def _about(
    camera: CameraMove, points: FloatArray, name: str, look: AimPoint
) -> DollyWay:
    here = aimed(camera, points, camera.place, look)
    return _Fit(camera, here, name).best(*BOUNDS[name])


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
