"""Targets for manual tracking: published sums of sines and band-limited random ones.

A target is periodic, so that a whole period has every line in a bin of its own. Units
are radians of bearing; phases are drawn anew for each run, seeded.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SHELF = 0.1  # -20 dB: lines above the band, by which the response there is seen
SHELF_TO_RAD_S = 14.0
RANDOM_PERIOD_S = 81.92


@dataclass(frozen=True, kw_only=True, slots=True)
class Target:
    """A sum of sines.

    `bins` are whole turns a period, (n,); `amplitude` (n,) [rad]; `source` names
    where the lines were published.
    """

    name: str
    period_s: float
    bins: NDArray[np.int64]
    amplitude: FloatArray
    source: str

    @property
    def omega(self) -> FloatArray:
        """Angular frequencies, (n,) [rad/s]."""
        return 2 * np.pi * self.bins / self.period_s

    @property
    def rms(self) -> float:
        """Root mean square over a period [rad]."""
        return float(np.sqrt((self.amplitude**2).sum() / 2))

    @property
    def fast_rms(self) -> float:
        """Root mean square of the lines above 0.1 rad/s [rad]."""
        return float(np.sqrt((self.amplitude[self.omega > 0.1] ** 2).sum() / 2))

    def at(self, times_s: FloatArray, phase: FloatArray) -> FloatArray:
        """Return the bearing at times (k,) for phases (n,), (k,) [rad]."""
        turns = np.multiply.outer(times_s, self.omega) + phase
        return np.sin(turns) @ self.amplitude

    def phases(self, seed: int) -> FloatArray:
        """Return the phases of a run, (n,) [rad]."""
        return np.random.default_rng(seed).uniform(0, 2 * np.pi, len(self.bins))


def _numbers(text: str) -> list[float]:
    return [float(word) for word in text.split()]


def _set(
    name: str, period_s: float, omega: list[float], amplitude: list[float], source: str
) -> Target:
    """Return published lines, each moved to the nearest bin of the period."""
    order = np.argsort(omega)
    bins = np.rint(np.array(omega)[order] * period_s / (2 * np.pi)).astype(np.int64)
    return Target(
        name=name,
        period_s=period_s,
        bins=bins,
        amplitude=np.array(amplitude)[order],
        source=source,
    )


def with_rms(target: Target, rms: float) -> Target:
    """Return the target scaled to `rms` [rad] over its lines above 0.1 rad/s."""
    return Target(
        name=target.name,
        period_s=target.period_s,
        bins=target.bins,
        amplitude=target.amplitude * (rms / target.fast_rms),
        source=target.source,
    )


# Lines transcribed in an open manual-tracking model library (Modelica), not read in the
# papers themselves. Set A is used at its published size; sets B and C at its rms.
SET_A = _set(
    "set A",
    81.92,
    _numbers(
        "0.4602 0.6903 0.9971 1.4573 2.2243 3.6049 "
        "4.6786 6.366 8.2068 10.661 13.729 16.336"
    ),
    _numbers(
        "0.0568 0.0495 0.0397 0.0278 0.0162 0.0078 "
        "0.0052 0.0034 0.0024 0.0019 0.0015 0.0014"
    ),
    "Nieuwenhuizen, Zaal, Mulder, van Paassen & Mulder 2008, JGCD 31(4):999-1013",
)
SET_B = with_rms(
    _set(
        "set B",
        81.92,
        [0.46, 0.997, 2.071, 3.145, 4.065, 5.599, 7.9, 10.661, 14.88, 17.564],
        [0.698, 0.489, 0.22, 0.119, 0.08, 0.049, 0.031, 0.023, 0.018, 0.016],
        "Zaal, Pool, van Paassen & Mulder 2012, JGCD 35(5):1456-1471",
    ),
    SET_A.rms,
)
SET_C = with_rms(
    _set(
        "set C",
        200.0,
        [9.362, 5.718, 3.456, 2.074, 1.194, 0.691, 0.314, 0.189, 0.031],
        [0.12, 0.256, 0.395, 0.536, 0.688, 0.839, 1.057, 1.198, 16.92],
        "Potter & Singhose, 2013 or 2014 (two papers; the library names neither)",
    ),
    SET_A.rms,
)


def band_limited(
    band_rad_s: float, *, rms: float = SET_A.rms, shelf: bool = True
) -> Target:
    """Return a random-looking target: equal lines up to a band.

    Args:
        band_rad_s: bandwidth of the rectangular spectrum [rad/s], > 0.3.
        rms: of the whole target [rad].
        shelf: whether lines 20 dB lower go on to 14 rad/s (the form of the forcing
            functions of AFFDL-TR-65-15, from memory).
    """
    step = 2 * np.pi / RANDOM_PERIOD_S
    top = SHELF_TO_RAD_S if shelf else band_rad_s
    # Gaps between the lines show the remnant; without a shelf the spectrum is full.
    bins = (
        np.arange(2, int(top / step) + 1, 3) if shelf else np.arange(1, top // step + 1)
    )
    amplitude = np.where(bins * step <= band_rad_s, 1.0, SHELF)
    amplitude *= rms / np.sqrt((amplitude**2).sum() / 2)
    return Target(
        name=f"random {band_rad_s:g} rad/s",
        period_s=RANDOM_PERIOD_S,
        bins=bins.astype(np.int64),
        amplitude=amplitude,
        source="rectangular spectrum, seeded phases"
        + (", shelf 20 dB lower" if shelf else ""),
    )


TARGETS = (SET_A, SET_B, SET_C, band_limited(2.5))
