"""Exponential and logarithm for kernels, within one unit in the last place.

Without branches and without the system's, as `trigonometry`. The argument is reduced by
multiples of log 2 in two parts; what is left goes into minimax polynomials, whose
coefficients are those of the fdlibm library, from memory.
"""

import numpy as np

from ..compiled.kernel import kernel

LEAST, MOST = -745.2, 709.78  # beyond, exp is zero and infinite
_ROUNDER = 1.5 * 2.0**52  # added and taken off again, rounds to an integer
_LOG2_HIGH = 6.93147180369123816490e-01
_LOG2_LOW = 1.90821492927058770002e-10
_PER_LOG2 = 1.44269504088896338700e00
_PER_HIGH = 1.44269504072144627571e00  # 1 / log 2, with 21 bits, and the rest
_PER_LOW = 1.67517131648865118353e-10

_P1 = 1.66666666666666019037e-01
_P2 = -2.77777777770155933842e-03
_P3 = 6.61375632143793436117e-05
_P4 = -1.65339022054652515390e-06
_P5 = 4.13813679705723846039e-08

_L1 = 6.666666666666735130e-01
_L2 = 3.999999999940941908e-01
_L3 = 2.857142874366239149e-01
_L4 = 2.222219843214978396e-01
_L5 = 1.818357216161805012e-01
_L6 = 1.531383769920937332e-01
_L7 = 1.479819860511658591e-01


@kernel
def _power_of_two(k):
    """Return 2 to an integer k of -1022 to 1023, given as a float."""
    return np.int64((np.int64(k) + 1023) << 52).view(np.float64)


@kernel
def _reduced(x):
    """Return k, r and m with exp(x) = 2^k (1 + r + m), |r| up to half of log 2."""
    k = (x * _PER_LOG2 + _ROUNDER) - _ROUNDER
    high = x - k * _LOG2_HIGH
    low = k * _LOG2_LOW
    r = high - low
    t = r * r
    c = r - t * (_P1 + t * (_P2 + t * (_P3 + t * (_P4 + t * _P5))))
    return k, high, (r * c) / (2.0 - c) - low


@kernel
def exp(x):
    """Return e to the power x: 0 below `LEAST`, infinite above `MOST`."""
    held = min(max(x, LEAST), MOST)
    k, r, m = _reduced(held)
    y = 1.0 + (r + m)
    first = (0.5 * k + _ROUNDER) - _ROUNDER
    y = y * _power_of_two(first) * _power_of_two(k - first)
    y = np.inf if x > MOST else y
    return x if x != x else y


@kernel
def expm1(x):
    """Return e to the power x less 1, to the last digits where x is near 0.

    For x up to 30, above which `exp` tells the same.
    """
    held = max(x, -50.0)
    k, r, m = _reduced(held)
    scale = _power_of_two(k)
    near = r + m
    rest = (r - near) + m
    whole = scale - 1.0
    scaled = scale * near
    total = whole + scaled
    # The larger one of the two, less the sum, tells what the sum lost.
    big = whole if abs(whole) > abs(scaled) else scaled
    other = scaled if abs(whole) > abs(scaled) else whole
    total = total + (((big - total) + other) + scale * rest)
    return x if x != x else total


@kernel
def _parts(x):
    """Return k and f with x = 2^k (1 + f), 1 + f from sqrt(1/2) to sqrt(2)."""
    bits = np.float64(x).view(np.int64)
    # The exponent counts from where the rest reaches sqrt(1/2).
    moved = bits - 0x3FE6A09E667F3BCD
    k = moved >> 52
    return np.float64(k), np.int64(bits - (k << 52)).view(np.float64) - 1.0


@kernel
def _log1p_rest(f):
    """Return log(1 + f) less f, plus f^2 / 2."""
    s = f / (2.0 + f)
    z = s * s
    w = z * z
    even = w * (_L2 + w * (_L4 + w * _L6))
    odd = z * (_L1 + w * (_L3 + w * (_L5 + w * _L7)))
    return s * (0.5 * f * f + (even + odd))


@kernel
def log(x):
    """Return the natural logarithm of a number > 1e-300; of 0 or less, NaN."""
    k, f = _parts(x)
    rest = _log1p_rest(f)
    found = k * _LOG2_HIGH - ((0.5 * f * f - (rest + k * _LOG2_LOW)) - f)
    return found if x > 0.0 else np.nan


@kernel
def log2(x):
    """Return the logarithm of base 2 of a number > 1e-300; of 0 or less, NaN."""
    k, f = _parts(x)
    rest = _log1p_rest(f)
    square = 0.5 * f * f
    whole = f - square
    # 21 bits of it, so that its product with the first part is exact.
    bits = np.float64(whole).view(np.int64)
    high = np.int64(bits & -4294967296).view(np.float64)
    low = ((f - high) - square) + rest
    more = high * _PER_HIGH
    less = (low + high) * _PER_LOW + low * _PER_HIGH
    total = k + more
    found = total + (less + ((k - total) + more))
    return found if x > 0.0 else np.nan
