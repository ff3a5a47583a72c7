"""Sine and cosine for kernels, within one unit in the last place.

The system's pick other variants by what a processor has, whose last bits differ. These
use additions and multiplications only, in one order and without branches. The angle is
reduced by multiples of a quarter turn, taken off in three parts (Cody & Waite 1980,
Software Manual for the Elementary Functions, chapter 8) with the rounding of each kept;
what is left, up to an eighth of a turn, goes into minimax polynomials. Their
coefficients are those of the fdlibm library, from memory.
"""

from ..compiled.kernel import kernel

LARGEST = 1.6e6  # rad; beyond, NaN: no angle of a camera comes near it
_ROUNDER = 1.5 * 2.0**52  # added and taken off again, rounds to an integer
_QUARTERS = 6.36619772367581382433e-01  # in a radian
# A quarter turn: 33 bits, the next 33, the next 33, and what is left of it.
_FIRST = 1.57079632673412561417e00
_SECOND = 6.07710050630396597660e-11
_THIRD = 2.02226624871116645580e-21
_REST = 8.47842766036889956997e-32

_S1 = -1.66666666666666324348e-01
_S2 = 8.33333333332248946124e-03
_S3 = -1.98412698298579493134e-04
_S4 = 2.75573137070700676789e-06
_S5 = -2.50507602534068634195e-08
_S6 = 1.58969099521155010221e-10
_C1 = 4.16666666666666019037e-02
_C2 = -1.38888888888741095749e-03
_C3 = 2.48015872894767294178e-05
_C4 = -2.75573143513906633035e-07
_C5 = 2.08757232129817482790e-09
_C6 = -1.13596475577881948265e-11


@kernel
def sin_cos(angle):
    """Return sine and cosine of an angle [rad], NaN beyond `LARGEST`."""
    x = angle if abs(angle) <= LARGEST else float("nan")
    turns = (x * _QUARTERS + _ROUNDER) - _ROUNDER
    # Each product is exact; what a difference loses is taken along in `low`.
    left = x - turns * _FIRST
    part = turns * _SECOND
    two = left - part
    low = (left - two) - part
    part = turns * _THIRD
    three = two - part
    low += ((two - three) - part) - turns * _REST
    high = three + low
    low = (three - high) + low
    z = high * high
    w = z * z
    v = z * high
    r = _S2 + z * (_S3 + z * _S4) + z * w * (_S5 + z * _S6)
    sine = high - ((z * (0.5 * low - v * r) - low) - v * _S1)
    r = z * (_C1 + z * (_C2 + z * _C3)) + w * w * (_C4 + z * (_C5 + z * _C6))
    half = 0.5 * z
    top = 1.0 - half
    cosine = top + (((1.0 - top) - half) + (z * r - high * low))
    # Which quarter it is, modulo four: 0, 1, 2 or 3.
    quarter = turns - 4.0 * ((0.25 * turns - 0.375 + _ROUNDER) - _ROUNDER)
    odd = quarter == 1.0 or quarter == 3.0
    s = cosine if odd else sine
    c = sine if odd else cosine
    s = -s if quarter >= 2.0 else s
    c = -c if quarter == 1.0 or quarter == 2.0 else c
    return s, c


@kernel
def sin(angle):
    """Return the sine of an angle [rad], see `sin_cos`."""
    return sin_cos(angle)[0]


@kernel
def cos(angle):
    """Return the cosine of an angle [rad], see `sin_cos`."""
    return sin_cos(angle)[1]


@kernel
def tan(angle):
    """Return the tangent of an angle [rad], within two units in the last place."""
    s, c = sin_cos(angle)
    return s / c
