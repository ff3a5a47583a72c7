"""Arctangent, arcsine and arccosine for kernels, within one unit in the last place.

Without branches and without the system's, as `trigonometry`. The smaller of two lengths
over the larger is brought near zero by taking off the arctangent of 0, 1/2 or 1. What
the quotient loses by its rounding is found exactly (Dekker 1971, Numerische Mathematik
18:224-242) and taken along. Coefficients are those of the fdlibm library, from memory.
"""

import numpy as np

from ..compiled.kernel import kernel

_SPLITTER = 2.0**27 + 1.0
_HALF_HIGH, _HALF_LOW = 4.63647609000806093515e-01, 2.26987774529616870924e-17
_ONE_HIGH, _ONE_LOW = 7.85398163397448278999e-01, 3.06161699786838301793e-17
_RIGHT_HIGH, _RIGHT_LOW = 1.57079632679489655800e00, 6.12323399573676603587e-17

_T0 = 3.33333333333329318027e-01
_T1 = -1.99999999998764832476e-01
_T2 = 1.42857142725034663711e-01
_T3 = -1.11111104054623557880e-01
_T4 = 9.09088713343650656196e-02
_T5 = -7.69187620504482999495e-02
_T6 = 6.66107313738753120669e-02
_T7 = -5.83357013379057348645e-02
_T8 = 4.97687799461593236017e-02
_T9 = -3.65315727442169155270e-02
_T10 = 1.62858201153657823623e-02

_P0 = 1.66666666666666657415e-01
_P1 = -3.25565818622400915405e-01
_P2 = 2.01212532134862925881e-01
_P3 = -4.00555345006794114027e-02
_P4 = 7.91534994289814532176e-04
_P5 = 3.47933107596021167570e-05
_Q1 = -2.40339491173441421878e00
_Q2 = 2.02094576023350569471e00
_Q3 = -6.88283971605453293030e-01
_Q4 = 7.70381505559019352791e-02


@kernel
def atan2(y, x):
    """Return the bearing of (x, y) [rad], -pi to pi, as IEEE 754 has it.

    Lengths other than zero have to lie between 1e-150 and 1e150.
    """
    wide, high = abs(x), abs(y)
    steep = high > wide
    small = wide if steep else high
    large = high if steep else wide
    third = small > 0.6875 * large
    second = small > 0.4375 * large
    take = 1.0 if third else (0.5 if second else 0.0)
    base = _ONE_HIGH if third else (_HALF_HIGH if second else 0.0)
    base_low = _ONE_LOW if third else (_HALF_LOW if second else 0.0)
    # (small - take large) / (large + take small), each with what it loses.
    off = take * large
    above = small - off
    back = small - above
    above_low = (small - (above + back)) + (back - off)
    add = take * small
    below = large + add
    below_low = (large - below) + add
    below = below if below > 0.0 else (1.0 if below == 0.0 else below)
    t = above / below
    # t * below to twice the digits
    product = t * below
    part = t * _SPLITTER
    t_high = part - (part - t)
    t_low = t - t_high
    part = below * _SPLITTER
    b_high = part - (part - below)
    b_low = below - b_high
    lost = ((t_high * b_high - product) + t_high * b_low + t_low * b_high) + (
        t_low * b_low
    )
    rest = (((above - product) - lost) + above_low - t * below_low) / below
    z = t * t
    w = z * z
    even = z * (_T0 + w * (_T2 + w * (_T4 + w * (_T6 + w * (_T8 + w * _T10)))))
    odd = w * (_T1 + w * (_T3 + w * (_T5 + w * (_T7 + w * _T9))))
    less = rest * (1.0 - z) - t * (even + odd)
    near = t + less
    near_low = (t - near) + less
    angle = base + near
    angle_low = ((base - angle) + near) + (near_low + base_low)
    # Into the octant: off the right angle, then off half a turn.
    turned = _RIGHT_HIGH - angle
    turned_low = ((_RIGHT_HIGH - turned) - angle) + (_RIGHT_LOW - angle_low)
    angle, angle_low = (turned, turned_low) if steep else (angle, angle_low)
    turned = 2.0 * _RIGHT_HIGH - angle
    turned_low = ((2.0 * _RIGHT_HIGH - turned) - angle) + (2.0 * _RIGHT_LOW - angle_low)
    behind = np.copysign(1.0, x) < 0.0
    angle, angle_low = (turned, turned_low) if behind else (angle, angle_low)
    return np.copysign(angle + angle_low, y)


@kernel
def atan(t):
    """Return the arctangent [rad], -pi/2 to pi/2."""
    return atan2(t, 1.0)


@kernel
def asin(x):
    """Return the arcsine [rad], -pi/2 to pi/2, of -1 to 1; NaN elsewhere."""
    a = abs(x)
    far = a >= 0.5
    t = (1.0 - a) * 0.5 if far else a * a
    p = t * (_P0 + t * (_P1 + t * (_P2 + t * (_P3 + t * (_P4 + t * _P5)))))
    q = 1.0 + t * (_Q1 + t * (_Q2 + t * (_Q3 + t * _Q4)))
    r = p / q
    root = np.sqrt(t)
    # The first half of the digits of the root, whose square is exact.
    part = root * _SPLITTER
    first = part - (part - root)
    rest = (t - first * first) / (root + first) if root > 0.0 else 0.0
    p = 2.0 * root * r - (_RIGHT_LOW - 2.0 * rest)
    upper = _ONE_HIGH - (p - (_ONE_HIGH - 2.0 * first))
    return np.copysign(upper if far else a + a * r, x)


@kernel
def acos(x):
    """Return the arccosine [rad], 0 to pi, of -1 to 1; NaN elsewhere."""
    a = abs(x)
    far = a >= 0.5
    t = (1.0 - a) * 0.5 if far else a * a
    p = t * (_P0 + t * (_P1 + t * (_P2 + t * (_P3 + t * (_P4 + t * _P5)))))
    q = 1.0 + t * (_Q1 + t * (_Q2 + t * (_Q3 + t * _Q4)))
    r = p / q
    root = np.sqrt(t)
    part = root * _SPLITTER
    first = part - (part - root)
    rest = (t - first * first) / (root + first) if root > 0.0 else 0.0
    near = _RIGHT_HIGH - (x - (_RIGHT_LOW - x * r))
    ahead = 2.0 * (first + (r * root + rest))
    behind = 2.0 * (_RIGHT_HIGH - (root + (r * root - _RIGHT_LOW)))
    return (ahead if x > 0.0 else behind) if far else near
