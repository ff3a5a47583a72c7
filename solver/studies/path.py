"""How simple a camera's path is: the best point, line or arc, and what is left of it.

A Gaussian separates path and shake: the smoothed path is compared with the simplest
rigs; what the Gaussian takes away is shake or noise.
"""

from dataclasses import dataclass
from math import atan2

import numpy as np

from ..arrays import FloatArray
from ..laying.fit_arc import Circle, circle_geometric
from ..rigs.arc import arc
from ..rigs.shape import StudiedRig
from ..rigs.sticks import sticks
from ..rigs.track import track
from .camera import CameraMove, noise_of, smooth_rate, smoothed

SMOOTH_S = 0.5
POINT_M = 0.005  # what is left of a path that is none, r.m.s.
LINE_M = 5e-5
FREE_M = 0.03  # beyond, no simple rig gives it
LEAK = 0.5  # of what the Gaussian takes away may stay in the smoothed path
ARC_GAIN = 0.5  # an arc has to leave less than this share of what a line leaves
MOST_RADIUS_M = 500.0
MOVING_DEG_S = 1.0
MOVING_M_S = 0.02


@dataclass(frozen=True, kw_only=True, slots=True)
class StudiedPath:
    """The simplest rig that gives a camera's path.

    Attributes:
        kind: point, line, arc, or free where none of them fits.
        rig: the rig, None where free.
        rail: place along it, (n,) [m]; distance along the path where free.
        left_m: r.m.s. of what the rig leaves of the smoothed path.
        left: by kind, the same [m].
        wobble_m: r.m.s. of what the Gaussian takes away across the rail.
        wobble_m2_s2: mean square of its speed, the energy for unit mass, twice.
        parallax_percent: by how much of the frame's width wobble moves what is as far
            as the subject against what is far behind it, r.m.s.; None without one.
        travel_m: along the rail.
        moving: names of the axes that move: pan, tilt, roll, dolly.
        reversals: changes of direction by axis, moves slower than a crawl left out.
    """

    kind: str
    rig: StudiedRig | None
    rail: FloatArray
    left_m: float
    left: dict[str, float]
    wobble_m: float
    wobble_m2_s2: float
    parallax_percent: float | None
    travel_m: float
    moving: tuple[str, ...]
    reversals: dict[str, int]


def study_path(camera: CameraMove, distance_m: float | None) -> StudiedPath:
    """Return the simplest path of a camera.

    Args:
        camera: what was moved.
        distance_m: typical distance of the subject [m], None without one.
    """
    place = camera.place
    flat = smoothed(place.T, SMOOTH_S * camera.rate_hz).T
    taken = place - flat
    rough = _rms(taken)
    middle = flat.mean(axis=0)
    axis = np.linalg.svd(flat - middle, full_matrices=False)[2][0]
    circle = circle_geometric(np.ascontiguousarray(flat[:, [0, 2]]))
    left = {"point": _rms(flat - middle), "line": _rms(_across(flat - middle, axis))}
    if circle is not None and circle.radius < MOST_RADIUS_M:
        off = circle.distances(np.ascontiguousarray(flat[:, [0, 2]]))
        rise = flat[:, 1] - middle[1]
        left["arc"] = float(np.sqrt(np.mean(off**2 + rise**2)))
    # A path along a rail leaves shake across it; along it the Gaussian takes motion.
    across = _rms(_across(taken, axis))
    # The Gaussian leaves of white noise the root of 1 / (2 sqrt(pi) sigma).
    kept = 1 / np.sqrt(2 * np.sqrt(np.pi) * SMOOTH_S * camera.rate_hz)
    noise = max(LINE_M, 3 * kept * camera.place_noise_m)
    kind = _kind(left, rough if left["point"] < 4 * POINT_M else across, noise)
    rig, rail = _rig(kind, camera, flat, middle, axis, circle)
    off_rail = place - (rig.places(rail) if rig is not None else flat)
    wobble = off_rail - smoothed(off_rail.T, SMOOTH_S * camera.rate_hz).T
    speed = np.gradient(wobble, camera.step_s, axis=0)
    jitter = noise_of(wobble[:, 0]) / camera.step_s
    parallax = None
    if distance_m is not None:
        tx, _ = camera.tangents
        parallax = 100 * _rms(wobble) / (distance_m * tx) / 2
    rates = {
        "pan": np.degrees(smooth_rate(camera.pan, camera.step_s)),
        "tilt": np.degrees(smooth_rate(camera.tilt, camera.step_s)),
        "roll": np.degrees(smooth_rate(camera.roll, camera.step_s)),
        "dolly": smooth_rate(rail, camera.step_s),
    }
    least = dict.fromkeys(rates, MOVING_DEG_S) | {"dolly": MOVING_M_S}
    if kind == "point":
        rates["dolly"] = np.zeros(len(rail))
    return StudiedPath(
        kind=kind,
        rig=rig,
        rail=rail,
        left_m=left.get(kind, min(left.values())),
        left=left,
        wobble_m=_rms(wobble),
        wobble_m2_s2=max(0.0, float((speed**2).sum(axis=1).mean()) - 3 * jitter**2),
        parallax_percent=parallax,
        travel_m=float(np.ptp(rail)),
        moving=tuple(
            name for name, rate in rates.items() if np.abs(rate).max() > least[name]
        ),
        reversals={
            name: count_reversals(rate, least[name]) for name, rate in rates.items()
        },
    )


