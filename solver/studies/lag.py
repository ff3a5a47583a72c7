"""How late a camera is, measured three ways, and where it is early.

All compare the camera's turn with the turn that exact aim would have needed. Negative
is early: the camera moved before its subject did.

- by correlation: the delay at which the two rates differ least;
- by coherence: the slope of their phase over the frequencies at which they go together;
- by onset: from a subject's start out of rest to the camera's, both counted from when
  the picture would have moved, or did move, by a hundredth of the half frame.

Where a measure would mean nothing it gives the reason.
"""

from dataclasses import dataclass

import numpy as np
from scipy import signal

from ..arrays import BoolArray, FloatArray
from .camera import CameraMove, noise_of, smooth_rate
from .crossover import crossing, crossover_fit
from .delay import delay_errors
from .onset import Onset, onsets_of

MOST_LAG_S = 1.2
LAG_STEP_S = 0.005
LEAST_RATE = 0.1  # half frames/s r.m.s. that a subject must ask for
NOISE_TIMES = 4.0  # and over the noise of the rates
LEAST_S = 3.0  # shorter takes have no lag by correlation
SEGMENT_S = 5.0
FEWEST_SEGMENTS = 3
MOST_MISFIT = 0.5  # share of the camera's turn that no delay explains
COHERENT = 0.6  # of the cross spectrum's share; chance gives about 1 / segments
LOCAL_S = 5.0
MOST_LOCAL_MISFIT = 0.1
LOCAL_MOST_S = 0.8
LOCAL_HOP_S = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Measured:
    """A number, or why there is none.

    Attributes:
        value: None where it would mean nothing.
        spread: plus or minus, of the same unit; None where unknown.
        why: what is missing, empty where there is a value.
    """

    value: float | None
    spread: float | None = None
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Coherence:
    """Delay over a band in which camera and subject go together.

    Attributes:
        delay: [s]; low_hz, high_hz: the band; share: mean coherence in it.
        crossover_rad_s, effective_delay_s: of the crossover model; None without one.
    """

    delay: Measured
    low_hz: float | None = None
    high_hz: float | None = None
    share: float | None = None
    crossover_rad_s: float | None = None
    effective_delay_s: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Early:
    """A stretch in which the camera moves before its subject.

    Attributes:
        start_s, end_s: on the take's clock.
        lead_s: how far ahead, > 0.
        by: "onset" or "correlation".
    """

    start_s: float
    end_s: float
    lead_s: float
    by: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Lag:
    """Every measure of a camera's lag."""

    correlation: Measured
    coherence: Coherence
    onset: Measured
    onsets: tuple[Onset, ...]
    early: tuple[Early, ...]


def measure_lag(camera: CameraMove, wanted: FloatArray, noise: float) -> Lag:
    """Measure how late a camera is.

    Args:
        camera: what was moved.
        wanted: exact aim, pan and tilt at its samples, (2, n) [rad].
        noise: of the camera's samples, shake included, half frames.
    """
    asked = wanted / camera.half[:, None]
    moved = camera.angles / camera.half[:, None]
    channel = int(np.argmax(asked.std(axis=1)))
    asked, moved = asked[channel], moved[channel]
    step = camera.step_s
    rates = smooth_rate(np.stack([asked, moved]), step)
    floor = NOISE_TIMES * rate_noise(max(noise, noise_of(moved)), step)
    why = _too_little(camera, rates[0], floor)
    times = camera.times_s
    if why:
        correlation = Measured(value=None, why=why)
        coherence = Coherence(delay=Measured(value=None, why=why))
        local: list[Early] = []
    else:
        correlation, local = _by_correlation(times, rates)
        coherence = _by_coherence(rates, step, correlation.value or 0.0)
    onsets, short = onsets_of(times, asked, moved, noise, step)
    early = [
        Early(
            start_s=one.subject_s + one.late_s,
            end_s=one.subject_s,
            lead_s=-one.late_s,
            by="onset",
        )
        for one in onsets
        if one.late_s < -step
    ]
    return Lag(
        correlation=correlation,
        coherence=coherence,
        onset=_summed(onsets, short),
        onsets=tuple(onsets),
        early=tuple(sorted([*early, *local], key=lambda one: one.start_s)),
    )


def rate_noise(noise: float, step_s: float) -> float:
    """Return the standard deviation of a smoothed rate of white noise [units/s]."""
    impulse = np.zeros(129)
    impulse[64] = 1.0
    answer = smooth_rate(impulse, step_s)
    return noise * float(np.sqrt((answer**2).sum()))


def _too_little(camera: CameraMove, rate: FloatArray, floor: float) -> str:
    if camera.seconds < LEAST_S:
        return f"shorter than {LEAST_S:g} s"
    moving = float(np.sqrt(np.mean(rate**2)))
    if moving < LEAST_RATE:
        return f"the subject asks for {moving:.3f} half frames/s, least {LEAST_RATE:g}"
    if moving < floor:
        return f"the subject asks for less than the noise, {floor:.3f} half frames/s"
    return ""


