"""Shake told from the move: its strength, its band, and the level that is like it.

Where a crew or a plain way explains the move, shake is what is left of pan and tilt.
Else the two overlap in frequency and there is no figure. White noise (rounding) is
taken off by its level at the top of the spectrum, where no level of shake reaches.
"""

from dataclasses import dataclass
from math import log

import numpy as np
from scipy import signal

from .arrays import BoolArray, FloatArray
from .shake import LEVELS
from .study_camera import CameraMove, smoothed

TOP_SHARE = 0.8  # of the Nyquist frequency; above lies noise alone
FAST_HZ = 2.0  # of an unexplained move only what is faster counts
WELCH_S = 4.0
BAND_SHARE = (0.05, 0.95)  # of the power, the band's ends
LEAST_S = 4.0
SLOW_S = 0.5
AGREED_TIMES = 2.5  # of the median slow difference: more is no shake's
AGREED = (0.0005, 0.004)  # and these are its bounds, half frames
QUIET_PERCENT = 0.02  # of the frame width, nobody sees it


@dataclass(frozen=True, kw_only=True, slots=True)
class ShakeFound:
    """What shakes.

    Attributes:
        percent: of the frame's width, r.m.s. of pan and tilt; None below the floor.
        low, high: its 95 % interval by the length of the take.
        floor_percent: what noise hides.
        why: what is missing, empty where there is a value.
        level: name of the level that is most like it, None where none is.
        band_hz: where 90 % of its power lies.
        roll_deg: r.m.s. of roll about its mean.
        hz, density: its spectrum, one-sided, percent^2 / Hz, (k,) each.
    """

    percent: float | None
    low: float | None
    high: float | None
    floor_percent: float
    why: str
    level: str | None
    band_hz: tuple[float, float] | None
    roll_deg: float
    hz: FloatArray
    density: FloatArray


def agreed(camera: CameraMove, left: FloatArray) -> BoolArray:
    """Return the samples at which what is left of a move is not slow, (n,).

    A decision that the explanation has too early or too late leaves a slow miss for a
    while, which is no shake.

    Args:
        camera: what was moved.
        left: pan and tilt less their explanation, (2, n) [rad].
    """
    off = (left - np.median(left, axis=1, keepdims=True)) / camera.half[:, None]
    slow = np.abs(smoothed(off, SLOW_S * camera.rate_hz)).max(axis=0)
    near: BoolArray = slow < np.clip(AGREED_TIMES * np.median(slow), *AGREED)
    return near


def study_shake(camera: CameraMove, left: FloatArray, *, explained: bool) -> ShakeFound:
    """Measure the shake in what is left of a move.

    Args:
        camera: what was moved.
        left: pan and tilt less the move that explains them, (2, n) [rad].
        explained: whether `left` is less a good explanation; else there is no figure,
            only the most that it can be.
    """
    tx, _ = camera.tangents
    percent = 100 * np.tan(left) / (2 * tx)
    rate = camera.rate_hz
    near = agreed(camera, left)
    if explained and LEAST_S * rate <= near.sum() < len(near):
        percent = percent[:, near]
    percent = percent - percent.mean(axis=1, keepdims=True)
    size = min(percent.shape[1], round(WELCH_S * rate))
    hz, density = signal.welch(percent, rate, nperseg=size, detrend="constant")
    density = density.mean(axis=0)
    top = hz >= TOP_SHARE * rate / 2
    white = float(np.median(density[top])) if top.any() else 0.0
    lines = 2 * top.sum() * max(1.0, camera.seconds / WELCH_S)
    noise_power = white * rate / 2
    # Rounding makes this much noise; what scatter of it is left cannot be told apart.
    floor = float(np.sqrt(noise_power * 4 / np.sqrt(max(lines, 1.0))))
    floor = max(floor, QUIET_PERCENT)
    clean = np.maximum(density - white, 0.0)
    roll = float(np.degrees(camera.roll.std()))
    if explained:
        power = float(np.mean(percent**2)) - noise_power
    else:
        # Move and shake overlap: what is fast is the most that can be shake.
        power = float(clean[hz >= FAST_HZ].sum() * (hz[1] - hz[0]))
    result = float(np.sqrt(max(power, 0.0)))
    level = _like(result)
    why = ""
    if camera.seconds < LEAST_S:
        why = f"shorter than {LEAST_S:g} s"
    elif not explained:
        why = (
            f"the move is not explained; above {FAST_HZ:g} Hz there is {result:.3f} % "
            "of the frame width, of the move's and of the shake"
        )
    elif near.sum() < LEAST_S * rate:
        why = f"the move is explained for less than {LEAST_S:g} s"
    elif result < floor:
        why = f"below the noise, {floor:.3f} % of the frame width"
    band = None if why else _band(hz[1:], clean[1:])
    spread = _spread(camera, band)
    return ShakeFound(
        percent=None if why else result,
        low=None if why else result * (1 - spread),
        high=None if why else result * (1 + spread),
        floor_percent=floor,
        why=why,
        level=level if not why else "locked" if explained and result < floor else None,
        band_hz=band,
        roll_deg=roll,
        hz=hz,
        density=clean,
    )


def _spread(camera: CameraMove, band: tuple[float, float] | None) -> float:
    """Return the 95 % relative interval of an r.m.s. over a take of this length."""
    width = 1.0 if band is None else max(band[1] - band[0], 0.2)
    # Two channels, each with twice the band times the time of independent values.
    free = 4 * width * camera.seconds
    return float(min(1.0, 2.0 / np.sqrt(2 * free)))


def _like(percent: float) -> str:
    """Return the level most like what was measured."""
    if percent < 2 * QUIET_PERCENT:
        return "locked"
    levels = [level for level in LEVELS.values() if level.percent > 0]
    return min(levels, key=lambda level: abs(log(level.percent / percent))).name


def _band(hz: FloatArray, density: FloatArray) -> tuple[float, float] | None:
    total = np.cumsum(density)
    if not total[-1] > 0:
        return None
    low, high = (float(hz[np.searchsorted(total, s * total[-1])]) for s in BAND_SHARE)
    return low, high