def count_reversals(rate: FloatArray, least: float) -> int:
    """Count changes of direction between moves faster than `least`."""
    moving = np.sign(rate[np.abs(rate) > least])
    return int((np.diff(moving) != 0).sum())


def _rms(offsets: FloatArray) -> float:
    """Return the r.m.s. length of offsets (n, k)."""
    return float(np.sqrt((offsets**2).sum(axis=-1).mean()))


def _across(offsets: FloatArray, axis: FloatArray) -> FloatArray:
    out: FloatArray = offsets - np.outer(offsets @ axis, axis)
    return out


def _kind(left: dict[str, float], taken: float, noise: float) -> str:
    if left["point"] <= max(POINT_M, LEAK * taken):
        return "point"
    floor = max(noise, LEAK * taken)
    curved = left.get("arc", np.inf)
    if left["line"] <= floor:
        return "line"  # or an arc so short or so wide that none can tell
    best = "arc" if curved < ARC_GAIN * left["line"] else "line"
    return best if left[best] <= max(FREE_M, floor) else "free"


def _rig(
    kind: str,
    camera: CameraMove,
    flat: FloatArray,
    middle: FloatArray,
    axis: FloatArray,
    circle: Circle | None,
) -> tuple[StudiedRig | None, FloatArray]:
    place = camera.place
    if kind == "point":
        return sticks(middle), np.zeros(len(place))
    if kind == "line":
        along = (place - middle) @ axis
        low, high = along.min(), along.max()
        return track(middle + low * axis, middle + high * axis), along - low
    if kind == "arc":
        assert circle is not None
        off = place[:, [0, 2]] - circle.centre
        angle = np.unwrap([atan2(-x, -z) for x, z in off])
        low, high = angle.min(), angle.max()
        centre = [circle.centre[0], middle[1], circle.centre[1]]
        rig = arc(np.array(centre), radius=circle.radius, start=low, sweep=high - low)
        return rig, circle.radius * (angle - low)
    steps = np.linalg.norm(np.diff(flat, axis=0), axis=1)
    return None, np.append(0.0, np.cumsum(steps))


def along_path(path: StudiedPath, points: FloatArray) -> FloatArray | None:
    """Return the feet of points on a path's line or arc, however far, (n,) [m].

    None for a point or a free path. Zero is where the path's rail begins.
    """
    if path.rig is None or path.kind == "point":
        return None
    return path.rig.feet(points, path.rail)
