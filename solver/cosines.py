"""Sums of many cosines at many times, each value a function of its own time only.

The cosine is our own, so that a loop of it runs in vector registers and its bits do not
depend on which of them a processor has. Turns are counted, so that the phase is reduced
without rounding: with y = f t + phase in turns and q = |y - rint(y)| - 1/4,
cos(2 pi y) = -sin(2 pi q), |q| <= 1/4, by the Taylor series of the sine (its first
neglected term is below 2e-18).
"""

from math import factorial, pi

import numpy as np

from .compiled.kernel import kernel
from .elementary.exponential import exp, log

_S = tuple(
    (-1) ** k * (2 * pi) ** (2 * k + 1) / factorial(2 * k + 1) for k in range(11)
)
S0, S1, S2, S3, S4, S5, S6, S7, S8, S9, S10 = _S
# Added to a number below 2^51 and taken off again, it rounds to the nearest integer.
ROUNDER = 1.5 * 2.0**52
CHUNK = 256  # times whose sums stay near the processor


@kernel
def cosine_sums(times, frequency, phase, amplitude, scale, out):
    """Fill sums of cosines, their terms added in one order so that trims change no bit.

    Args:
        times: (n,) [s].
        frequency: (m, k) [Hz].
        phase: (m, k), in turns.
        amplitude: of the k terms, (k,).
        scale: of the m sums, (m,).
        out: filled, (m, n).
    """
    n = times.shape[0]
    t = np.empty(CHUNK)
    total = np.empty(CHUNK)
    for first in range(0, n, CHUNK):
        size = min(CHUNK, n - first)
        for i in range(size):
            t[i] = times[first + i]
        for m in range(frequency.shape[0]):
            for i in range(size):
                total[i] = 0.0
            for k in range(frequency.shape[1]):
                f, start, a = frequency[m, k], phase[m, k], amplitude[k]
                for i in range(size):
                    y = f * t[i] + start
                    q = abs(y - ((y + ROUNDER) - ROUNDER)) - 0.25
                    s = q * q
                    p = S10
                    p = p * s + S9
                    p = p * s + S8
                    p = p * s + S7
                    p = p * s + S6
                    p = p * s + S5
                    p = p * s + S4
                    p = p * s + S3
                    p = p * s + S2
                    p = p * s + S1
                    p = p * s + S0
                    total[i] -= a * (p * q)
            for i in range(size):
                out[m, first + i] = total[i] * scale[m]


@kernel
def in_bins(draws, low, ratio, frequency):
    """Fill frequencies: each at its drawn place (m, k) in one of k bins, 0 to 1.

    The bins are equal in log frequency, from `low` [Hz] to `low * ratio`.
    """
    count = draws.shape[1]
    whole = log(ratio)
    for m in range(draws.shape[0]):
        for k in range(count):
            frequency[m, k] = low * exp(whole * ((k + draws[m, k]) / count))
