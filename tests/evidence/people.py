"""Eight people and the crew on one function: crossover, delay, and how they repeat.

The people: rate control (K/s) against a disturbance, two periods of a sum of sines
(40 s) a trial, 80 trials. Recordings of the public repository EmDash00/CPHS2017
(`experiment/data`, no licence stated), measured by us and not copied: the crossing of
the measured open loop, and a least-squares fit through the octave round it. Input and
display latency are part of their delay. The function's lines are in
`experiment/protocols/su17v3.py` there: the primes 2 to 31 over 20 s, the disturbance
falling as one over the prime. In front of a rate control it moves the target as its
integral, as one over the prime squared.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.presets import PRESETS, Crew
from carrellata.solver.studies.camera import lagged, smoothed

from .baselines import SMOOTHING_S, integrated
from .identify import identify
from .targets import SET_A, Target, with_rms
from .tracking import LEAD_S, RATE, pan_of

FloatArray = NDArray[np.float64]
Follow = Callable[[FloatArray, FloatArray, int], FloatArray]
"""From a bearing a frame, times to look at and a run's number to the response then."""

PERIOD_S = 20.0
PERIODS = 2  # a run
SAMPLES = 2048  # of a run
RUNS = 80  # as the people in all: each set of phases twice
PRIMES = np.array([2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31])
RESTLESS_HZ = 1.0
BOOTSTRAPS = 2000

FUNCTION = with_rms(
    Target(
        name="primes",
        period_s=PERIOD_S,
        bins=PRIMES,
        amplitude=1.0 / PRIMES**2,
        source="EmDash00/CPHS2017, experiment/protocols/su17v3.py",
    ),
    SET_A.rms,
)


@dataclass(frozen=True, kw_only=True, slots=True)
class People:
    """What eight people did, measured by us: least and most over people, and mean."""

    crossover: tuple[float, float, float] = (1.98, 3.96, 2.90)
    delay_s: tuple[float, float, float] = (0.239, 0.347, 0.283)
    spread: tuple[float, float] = (0.22, 0.47)  # of one's crossover over trials


PEOPLE = People()


@dataclass(frozen=True, kw_only=True, slots=True)
class Operator:
    """What one broadcast operator did at basketball, measured by us.

    3,600 frames of `mat_data/basketball_ground_truth.mat` of the public repository
    lulufa390/Pan-tilt-zoom-SLAM (no licence stated, rate not stated): the first number
    is for 60 frames a second, the second for 30.
    """

    share: tuple[float, float] = (0.08, 0.15)  # of the pan speed's r.m.s. above 1 Hz
    peaks: tuple[float, float] = (0.23, 0.32)  # of the pan speed, a second
    still: float = 0.70  # of the time, under 1 deg/s


OPERATOR = Operator()


@dataclass(frozen=True, kw_only=True, slots=True)
class Runs:
    """A tracker's runs on the function, one number a run.

    Attributes:
        crossover: where its open loop crosses one, (runs,) [rad/s].
        delay_s: fitted within the octave round it, (runs,).
        fitted: gain fitted there, (runs,) [rad/s].
        residual: r.m.s. distance of the open loop from the fit there, as a share of
            the fit, (runs,). Where the open loop crosses one nowhere, this and what
            stands above it are not a number.
        lag_s: by which the response is like the target, (runs,).
        miss: r.m.s. error over that of the target, (runs,).
        restless: share of the rate's r.m.s. above 1 Hz, (runs,).
        peaks: of the speed, a second, (runs,).
    """

    crossover: FloatArray
    delay_s: FloatArray
    fitted: FloatArray
    residual: FloatArray
    lag_s: FloatArray
    miss: FloatArray
    restless: FloatArray
    peaks: FloatArray

    @property
    def spread(self) -> float:
        """Standard deviation of the crossover over the runs [rad/s]."""
        return float(self.crossover.std(ddof=1))

    @property
    def repeat(self) -> float:
        """Standard deviation of the crossover at the same phases [rad/s]."""
        n = len(self.crossover) // 2
        off = self.crossover[:n] - self.crossover[n : 2 * n]
        return float(np.sqrt((off**2).mean() / 2))


