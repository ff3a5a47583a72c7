"""Shake: a layer on top of the operated pose, never baked into it.

Each axis is a sum of cosines with seeded phases (spectral representation,
Shinozuka & Deodatis 1991, Appl. Mech. Rev. 44(4):191-204, from memory):

    x(t) = sum_k a_k cos(2 pi f_k t + phi_k),   a_k = sigma sqrt(2 p_k)

The band is cut into bins of equal width in log frequency. p_k is the share of
power in bin k and f_k lies at a seeded place inside it, so the sum has no common
period and nothing outside the band. It is an analytic function of absolute
time: trims, handles and sub-frames never change it.

The density is the log-Hann shape: power per octave is a raised cosine over the
band, S(f) ~ sin^2(pi y) / f with y = ln(f / lo) / ln(hi / lo).
"""

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np

from .arrays import FloatArray, frozen
from .cosines import cosine_sums, in_bins
from .elementary.trigonometry import sin
from .optics.camera import Gate

MOST_KEPT = 4096  # samples of a layer that is kept for other lenses
COMPONENTS = 48
# A rate must carry the top of the band at 0.45 cycles a sample, under the Nyquist
# limit of 0.5 by enough for the motion to read as motion.
CYCLES_PER_SAMPLE = 0.45

_AXES = ("x", "y", "z", "pan", "tilt", "roll")  # the order seeds are drawn in
_SEED_LABEL = 0x5348414B  # keeps this stream apart from others of one seed
_MM = 1e-3


@dataclass(frozen=True, slots=True)
class ShakeLevel:
    """How much the camera shakes, r.m.s. over all time on each axis.

    Pan and tilt take `percent` of the frame width, the same feel on every lens,
    or `degrees`, as a body does, whatever the lens; `degrees` wins where both
    are set. `band_hz` is (lowest, highest) frequency, the highest at most 10.
    """

    name: str
    percent: float = 0.0
    degrees: float | None = None
    band_hz: tuple[float, float] = (0.5, 5.0)
    roll_degrees: float = 0.0
    translation_mm: float = 0.0

    @property
    def lowest_rate_hz(self) -> float:
        """The lowest sampling rate [Hz] that carries the band."""
        return self.band_hz[1] / CYCLES_PER_SAMPLE

    def angle_rad(self, focal_mm: float, gate: Gate) -> float:
        """Return the r.m.s. of pan and of tilt [rad].

        An angle phi moves the centre of the picture by f tan(phi) on the film,
        here its first order: percent / 100 of the desqueezed frame width.
        """
        if self.degrees is not None:
            return math.radians(self.degrees)
        return 0.01 * self.percent * 2.0 * gate.half_tangents(focal_mm)[0]


# Our choice: no standard grades a held camera. Bands stay under the 6-12 Hz of
# physiological hand tremor (Lakie et al. 2015, J Physiol 593:4411), which the mass
# of a cine camera damps and lowers, and over most of standing sway (under 1 Hz),
# which the operator corrects. Held still cameras are reported at 4 Hz, and at 2 Hz
# while the shutter is pressed (Jpn J Ergonomics 31(6):399, 1995). Translation stays
# under the 3-6 mm r.m.s. of standing sway (Prieto et al. 1996, from memory) except for
# "rough".
LEVELS: dict[str, ShakeLevel] = {
    level.name: level
    for level in (
        ShakeLevel("locked"),
        ShakeLevel(
            "settled",
            percent=0.08,
            band_hz=(0.4, 3.0),
            roll_degrees=0.01,
            translation_mm=0.3,
        ),
        ShakeLevel(
            "shoulder",
            percent=0.35,
            band_hz=(0.5, 5.0),
            roll_degrees=0.06,
            translation_mm=2.0,
        ),
        ShakeLevel(
            "rough",
            percent=0.9,
            band_hz=(0.6, 8.0),
            roll_degrees=0.2,
            translation_mm=6.0,
        ),
    )
}


@dataclass(frozen=True, kw_only=True, slots=True)
class ShakeTrack:
    """The layer at n times, in the base camera's own axes.

    x (right), y (up), z (back) in metres; pan, tilt, roll in radians; each (n,).
    """

    x: FloatArray
    y: FloatArray
    z: FloatArray
    pan: FloatArray
    tilt: FloatArray
    roll: FloatArray

    @property
    def xyz(self) -> FloatArray:
        """Translation, (n, 3) [m]."""
        return np.stack([self.x, self.y, self.z], axis=1)


