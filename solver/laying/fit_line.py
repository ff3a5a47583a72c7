"""The straight line that a dolly would be laid on to keep to given places.

On the ground plane, coordinates (x, z) in metres. Places q_i at times t_i are followed
from c_i = o + d s_i, |d| = 1, with

    sum w_i |q_i - o - d s_i|^2 + lam sum (s''_i)^2,    |s'_i| <= speed limit,

s'' being the second divided difference. It starts on the principal axis and alternates:
given o and d, r_i = (q_i - o) . d is smoothed by a pentadiagonal LDL' solve and then
rate limited (mean of a forward and a backward pass, which both keep the limit); given
s, o and d come from the linear regression of q on s with the slope made a unit vector,
which is the exact minimum over unit d. This stops near a minimum, not always in it.

Source: our derivation; Eilers 2003, "A perfect smoother", for the smoothing (from
memory). The regression is held against certified values in tests/reference.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..elementary.length import hypot
from ..elementary.trigonometry import sin_cos

SMOOTHING_S4 = 0.05  # weight of the squared acceleration [s^4]
N_ROUNDS = 4
SMALLEST_WEIGHT = 1e-6  # keeps the smoothing definite where samples count for nothing


class LineFit(NamedTuple):
    """A line and where along it the dolly is.

    Attributes:
        origin: of s = 0, the weighted mean of the targets' feet, (2,) [m].
        direction: unit vector, the way the targets travel, (2,).
        s: smoothed places along it at the targets' times, (n,) [m].
    """

    origin: FloatArray
    direction: FloatArray
    s: FloatArray

    @property
    def places(self) -> FloatArray:
        """Places on the ground at the targets' times, (n, 2) [m]."""
        return self.origin + self.s[:, None] * self.direction


def fit_line(
    targets: FloatArray,
    times_s: FloatArray,
    weights: FloatArray | None = None,
    *,
    max_speed: float = np.inf,
    smoothing: float = SMOOTHING_S4,
) -> LineFit:
    """Fit a line and a smooth motion along it to places in time.

    Args:
        targets: wanted places of the dolly, (n, 2) [m], n >= 2.
        times_s: ascending, (n,) [s].
        weights: of each target, (n,), >= 0; all equal where not given.
        max_speed: limit on the motion along the line [m/s].
        smoothing: weight of squared acceleration [s^4]; larger moves more gently.

    Returns:
        The line. Where the targets all coincide its direction is (1, 0), s zero.
    """
    n = len(times_s)
    chosen = np.ones(n) if weights is None else np.maximum(weights, SMALLEST_WEIGHT)
    s = np.empty(n)
    ox, oz, dx, dz = line_through(targets, times_s, chosen, max_speed, smoothing, s)
    return LineFit(origin=np.array((ox, oz)), direction=np.array((dx, dz)), s=s)


@kernel
def regress(s, q, weights):
    """Return intercept and slope of the weighted regression of q (n,) on s (n,)."""
    total = mean_s = mean_q = 0.0
    for i in range(s.shape[0]):
        total += weights[i]
        mean_s += weights[i] * s[i]
        mean_q += weights[i] * q[i]
    mean_s /= total
    mean_q /= total
    square = product = 0.0
    for i in range(s.shape[0]):
        square += weights[i] * (s[i] - mean_s) ** 2
        product += weights[i] * (s[i] - mean_s) * (q[i] - mean_q)
    slope = product / square if square > 0.0 else 0.0
    return mean_q - slope * mean_s, slope


@kernel
def factor_smoother(times, weights, lam, factors):
    """Fill `factors` (3, n) with d, l1, l2 of LDL' = diag(w) + lam D2' D2."""
    n = times.shape[0]
    factors[:] = 0.0
    d, l1, l2 = factors[0], factors[1], factors[2]
    for i in range(n):
        d[i] = weights[i]
    for i in range(1, n - 1):
        back, ahead = times[i] - times[i - 1], times[i + 1] - times[i]
        both = back + ahead
        a, b, c = 2 / (back * both), -2 / (back * ahead), 2 / (ahead * both)
        d[i - 1] += lam * a * a
        d[i] += lam * b * b
        d[i + 1] += lam * c * c
        l1[i] += lam * a * b
        l1[i + 1] += lam * b * c
        l2[i + 1] += lam * a * c
    for i in range(n):
        if i >= 2:
            l2[i] /= d[i - 2]
            d[i] -= l2[i] * l2[i] * d[i - 2]
            l1[i] -= l2[i] * l1[i - 1] * d[i - 2]
        if i >= 1:
            l1[i] /= d[i - 1]
            d[i] -= l1[i] * l1[i] * d[i - 1]


