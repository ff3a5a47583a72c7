"""The level of shake by its spectrum, separated from the move below it.

Shake is noise inside its level's band, of known shape (`shake.log_hann_density`). A
move is made of pieces of bounded jerk, so its power falls with a high power of the
frequency; rounding is white and stands alone at the top. Windows of some seconds are
explained by

    P(f) = a S(f) + b f^-p + w,

`a` and `w` the same in all, `b` a window's own, by the likelihood of periodograms
(Whittle 1953; Brillinger, Time Series, 1981; from memory). Of each window's power the
share that is shake's is then counted (Wiener's gain), with what the model expects
where the move drowns it.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import log

import numpy as np

from ..arrays import FloatArray
from ..shake import LEVELS, log_hann_density

WINDOW_S = 4.0
HOPS = 2  # a window
ALIKE = 1.1  # of Hann windows at that hop so many tell as much as one
DIFFERENCES = 2  # taken first, so that a window does not leak what is slow
POWERS = (6.0, 8.0)  # of acceleration that jumps (in a filter's wake), and of jerk
TOP_SHARE = 0.8  # of the Nyquist frequency; above lies white noise alone
LEAST_PERCENT, MOST_PERCENT = 0.01, 3.0
N_LEVELS, N_MOVES = 49, 33
LEAST_HZ = 0.4  # slower, a move is not yet as smooth as its pieces
MOVES = (1e-9, 30.0)
NAMED = 0.5  # how far, in logarithm, a level's strength strays from its name
LEAST_RATE_HZ = 7.5  # below, no level leaves room for noise
SURE = 1.92  # of log likelihood: 95 % of chi squared of one freedom, halved
PRESENT = 6.0  # of log likelihood that shake has to earn
FINE = 8  # frequencies that stand for a line


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelFound:
    """The level whose shape explains a spectrum best, its strength free.

    Attributes:
        name: of the level.
        percent: r.m.s. of what was there [% of the frame width].
        low, high: 95 % interval of the level's strength.
        earned: log likelihood over that of no shake at all; see `PRESENT`.
        white: density of noise, one-sided [%^2/Hz].
        hz, density: spectrum of the shake alone, one-sided, (k,) each.
    """

    name: str
    percent: float
    low: float
    high: float
    earned: float
    white: float
    hz: FloatArray
    density: FloatArray

    @property
    def present(self) -> bool:
        """Whether there is shake at all, as far as can be told."""
        return self.earned >= PRESENT

    @property
    def floor_percent(self) -> float:
        """What the noise alone amounts to inside the level's band, r.m.s. [%]."""
        low, high = LEVELS[self.name].band_hz
        return float(np.sqrt(self.white * (high - low)))

    @property
    def spread(self) -> float:
        """Half the interval, relative."""
        return (self.high - self.low) / max(2 * self.percent, 1e-12)