def log_hann_density(
    frequency_hz: FloatArray, band_hz: tuple[float, float]
) -> FloatArray:
    """Return the one-sided power density of unit variance [1/Hz].

    S(f) = 2 sin^2(pi y) / (f ln(hi / lo)), y = ln(f / lo) / ln(hi / lo), inside
    the band and zero outside it.

    Args:
        frequency_hz: (n,), > 0.
        band_hz: (lo, hi), 0 < lo < hi.
    """
    low, high = band_hz
    octaves = math.log(high / low)
    place = np.clip(np.log(frequency_hz / low) / octaves, 0.0, 1.0)
    return 2.0 * np.sin(np.pi * place) ** 2 / (frequency_hz * octaves)


def shake_layer(
    level: ShakeLevel,
    *,
    times_s: FloatArray,
    seed: int,
    focal_mm: float,
    gate: Gate,
) -> ShakeTrack:
    """Return the shake at the given times.

    Args:
        level: amplitudes and band; one of `LEVELS` or the caller's own.
        times_s: (n,) absolute times [s], in any order; each value depends on its
            own time only, to the bit.
        seed: >= 0; another seed is another performance of the same level.
        focal_mm: focal length [mm], used by levels in percent.
        gate: delivered frame, used by levels in percent.
    """
    spread = _spread(level, focal_mm, gate)
    if not spread.any():
        return ShakeTrack(**dict.fromkeys(_AXES, np.zeros(len(times_s))))
    times = np.array(times_s, dtype=np.float64)
    if len(times) <= MOST_KEPT:
        layer = _sums_kept(level.band_hz, seed, times.tobytes()) * spread[:, None]
    else:
        layer = np.empty((len(_AXES), len(times)))
        waves = (*_components(level.band_hz, seed), _amplitudes(), spread)
        cosine_sums(times, *waves, layer)
    return ShakeTrack(**dict(zip(_AXES, layer, strict=True)))


@lru_cache(maxsize=4)
def _sums_kept(band_hz: tuple[float, float], seed: int, times: bytes) -> FloatArray:
    """Return the layer at unit variance, (6, n): every lens of a kit only scales it."""
    at = np.frombuffer(times)
    layer = np.empty((len(_AXES), len(at)))
    waves = (*_components(band_hz, seed), _amplitudes(), np.ones(len(_AXES)))
    cosine_sums(at.copy(), *waves, layer)
    return frozen(layer)


class ShakeWaves(NamedTuple):
    """The cosines that a layer is summed from, on six axes x, y, z, pan, tilt, roll.

    Attributes:
        frequency: (6, k) [Hz].
        turns: phases, (6, k).
        shares: amplitudes at unit variance, (k,); none for a camera that is locked.
        spread: r.m.s. of each axis, (6,) [m, rad].
    """

    frequency: FloatArray
    turns: FloatArray
    shares: FloatArray
    spread: FloatArray


def shake_waves(
    level: ShakeLevel, *, seed: int, focal_mm: float, gate: Gate
) -> ShakeWaves:
    """Return the waves of `shake_layer`, which see."""
    spread = _spread(level, focal_mm, gate)
    if not spread.any():
        none = np.empty((len(_AXES), 0))
        return ShakeWaves(none, none, np.empty(0), spread)
    frequency, turns = _components(level.band_hz, seed)
    return ShakeWaves(frequency, turns, _amplitudes(), spread)


def _spread(level: ShakeLevel, focal_mm: float, gate: Gate) -> FloatArray:
    """Return the r.m.s. of each axis, (6,) [m, rad]."""
    angle = level.angle_rad(focal_mm, gate)
    shift = level.translation_mm * _MM
    roll = math.radians(level.roll_degrees)
    return np.array([shift, shift, shift, angle, angle, roll])


def _components(
    band_hz: tuple[float, float], seed: int
) -> tuple[FloatArray, FloatArray]:
    """Return frequency [Hz] and phase [turns] of the components, (6, 48) each."""
    low, high = band_hz
    # Raw words of the bit generator: numpy promises their stream for good, which it
    # does not for the distributions of a Generator.
    source = np.random.PCG64(np.random.SeedSequence([_SEED_LABEL, seed]))
    words = source.random_raw(2 * len(_AXES) * COMPONENTS) >> np.uint64(11)
    draws = (words * 2.0**-53).reshape(2, len(_AXES), COMPONENTS)
    frequency = np.empty((len(_AXES), COMPONENTS))
    in_bins(draws[0], low, high / low, frequency)
    return frequency, draws[1]


@cache
def _amplitudes() -> FloatArray:
    """Return the amplitudes of the components at unit variance, (48,)."""
    edges = [k / COMPONENTS for k in range(COMPONENTS + 1)]
    power = [y - sin(2.0 * math.pi * y) / (2.0 * math.pi) for y in edges]
    return frozen(np.sqrt(2.0 * np.diff(power)))
