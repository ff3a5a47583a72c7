"""Peaks of speed, acceleration and jerk of a camera, against limits of a crew.

Peaks are taken after the Gaussian of `study_camera`, which takes some off the jerk of
a real move and all of a single bad key. Where the noise alone would give a fourth of
the peak, there is no figure.
"""

from dataclasses import dataclass
from math import degrees

import numpy as np

from ..arrays import FloatArray
from ..presets import Crew, Member
from .camera import CameraMove, noise_of, smooth_rate

NOISE_SHARE = 0.25
PEAK_OF_NOISE = 3.5  # deviations that the largest of some hundred samples reaches


@dataclass(frozen=True, kw_only=True, slots=True)
class Peaks:
    """Largest speed, acceleration and jerk of a channel, and their share of limits.

    Units: deg/s, deg/s2, deg/s3 for pan and tilt; m/s and so on for the dolly. None
    where noise hides it.
    """

    speed: float | None
    accel: float | None
    jerk: float | None
    speed_used: float | None
    accel_used: float | None
    jerk_used: float | None


def study_limits(
    camera: CameraMove, rail: FloatArray, noise: float, rail_noise_m: float, crew: Crew
) -> dict[str, Peaks]:
    """Return the peaks of pan, tilt and dolly against a crew's limits.

    Args:
        camera: what was moved.
        rail: place along its path, (n,) [m].
        noise: of its angles, shake included, half frames.
        rail_noise_m: of its place along the path [m].
        crew: whose limits are the measure.
    """
    half_pan, half_tilt = camera.half
    return {
        "pan": _peaks(camera.pan, camera, noise * half_pan, crew.operator, 1.0),
        "tilt": _peaks(camera.tilt, camera, noise * half_tilt, crew.operator, 1.0),
        "dolly": _peaks(rail, camera, rail_noise_m, crew.grip, 0.0),
    }


def _peaks(
    values: FloatArray, camera: CameraMove, noise: float, member: Member, angular: float
) -> Peaks:
    step = camera.step_s
    impulse = np.zeros(257)
    impulse[128] = 1.0
    noise = max(noise, noise_of(values))
    found: list[float | None] = []
    used: list[float | None] = []
    # Where the curves end, the higher rates are the end's and not the move's.
    edge = min(round(0.25 / step), len(values) // 4)
    limits = (member.max_speed, member.max_accel, member.max_jerk)
    for order, limit in enumerate(limits, start=1):
        values, impulse = (
            (smooth_rate(values, step), smooth_rate(impulse, step))
            if order == 1
            else (np.gradient(values, step), np.gradient(impulse, step))
        )
        peak = float(np.abs(values[edge : len(values) - edge]).max())
        alone = PEAK_OF_NOISE * noise * float(np.sqrt((impulse**2).sum()))
        seen = peak > 0 and alone < NOISE_SHARE * peak
        found.append((degrees(peak) if angular else peak) if seen else None)
        used.append(peak / limit if seen else None)
    return Peaks(
        speed=found[0],
        accel=found[1],
        jerk=found[2],
        speed_used=used[0],
        accel_used=used[1],
        jerk_used=used[2],
    )