@kernel
def smooth(factors, weights, r, s):
    """Fill s with argmin sum w (s - r)^2 + lam sum s''^2, factors as above."""
    n = r.shape[0]
    d, l1, l2 = factors[0], factors[1], factors[2]
    for i in range(n):
        s[i] = weights[i] * r[i]
        if i >= 1:
            s[i] -= l1[i] * s[i - 1]
        if i >= 2:
            s[i] -= l2[i] * s[i - 2]
    for i in range(n - 1, -1, -1):
        s[i] /= d[i]
        if i + 1 < n:
            s[i] -= l1[i + 1] * s[i + 1]
        if i + 2 < n:
            s[i] -= l2[i + 2] * s[i + 2]


@kernel
def limit_rate(times, max_speed, s):
    """Replace s by the mean of its forward and its backward rate-limited pass."""
    n = s.shape[0]
    if max_speed == np.inf:
        return
    forward = s.copy()
    for i in range(1, n):
        step = max_speed * (times[i] - times[i - 1])
        low, high = forward[i - 1] - step, forward[i - 1] + step
        forward[i] = min(max(s[i], low), high)
    for i in range(n - 2, -1, -1):
        step = max_speed * (times[i + 1] - times[i])
        s[i] = min(max(s[i], s[i + 1] - step), s[i + 1] + step)
    for i in range(n):
        s[i] = 0.5 * (s[i] + forward[i])


@kernel
def principal_axis(targets, weights):
    """Return the weighted mean x, z and the unit vector of the largest spread."""
    n = targets.shape[0]
    total = mx = mz = 0.0
    for i in range(n):
        total += weights[i]
        mx += weights[i] * targets[i, 0]
        mz += weights[i] * targets[i, 1]
    mx /= total
    mz /= total
    xx = xz = zz = 0.0
    for i in range(n):
        x, z = targets[i, 0] - mx, targets[i, 1] - mz
        xx += weights[i] * x * x
        xz += weights[i] * x * z
        zz += weights[i] * z * z
    angle = 0.5 * atan2(2 * xz, xx - zz)
    sine, cosine = sin_cos(angle)
    return mx, mz, cosine, sine


@kernel
def line_through(targets, times, weights, max_speed, lam, s):
    """Fit the line; fill s and return origin x, z and direction x, z."""
    n = s.shape[0]
    factors = np.empty((3, n))
    factor_smoother(times, weights, lam, factors)
    across, deep = targets[:, 0].copy(), targets[:, 1].copy()
    mx, mz, dx, dz = principal_axis(targets, weights)
    ox, oz = mx, mz
    r = np.empty(n)
    for turn in range(N_ROUNDS):
        for i in range(n):
            r[i] = (targets[i, 0] - ox) * dx + (targets[i, 1] - oz) * dz
        smooth(factors, weights, r, s)
        limit_rate(times, max_speed, s)
        if turn == N_ROUNDS - 1:
            break
        ox, slope_x = regress(s, across, weights)
        oz, slope_z = regress(s, deep, weights)
        length = hypot(slope_x, slope_z)
        if length < 1e-12:
            break
        # A unit slope needs the intercept of the mean: o = mean(q) - d mean(s).
        mean_s = (mx - ox) * slope_x + (mz - oz) * slope_z
        mean_s /= length * length
        dx, dz = slope_x / length, slope_z / length
        ox, oz = mx - dx * mean_s, mz - dz * mean_s
    _, rise = regress(times, s, weights)
    if rise < 0.0:
        dx, dz = -dx, -dz
        for i in range(n):
            s[i] = -s[i]
    mean_s = 0.0
    total = 0.0
    for i in range(n):
        mean_s += weights[i] * s[i]
        total += weights[i]
    mean_s /= total
    for i in range(n):
        s[i] -= mean_s
    return ox + dx * mean_s, oz + dz * mean_s, dx, dz
