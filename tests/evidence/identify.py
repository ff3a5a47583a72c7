"""Describing function of a tracker from runs on a sum of sines, and its crossover.

Crossover model (McRuer & Jex 1967, IEEE Trans. Human Factors in Electronics HFE-8(3):
231-249): operator and plant together look like Yp Yc = wc exp(-j w tau) / (j w) near
the crossover wc. Correlating with the target rather than with the error keeps the
tracker's own noise (the remnant) from biasing the estimate.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.studies.crossover import (
    ComplexArray,
    crossing,
    crossover_fit,
)

FloatArray = NDArray[np.float64]


def crossover_model(
    omega: FloatArray, crossover: float, delay_s: float
) -> ComplexArray:
    """Return the open loop of the crossover model, (n,)."""
    late: ComplexArray = np.exp(-1j * omega * delay_s)
    return crossover * late / (1j * omega)


@dataclass(frozen=True, kw_only=True, slots=True)
class Identified:
    """What runs on one target say about a tracker.

    Attributes:
        omega: input frequencies, (n,) [rad/s].
        open_loop: response over error at them, (n,).
        coherence: of response with target over the runs, (n,), 0 to 1.
        crossover: where the open loop passes through one [rad/s]; NaN if nowhere.
        margin_rad: phase margin there.
        delay_s: effective delay, fitted within an octave of the crossover.
        fitted_crossover: gain fitted there [rad/s].
        remnant: share of the response's power that is not at an input frequency.
        error_share: mean square of the error over that of the target.
    """

    omega: FloatArray
    open_loop: ComplexArray
    coherence: FloatArray
    crossover: float
    margin_rad: float
    delay_s: float
    fitted_crossover: float
    remnant: float
    error_share: float


def identify(
    target: FloatArray, response: FloatArray, bins: NDArray[np.int64], period_s: float
) -> Identified:
    """Identify a tracker.

    Args:
        target: (runs, n), n even samples over exactly one period [rad].
        response: (runs, n), same times [rad].
        bins: input lines, whole turns a period, (k,).
        period_s: length of the period [s].
    """
    omega = 2 * np.pi * bins / period_s
    target = target - target.mean(axis=1, keepdims=True)
    response = response - response.mean(axis=1, keepdims=True)
    error = target - response
    n = target.shape[1]
    r, y, e = (np.fft.rfft(x, axis=1) / n for x in (target, response, error))
    r, y_lines, e = r[:, bins], y[:, bins], e[:, bins]
    open_loop = (y_lines * r.conj()).sum(0) / (e * r.conj()).sum(0)
    coherence = np.abs((y_lines * r.conj()).sum(0)) ** 2 / (
        (np.abs(r) ** 2).sum(0) * (np.abs(y_lines) ** 2).sum(0)
    )
    crossover, margin = crossing(omega, open_loop)
    fitted, delay = crossover_fit(omega, open_loop, crossover)
    total = (np.abs(y[:, 1:]) ** 2).sum()
    return Identified(
        omega=omega,
        open_loop=open_loop,
        coherence=coherence,
        crossover=crossover,
        margin_rad=margin,
        delay_s=delay,
        fitted_crossover=fitted,
        remnant=float(1 - (np.abs(y_lines) ** 2).sum() / total),
        error_share=float((error**2).sum() / (target**2).sum()),
    )


def exact_error_share(
    crossover: float, delay_s: float, omega: FloatArray, amplitude: FloatArray
) -> float:
    """Return the crossover model's mean square error over the target's."""
    sensitivity = np.abs(1 / (1 + crossover_model(omega, crossover, delay_s))) ** 2
    return float((sensitivity * amplitude**2).sum() / (amplitude**2).sum())


def delayed_integrator(
    target: Callable[[FloatArray], FloatArray],
    *,
    crossover: float,
    delay_steps: int,
    step_s: float,
    steps: int,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Simulate x' = wc (r - x)(t - tau) from rest, trapezoidal.

    Returns:
        Times, target and response, (steps + 1,) each. The response is 0 to the bit
        until the delay is over.
    """
    times = np.arange(steps + 1) * step_s
    r = target(times)
    x = np.zeros(steps + 1)
    error = np.zeros(steps + 1)
    error[0] = r[0]
    for k in range(steps):
        late = k - delay_steps
        if late >= 0:
            x[k + 1] = x[k] + crossover * step_s * (error[late] + error[late + 1]) / 2
        error[k + 1] = r[k + 1] - x[k + 1]
    return times, r, x