def periodograms(values: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Return the one-sided densities of Hann windows, without leakage of what is slow.

    Args:
        values: (channels, n), n at least 8.
        rate_hz: samples a second.

    Returns:
        Frequencies from `LEAST_HZ` to below the Nyquist limit, (k,) [Hz], and
        densities, (m, k) [squared units / Hz]; all windows of all channels.
    """
    steep = np.diff(values, DIFFERENCES, axis=1)
    n = steep.shape[1]
    size = min(n, round(WINDOW_S * rate_hz))
    count = 1 + -(-(n - size) * HOPS // size)
    starts = np.unique(np.linspace(0, n - size, count).round().astype(np.intp))
    parts = steep[:, starts[:, None] + np.arange(size)]
    window = _window(size)
    parts = (parts - parts.mean(axis=-1, keepdims=True)) * window
    hz = _lines(size, rate_hz)
    first = round(hz[0] * size / rate_hz)
    lines = np.fft.rfft(parts, axis=-1)[..., first : first + len(hz)]
    power = 2 * np.abs(lines) ** 2 / (rate_hz * np.sum(window**2))
    densities: FloatArray = (power / _steepness(hz, rate_hz)).reshape(-1, len(hz))
    return hz, densities


def _window(size: int) -> FloatArray:
    return np.array(np.hanning(size + 2)[1:-1])


def _lines(size: int, rate_hz: float) -> FloatArray:
    """Return the frequencies of a window's lines that are used [Hz]."""
    hz = np.arange(size // 2 + 1, dtype=np.float64) * (rate_hz / size)
    return np.array(hz[(hz >= LEAST_HZ) & (hz < rate_hz / 2)])


def _steepness(hz: FloatArray, rate_hz: float) -> FloatArray:
    """Return the power gain of the differences."""
    gain: FloatArray = (2 * np.sin(np.pi * hz / rate_hz)) ** (2 * DIFFERENCES)
    return gain


@lru_cache(maxsize=16)
def _smear(
    n_lines: int, rate_hz: float, step_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Return fine frequencies (j,) and the weight of each in a line (n_lines, j).

    A window sees what lies about a line too, and more of it the steeper it is.
    """
    size = round(rate_hz / step_hz)
    hz = _lines(size, rate_hz)[:n_lines]
    middles = np.arange((size // 2 + 1) * FINE, dtype=np.float64) + 0.5
    fine: FloatArray = np.array(middles * (step_hz / FINE), dtype=np.float64)
    window = _window(size)
    times = np.arange(size) / rate_hz
    turns = np.exp(-2j * np.pi * (hz[:, None] - fine)[..., None] * times)
    seen = np.abs(turns @ window) ** 2 / (rate_hz * np.sum(window**2))
    weights = seen * _steepness(fine, rate_hz) / _steepness(hz, rate_hz)[:, None]
    return fine, weights * (step_hz / FINE)


def find_level(values: FloatArray, rate_hz: float) -> LevelFound:
    """Return the level of shake that lies on a move.

    Args:
        values: pan and tilt, or what is left of them [% of the frame width], (2, n),
            of a second or more; a constant or a steady speed changes nothing.
        rate_hz: samples a second, at least `LEAST_RATE_HZ`.
    """
    hz, found = periodograms(values, rate_hz)
    top = hz >= TOP_SHARE * rate_hz / 2
    # Periodograms of noise are exponential: their median is ln 2 of their mean.
    white = float(np.median(found[:, top] if top.any() else found[:, -1:])) / log(2)
    white = max(white, 1e-12)
    step_hz = float(hz[1] - hz[0])
    best = min(
        (
            _likelihoods(name, shapes, found, white)
            for name in _told(rate_hz)
            for shapes in (
                _shapes(name, power, len(hz), rate_hz, step_hz) for power in POWERS
            )
        ),
        key=lambda one: one.cost,
    )
    return _summed(best, hz, found, white)


@dataclass(frozen=True, kw_only=True, slots=True)
class _LevelFit:
    """Costs of one level's shape on one kind of move.

    `profile` (N_LEVELS,) is the best cost for each strength, `moves` (N_LEVELS, m)
    the strength of the move in each window that gives it.
    """

    name: str
    shapes: "_Shapes"
    cost: float
    profile: FloatArray
    moves: FloatArray


def _strengths() -> FloatArray:
    """Return the variances that are tried, none first, (N_LEVELS,) [%^2]."""
    tried = np.geomspace(LEAST_PERCENT, MOST_PERCENT, N_LEVELS - 1) ** 2
    return np.concatenate([[0.0], tried])


def _told(rate_hz: float) -> tuple[str, ...]:
    """Return the levels that shake and leave room for noise above their band."""
    top = TOP_SHARE * rate_hz / 2
    return tuple(
        name
        for name, level in LEVELS.items()
        if level.percent > 0 and level.band_hz[1] <= top
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shapes:
    """Densities as windows see them: of shake, of a move, of noise, (k,) each.

    `shake_at` is the shake's own density at the lines, unit variance.
    """

    shake: FloatArray
    shake_at: FloatArray
    move: FloatArray
    noise: FloatArray


@lru_cache(maxsize=64)
def _shapes(
    name: str, power: float, n_lines: int, rate_hz: float, step_hz: float
) -> _Shapes:
    fine, weights = _smear(n_lines, rate_hz, step_hz)
    density = log_hann_density(fine, LEVELS[name].band_hz)
    # Each line stands for what is nearest to it.
    first = _lines(round(rate_hz / step_hz), rate_hz)[0]
    skipped = round((first / step_hz - 0.5) * FINE)
    own = density[skipped : skipped + n_lines * FINE].reshape(n_lines, FINE)
    return _Shapes(
        shake=weights @ density,
        shake_at=own.mean(axis=1),
        move=weights @ np.maximum(fine, LEAST_HZ) ** -power,
        noise=weights.sum(axis=1),
    )


def _likelihoods(
    name: str, shapes: _Shapes, found: FloatArray, white: float
) -> _LevelFit:
    strengths = _strengths()
    moves = np.concatenate([[0.0], np.geomspace(*MOVES, N_MOVES - 1)])
    expected = (
        strengths[:, None, None] * shapes.shake
        + moves[:, None] * shapes.move
        + white * shapes.noise
    )  # (strengths, moves, lines)
    costs = np.log(expected).sum(axis=-1)[..., None] + (1.0 / expected) @ found.T
    which = costs.argmin(axis=1)
    profile = np.take_along_axis(costs, which[:, None], axis=1)[:, 0].sum(axis=1)
    profile = profile / ALIKE
    named = np.log(np.sqrt(np.maximum(strengths, 1e-8)) / LEVELS[name].percent)
    return _LevelFit(
        name=name,
        shapes=shapes,
        cost=float((profile + 0.5 * (named / NAMED) ** 2 * (strengths > 0)).min()),
        profile=profile,
        moves=moves[which],
    )


def _summed(
    fit: _LevelFit, hz: FloatArray, found: FloatArray, white: float
) -> LevelFound:
    k, shapes = int(np.argmin(fit.profile)), fit.shapes
    variance, step_hz = _between(fit.profile, k), float(hz[1] - hz[0])
    shake = np.maximum(variance * shapes.shake, 1e-30)
    others = fit.moves[k][:, None] * shapes.move + white * shapes.noise
    gain = shake / (shake + others)
    seen = (gain**2 * found + (1 - gain) * shake).mean(axis=0)
    density = seen * shapes.shake_at / np.maximum(shapes.shake, 1e-30)
    # Below the first line there is no window to look through.
    below = max(0.0, 1.0 - float(shapes.shake_at.sum() * step_hz)) * variance
    percent = float(np.sqrt(density.sum() * step_hz + below))
    likely = np.flatnonzero(fit.profile <= fit.profile[k] + SURE)
    strengths = np.sqrt(_strengths())
    low = strengths[max(likely[0] - 1, 0)] if likely[0] else 0.0
    high = strengths[min(likely[-1] + 1, N_LEVELS - 1)]
    return LevelFound(
        name=fit.name,
        percent=percent,
        low=float(min(low, percent)),
        high=float(max(high, percent)),
        earned=float(fit.profile[0] - fit.profile[k]),
        white=white,
        hz=hz,
        density=density,
    )


def _between(profile: FloatArray, k: int) -> float:
    """Return the variance at the dip of the parabola about the best one tried."""
    tried = _strengths()
    if not 1 < k < len(tried) - 1:
        return float(tried[k])
    before, here, after = profile[k - 1 : k + 2]
    bend = before - 2 * here + after
    shift = 0.5 * (before - after) / bend if bend > 0 else 0.0
    return float(tried[k] * (tried[k + 1] / tried[k]) ** shift)