def best_delay(
    times: FloatArray, rates: FloatArray, most_s: float = MOST_LAG_S
) -> tuple[float, float]:
    """Return the delay of rates[1] after rates[0] [s] and its share of misfit.

    Args:
        times: (n,) [s], longer than the largest lag.
        rates: leader and follower, (2, n).
        most_s: largest delay either way [s]; at most a fourth of the span is tried.

    Returns:
        Delay, refined between the steps by a parabola, and the mean squared miss
        over the follower's mean square.
    """
    span = float(times[-1] - times[0])
    most = min(most_s, span / 4)
    lags = np.arange(-most, most + LAG_STEP_S / 2, LAG_STEP_S)
    inside = int(np.searchsorted(times, times[0] + most))
    errors = np.zeros(len(lags))
    # The kernel looks back only: the leader is moved on by the most it may be late.
    # A leader late by `most` and looked up `most` further back is the leader itself.
    n = len(times) - inside
    ahead = np.interp(times + most, times, rates[0])
    delay_errors(
        times[:n],
        np.ascontiguousarray(ahead[:n]),
        np.ascontiguousarray(rates[1][:n]),
        min(2 * inside, n - 2),
        lags + most,
        errors,
    )
    k = int(np.argmin(errors))
    best = float(lags[k])
    if 0 < k < len(lags) - 1:
        a, b, c = errors[k - 1 : k + 2]
        if a - 2 * b + c > 0:
            best += LAG_STEP_S * float((a - c) / (2 * (a - 2 * b + c)))
    return best, float(errors[k] / max(float(np.mean(rates[1] ** 2)), 1e-300))


def _by_correlation(
    times: FloatArray, rates: FloatArray
) -> tuple[Measured, list[Early]]:
    delay, misfit = best_delay(times, rates)
    if misfit > MOST_MISFIT:
        why = f"at its best delay {100 * misfit:.0f} % of the camera's turn is its own"
        return Measured(value=None, why=why), []
    step = float(times[1] - times[0])
    size = round(LOCAL_S / step)
    found: list[tuple[float, float, float]] = []
    for start in range(0, len(times) - size + 1, max(1, round(LOCAL_HOP_S / step))):
        part = slice(start, start + size)
        if np.sqrt(np.mean(rates[0][part] ** 2)) < LEAST_RATE:
            continue
        local, misfit = best_delay(times[part], rates[:, part], LOCAL_MOST_S)
        if misfit < MOST_LOCAL_MISFIT:
            found.append((float(times[start]), float(times[start + size - 1]), local))
    lags = np.array([lag for _, _, lag in found])
    spread = float(1.4826 * np.median(np.abs(lags - np.median(lags)))) if found else 0.0
    early: list[Early] = []
    for start_s, end_s, lag in found:
        if lag >= -1.5 * step:
            continue
        if early and start_s <= early[-1].end_s:
            last = early[-1]
            early[-1] = Early(
                start_s=last.start_s,
                end_s=end_s,
                lead_s=max(last.lead_s, -lag),
                by="correlation",
            )
        else:
            early.append(
                Early(start_s=start_s, end_s=end_s, lead_s=-lag, by="correlation")
            )
    return Measured(value=delay, spread=spread if len(found) > 1 else None), early


def _by_coherence(rates: FloatArray, step: float, about_s: float) -> Coherence:
    """Return the delay by coherence, given about which it lies.

    Segments that start at one time hold less of the same motion the longer the delay,
    so the camera's are taken later by `about_s`, which is then added.
    """
    size = round(SEGMENT_S / step)
    n = rates.shape[1]
    segments = (n - size) // (size // 2) + 1 if n >= size else 0
    if segments < FEWEST_SEGMENTS:
        why = f"shorter than {SEGMENT_S * (FEWEST_SEGMENTS + 1) / 2:g} s"
        return Coherence(delay=Measured(value=None, why=why))
    later = round(about_s / step)
    if later > 0:
        rates = np.stack([rates[0, :-later], rates[1, later:]])
    elif later < 0:
        rates = np.stack([rates[0, -later:], rates[1, :later]])
    common = {"fs": 1 / step, "nperseg": size, "detrend": "constant"}
    hz, cross = signal.csd(rates[0], rates[1], **common)
    _, lead = signal.welch(rates[0], **common)
    _, follow = signal.welch(rates[1], **common)
    share = np.abs(cross) ** 2 / np.maximum(lead * follow, 1e-300)
    strong = (share > COHERENT) & (lead > 1e-3 * lead.max()) & (hz > 0)
    band = _first_run(strong)
    if band.sum() < 2:
        why = "camera and subject go together at no two neighbouring frequencies"
        return Coherence(delay=Measured(value=None, why=why))
    omega = 2 * np.pi * hz[band]
    cross = cross * np.exp(-2j * np.pi * hz * later * step)
    turned = cross[band] * np.exp(1j * omega * later * step)
    weight = np.abs(cross[band]) * omega**2
    slopes = later * step - np.angle(turned) / omega
    delay = float((weight * slopes).sum() / weight.sum())
    spread = np.sqrt((weight * (slopes - delay) ** 2).sum() / weight.sum())
    # Response over error, both against the target, as in a tracking experiment.
    response = cross / np.maximum(lead, 1e-300)
    loop = response[band] / (1 - response[band])
    crossover, _ = crossing(omega, loop)
    _, effective = crossover_fit(omega, loop, crossover)
    return Coherence(
        delay=Measured(value=delay, spread=float(spread)),
        low_hz=float(hz[band][0]),
        high_hz=float(hz[band][-1]),
        share=float(share[band].mean()),
        crossover_rad_s=crossover if np.isfinite(crossover) else None,
        effective_delay_s=effective if np.isfinite(effective) else None,
    )


def _first_run(flags: BoolArray) -> BoolArray:
    """Return the first run of true values alone."""
    out = np.zeros_like(flags)
    at = np.flatnonzero(flags)
    if len(at):
        end = at[0]
        while end < len(flags) and flags[end]:
            end += 1
        out[at[0] : end] = True
    return out


def _summed(onsets: list[Onset], why: str) -> Measured:
    if not onsets:
        return Measured(value=None, why=why)
    late = np.array([one.late_s for one in onsets])
    spread = float(1.4826 * np.median(np.abs(late - np.median(late))))
    return Measured(
        value=float(np.median(late)), spread=spread if len(late) > 1 else None
    )