def runs_of(follow: Follow, *, runs: int = RUNS, target: Target = FUNCTION) -> Runs:
    """Let a tracker follow the function.

    The second half of the runs has the phases of the first, as other takes.
    """
    seconds = LEAD_S + PERIODS * target.period_s
    frames = np.arange(int(seconds * RATE) + 2) / float(RATE)
    at = LEAD_S + np.arange(SAMPLES) * PERIODS * target.period_s / SAMPLES
    rows = []
    for run in range(runs):
        phase = target.phases(run % max(1, runs // 2))
        response = follow(target.at(frames, phase), at, run)
        rows.append(_one_run(target.at(at, phase), response, target))
    columns = np.array(rows).T
    return Runs(**dict(zip(Runs.__slots__, columns, strict=True)))


def _one_run(wanted: FloatArray, got: FloatArray, target: Target) -> tuple[float, ...]:
    seconds = PERIODS * target.period_s
    found = identify(wanted[None], got[None], PERIODS * target.bins, seconds)
    near = (found.omega >= found.crossover / 2) & (found.omega <= found.crossover * 2)
    w = found.omega[near]
    model = found.fitted_crossover * np.exp(-1j * w * found.delay_s) / (1j * w)
    off = np.abs(found.open_loop[near] / model - 1)
    step = seconds / SAMPLES
    return (
        found.crossover,
        found.delay_s,
        found.fitted_crossover,
        float(np.sqrt((off**2).mean())) if len(w) else np.nan,
        best_lag_s(wanted, got, step),
        float(np.sqrt(found.error_share)),
        *restlessness(got, step),
    )


def best_lag_s(wanted: FloatArray, got: FloatArray, step_s: float) -> float:
    """Return the lag at which a periodic response is most like its target [s]."""
    spectrum = (
        np.fft.rfft(got - got.mean()) * np.fft.rfft(wanted - wanted.mean()).conj()
    )
    fine = 16
    like = np.fft.irfft(spectrum, n=fine * len(got))
    least, most = -int(1.0 / step_s * fine), int(2.0 / step_s * fine)
    lags = np.arange(least, most)
    return float(lags[np.argmax(like[lags])]) * step_s / fine


def restlessness(values: FloatArray, step_s: float) -> tuple[float, float]:
    """Return the share of the rate's r.m.s. above 1 Hz, and speed peaks a second.

    A peak of the speed stands out of its surroundings by a tenth of the r.m.s. rate.
    The values (n,) are evenly spaced; a drift over all of them is taken off.
    """
    rate = np.gradient(values, step_s)
    rate = rate - rate.mean()
    power = np.abs(np.fft.rfft(rate * np.hanning(len(rate)))) ** 2
    high = np.fft.rfftfreq(len(rate), step_s) > RESTLESS_HZ
    share = float(np.sqrt(power[high].sum() / power.sum()))
    speed, least = np.abs(rate), 0.1 * float(np.sqrt((rate**2).mean()))
    count, low, rising = 0, speed[0], True
    high_point = speed[0]
    for value in speed.tolist():
        if rising:
            high_point = max(high_point, value)
            if value < high_point - least:
                count, rising, low = count + 1, False, value
        else:
            low = min(low, value)
            if value > low + least:
                rising, high_point = True, value
    return share, count / (len(values) * step_s)


def crew_follows(crew: Crew) -> Follow:
    """Return how a crew follows; each run is another take."""

    def follow(bearing: FloatArray, at: FloatArray, run: int) -> FloatArray:
        return pan_of(bearing, crew, at, run)[0]

    return follow


def preset(name: str, level: float = 1.0) -> Crew:
    """Return a preset that varies by a level."""
    return replace(PRESETS[name], variability=level)


Interval = tuple[float, float]
SESSION = 10  # trials of each of the people: five sets of phases, each twice


def pairs(values: FloatArray) -> FloatArray:
    """Return values of runs (2 n,) as (n, 2): runs with the same phases together."""
    return np.array(np.split(values, 2)).T


def sessions(runs: Runs) -> FloatArray:
    """Return mean crossover, mean delay and spread of each ten takes, (n, 3)."""
    crossover = pairs(runs.crossover).reshape(-1, SESSION)
    delay = pairs(runs.delay_s).reshape(-1, SESSION)
    spread = crossover.std(axis=1, ddof=1)
    return np.column_stack((crossover.mean(axis=1), delay.mean(axis=1), spread))


def interval(values: FloatArray, *, spread: bool = False) -> Interval:
    """Return the 95 % interval of a mean, or of a spread, by bootstrap.

    Values (n,) are drawn one by one, the rows of (n, k) together.
    """
    rng = np.random.default_rng(0)
    drawn = values[rng.integers(0, len(values), (BOOTSTRAPS, len(values)))]
    drawn = drawn.reshape(BOOTSTRAPS, -1)
    found = drawn.std(axis=1, ddof=1) if spread else drawn.mean(axis=1)
    low, high = np.percentile(found, (2.5, 97.5)).tolist()
    return float(low), float(high)


def integrator(crossover: float, delay_s: float) -> Follow:
    """Return a delayed integrator with a crossover [rad/s] and a delay [s]."""
    rate = float(RATE)
    return _filtered(lambda x: integrated(x, rate, crossover, delay_s))


def _filtered(change: Callable[[FloatArray], FloatArray]) -> Follow:
    def follow(bearing: FloatArray, at: FloatArray, run: int) -> FloatArray:
        times = np.arange(len(bearing)) / float(RATE)
        return np.interp(at, times, change(bearing))

    return follow


def low_pass_of_lag(lag_s: float) -> Follow:
    """Return a first-order low-pass whose response is late by a lag on the function."""
    constants = np.geomspace(0.05, 2.0, 40)

    def lag(constant: float) -> float:
        follow = _filtered(lambda x: lagged(x, constant * float(RATE)))
        return float(runs_of(follow, runs=1).lag_s[0])

    best = min(constants.tolist(), key=lambda constant: abs(lag(constant) - lag_s))
    return _filtered(lambda x: lagged(x, best * float(RATE)))


def whole_run_smoothing() -> Follow:
    """Return a Gaussian over past and future."""
    return _filtered(lambda x: smoothed(x, SMOOTHING_S * float(RATE)))


def trackers() -> dict[str, Runs]:
    """Return the runs of every preset and of the plain ways, by name.

    The delayed integrator has the mean crossover and delay of `brisk`, the low-pass its
    lag on the function.
    """
    found = {name: runs_of(crew_follows(preset(name))) for name in PRESETS}
    found["brisk, variability 0"] = runs_of(crew_follows(preset("brisk", 0.0)))
    brisk = found["brisk"]
    own = float(brisk.crossover.mean()), float(brisk.delay_s.mean())
    found["delayed integrator"] = runs_of(integrator(*own))
    found["low-pass, same lag"] = runs_of(low_pass_of_lag(float(brisk.lag_s.mean())))
    found["whole-run smoothing"] = runs_of(whole_run_smoothing())
    return found
