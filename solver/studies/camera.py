"""A camera that was made elsewhere: its recorded curves, and the noise on them.

Metres, radians, seconds, Y up; angles as in `camera`. Nothing here knows how the move
was made.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..arrays import FloatArray, frozen
from ..errors import SolverError
from ..optics.camera import Gate

FEWEST_SAMPLES = 8  # below, no difference of the fourth order says anything
# Rates of change are taken after a Gaussian of this width, so that rounding and noise
# do not pass for motion; subject and camera go through the same one.
SMOOTH_S = 0.08
_FOURTH = np.array([1.0, -4.0, 6.0, -4.0, 1.0])
_MAD = 1.4826  # median absolute deviation to standard deviation, normal noise


@dataclass(frozen=True, kw_only=True)
class CameraMove:
    """A camera's curves, n evenly spaced samples.

    Attributes:
        times_s: ascending, (n,) [s].
        place: of the lens, (n, 3) [m].
        pan, tilt, roll: unwrapped, (n,) [rad].
        focal_mm: (n,) [mm].
        gate: the delivered frame.
    """

    times_s: FloatArray
    place: FloatArray
    pan: FloatArray
    tilt: FloatArray
    roll: FloatArray
    focal_mm: FloatArray
    gate: Gate

    def __post_init__(self) -> None:
        """Freeze the arrays and refuse what is too short to be measured."""
        for name in ("times_s", "place", "pan", "tilt", "roll", "focal_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        if len(self.times_s) < FEWEST_SAMPLES:
            message = f"camera: needs {FEWEST_SAMPLES} samples, got {len(self.times_s)}"
            raise SolverError(message)

    @cached_property
    def step_s(self) -> float:
        """Time from one sample to the next [s]."""
        span = self.times_s[-1] - self.times_s[0]
        return float(span / (len(self.times_s) - 1))

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return 1.0 / self.step_s

    @property
    def seconds(self) -> float:
        """Length, the last sample's own time included [s]."""
        return len(self.times_s) * self.step_s

    @cached_property
    def focal(self) -> float:
        """Median focal length [mm]."""
        return float(np.median(self.focal_mm))

    @cached_property
    def tangents(self) -> tuple[float, float]:
        """Half-frame tangents of the median focal length."""
        return self.gate.half_tangents(self.focal)

    @cached_property
    def half(self) -> FloatArray:
        """Half angles of view across and up, (2,) [rad]."""
        half: FloatArray = np.arctan(np.array(self.tangents))
        return half

    @cached_property
    def angles(self) -> FloatArray:
        """Pan and tilt, (2, n) [rad]."""
        return np.stack([self.pan, self.tilt])

    @cached_property
    def angle_noise(self) -> float:
        """Sample noise of pan and tilt by `noise_of`, (2,) [half frames]."""
        noise = [noise_of(x) for x in self.angles]
        return float(max(np.array(noise) / self.half))

    @cached_property
    def place_noise_m(self) -> float:
        """Sample noise of the lens's place on its noisiest axis [m]."""
        return max(noise_of(self.place[:, c]) for c in range(3))


def noise_of(values: FloatArray) -> float:
    """Return the standard deviation of white noise on samples, (n,).

    From the median of fourth differences, which a smooth move hardly has: of white
    noise they have sqrt(70) times its deviation. Rounding counts as noise. A bounded
    move's own jerk adds a little, so the figure is an upper one.
    """
    fourth = np.convolve(values, _FOURTH, mode="valid")
    return float(_MAD * np.median(np.abs(fourth)) / np.sqrt(70.0))


def smooth_rate(values: FloatArray, step_s: float) -> FloatArray:
    """Return the rate of change after a short Gaussian, (..., n) [units/s].

    Args:
        values: (..., n) samples.
        step_s: time between samples [s].
    """
    from scipy.ndimage import gaussian_filter1d

    sigma = SMOOTH_S / step_s
    n = min(values.shape[-1] - 1, int(4 * sigma) + 1)
    # A move that runs on past the ends keeps its speed there.
    before = 2 * values[..., :1] - values[..., n:0:-1]
    after = 2 * values[..., -1:] - values[..., -2 : -n - 2 : -1]
    padded = np.concatenate([before, values, after], axis=-1)
    smooth = gaussian_filter1d(padded, sigma, axis=-1, mode="nearest")
    rates: FloatArray = np.gradient(smooth, step_s, axis=-1)[..., n:-n]
    return rates


def smoothed(values: FloatArray, sigma: float) -> FloatArray:
    """Return values through a Gaussian over past and future, ends held, (..., n).

    Args:
        values: (..., n) samples.
        sigma: its width in samples, >= 0.
    """
    if sigma < 1e-3:
        return np.array(values, dtype=np.float64)
    from scipy.ndimage import gaussian_filter1d

    out: FloatArray = gaussian_filter1d(values, sigma, axis=-1, mode="nearest")
    return out


def lagged(values: FloatArray, lag: float) -> FloatArray:
    """Return values through a first-order lag from the first on, (..., n).

    Args:
        values: (..., n) samples.
        lag: time constant in samples, > 0.
    """
    from scipy.signal import lfilter

    keep = float(np.exp(-1.0 / lag))
    start = keep * values[..., :1]
    out, _ = lfilter([1.0 - keep], [1.0, -keep], values, axis=-1, zi=start)
    result: FloatArray = out
    return result


def angles_of(turns: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return unwrapped pan, tilt and roll of world-from-camera quaternions.

    Args:
        turns: (n, 4) as x, y, z, w, unit, of either sign.

    Returns:
        Each (n,) [rad]; tilt in [-pi/2, pi/2]. Straight up or down pan and roll are
        only determined together, and the split is arbitrary.
    """
    x, y, z, w = turns.T
    r02, r22 = 2 * (x * z + w * y), 1 - 2 * (x * x + y * y)
    r12 = 2 * (y * z - w * x)
    r10, r11 = 2 * (x * y + w * z), 1 - 2 * (x * x + z * z)
    tilt = np.arcsin(np.clip(-r12, -1.0, 1.0))
    return (
        np.unwrap(np.arctan2(r02, r22)),
        tilt,
        np.unwrap(np.arctan2(r10, r11)),
    )
