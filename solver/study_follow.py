"""How a camera follows: what exact aim would be, and the plain ways to depart from it.

The plain ways have one number each: aim that is exact, n seconds late or early; aim
through a first-order lag; aim through a Gaussian over the whole shot, which answers to
what has not happened yet. Each is compared with the camera in half frames, the screen
point at which it holds the subject being fitted too.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from .arrays import FloatArray
from .camera import aim
from .shot import Subject
from .study_camera import CameraMove, lagged, smoothed

MARGIN_S = 1.0  # of either end that is not compared: filters begin and end there
LONGEST_LAG_S = 1.5
LONGEST_SMOOTHING_S = 2.5
# Of a Gaussian's weight, 5 % lies further ahead than this many of its widths.
REACH = 1.6449
FLOOR = 1e-3  # half frames; nobody sees less


@dataclass(frozen=True, kw_only=True, slots=True)
class Way:
    """One way of following, fitted to a camera.

    Attributes:
        name: shifted, lagged or smoothed; held for a camera that does not turn.
        seconds: delay (negative: early), time constant, or the Gaussian's width.
        u, v: where the subject is held, half frames right and up of the lens axis.
        angles: pan and tilt that it gives, (2, n) [rad].
        miss: r.m.s. difference from the camera, half frames.
    """

    name: str
    seconds: float
    u: float
    v: float
    angles: FloatArray
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
        u: where on screen, half frames; likewise v.
        v: see u.
    """
    tx, ty = camera.tangents
    roll = float(np.median(camera.roll))
    pan, tilt, _ = aim(points - place, u, v, roll, tx, ty)
    pan = np.unwrap(pan)
    turns = np.round(np.median(camera.pan - pan) / (2 * np.pi))
    return np.stack([pan + 2 * np.pi * turns, tilt])


def _spread(values: FloatArray) -> FloatArray:
    """Return the r.m.s. about the mean of each row, robust against nothing."""
    out: FloatArray = values.std(axis=-1)
    return out


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


def _fit(
    camera: CameraMove,
    angles: FloatArray,
    name: str,
    low_s: float,
    high_s: float,
) -> tuple[float, FloatArray, float]:
    """Return seconds, curves and miss of a way on one exact aim."""
    inside = inner(camera)

    def made(seconds: float) -> FloatArray:
        samples = seconds * camera.rate_hz
        if name == "shifted":
            out = shifted(angles, samples)
        elif name == "lagged":
            out = lagged(angles, max(samples, 1e-3))
        else:
            out = smoothed(angles, samples)
        # Where it is held is fitted too: to first order an offset of the angles.
        off = np.mean((camera.angles - out)[:, inside], axis=1, keepdims=True)
        moved: FloatArray = out + off
        return moved

    def miss(seconds: float) -> float:
        off = (made(seconds) - camera.angles)[:, inside] / camera.half[:, None]
        return float(np.sqrt(np.mean(off**2)))

    grid = np.linspace(low_s, high_s, 26)
    best = int(np.argmin([miss(float(s)) for s in grid]))
    around = (float(grid[max(best - 1, 0)]), float(grid[min(best + 1, 25)]))
    found = minimize_scalar(miss, bounds=around, method="bounded")
    seconds = float(found.x)
    return seconds, made(seconds), miss(seconds)


def plain_ways(
    camera: CameraMove, subject: Subject, fraction: float, rails: FloatArray | None
) -> list[Way]:
    """Fit every plain way to a camera.

    Args:
        camera: what is explained.
        subject: what it might follow.
        fraction: body point that is held, floor 0 to eyes 1.
        rails: places that a dolly exactly abreast would have, (n, 3) [m], tried
            besides the camera's own; None for a camera that stays where it is.

    Returns:
        `shifted`, `lagged` and `smoothed`, each with its best exact aim.
    """
    points = subject.at(camera.times_s, fraction)
    bounds = {
        "shifted": (-LONGEST_LAG_S, LONGEST_LAG_S),
        "lagged": (0.01, LONGEST_LAG_S),
        "smoothed": (0.01, LONGEST_SMOOTHING_S),
    }
    aims = [centred_aim(camera, points, camera.place)]
    if rails is not None:
        aims.append(centred_aim(camera, points, rails))
    ways = []
    for name, (low, high) in bounds.items():
        fits = [(*_fit(camera, angles, name, low, high), u, v) for angles, u, v in aims]
        seconds, made, miss, u, v = min(fits, key=lambda fit: fit[2])
        ways.append(Way(name=name, seconds=seconds, u=u, v=v, angles=made, miss=miss))
    return ways


def departure(camera: CameraMove, angles: FloatArray) -> float:
    """Return the r.m.s. by which a camera departs from given angles, half frames.

    Constant differences do not count: they are where on screen the subject is held.
    """
    off = (camera.angles - angles)[:, inner(camera)] / camera.half[:, None]
    return float(np.sqrt(np.mean(_spread(off) ** 2)))
