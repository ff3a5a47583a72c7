"""The crossover model, and how it is read off an open loop.

Crossover model (McRuer & Jex 1967, IEEE Trans. Human Factors in Electronics HFE-8(3):
231-249): operator and plant together look like Yp Yc = wc exp(-j w tau) / (j w) near
the crossover wc.
"""

import numpy as np
from numpy.typing import NDArray

from ..arrays import FloatArray

ComplexArray = NDArray[np.complex128]


def _turned(omega: FloatArray, open_loop: ComplexArray) -> FloatArray:
    """Phase beyond an integrator's, (n,) [rad]: -omega tau in the crossover model."""
    return np.angle(open_loop * 1j * omega)


def crossing(omega: FloatArray, open_loop: ComplexArray) -> tuple[float, float]:
    """Return the first passage of the gain down through one and the phase margin.

    Interpolates log gain over log frequency. NaN, NaN if there is none.
    """
    gain = np.log(np.abs(open_loop))
    down = np.flatnonzero((gain[:-1] >= 0) & (gain[1:] < 0))
    if len(down) == 0:
        return np.nan, np.nan
    i = int(down[0])
    part = gain[i] / (gain[i] - gain[i + 1])
    log = np.log(omega)
    crossover = float(np.exp(log[i] + part * (log[i + 1] - log[i])))
    turned = _turned(omega, open_loop)
    at = (crossover - omega[i]) / (omega[i + 1] - omega[i])
    return crossover, float(np.pi / 2 + turned[i] + at * (turned[i + 1] - turned[i]))


def crossover_fit(
    omega: FloatArray, open_loop: ComplexArray, crossover: float
) -> tuple[float, float]:
    """Return gain [rad/s] and delay [s] of the crossover model, least squares.

    Uses the lines within an octave of `crossover`; NaN, NaN with fewer than two.
    """
    near = (omega >= crossover / 2) & (omega <= crossover * 2)
    if near.sum() < 2:
        return np.nan, np.nan
    w, h = omega[near], open_loop[near]
    fitted = float(np.exp(np.log(np.abs(h) * w).mean()))
    return fitted, float(-(w * _turned(w, h)).sum() / (w * w).sum())
