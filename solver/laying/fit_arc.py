"""The circle through given places, and the arc of track along it.

On the ground plane, (x, z) in metres. Algebraic fits (Taubin, Pratt): with the points
centred, moments M and z = x^2 + y^2, minimise the mean of (A z + B x + C y + D)^2 over
the fit's own norm. For both, the centre is (M2 - eta I)^-1 (Mxz, Myz) / 2, M2 the
covariance, eta the smallest root >= 0 of a determinant, by Newton's method from 0:

    Taubin  R^2 = |centre|^2 + Mz,            f = Mzz - Mz^2 - 4 Mz eta
    Pratt   R^2 = |centre|^2 + Mz + 2 eta,    f = Mzz - (Mz + 2 eta)^2
    0 = f det(M2 - eta I) - (Mxz, Myz) adj(M2 - eta I) (Mxz, Myz)'

The geometric fit minimises the sum of squared distances by Levenberg's method in
(delta, phi, kappa): the circle of signed curvature kappa through n delta with the unit
normal n(phi) there. A point's distance is Q / (1 + sqrt(1 + kappa Q)), Q = kappa |x -
n delta|^2 - 2 (n . x - delta), which has no singularity where the path is straight.

Source: Taubin 1991, IEEE Trans. PAMI 13, 1115; Pratt 1987, Computer Graphics 21, 145;
Chernov & Lesort 2005, J. Math. Imaging Vision 23, 239 (from memory) for Newton's start.
The geometric form is our derivation. Values: tests/reference/test_fits.py.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..elementary.length import hypot
from ..elementary.trigonometry import sin_cos
from .fit_line import SMOOTHING_S4, factor_smoother, limit_rate, smooth

MAX_STEPS = 100
SETTLED = 1e-13  # relative fall of the sum of squares in the last step
STRAIGHT = 1e-9  # curvature times spread below which there is no circle


@dataclass(frozen=True, kw_only=True, slots=True)
class Circle:
    """A circle on the ground plane: centre (2,) and radius [m]."""

    centre: FloatArray
    radius: float

    def distances(self, points: FloatArray) -> FloatArray:
        """Return signed distances of points (n, 2), positive outside, (n,) [m]."""
        off = points - self.centre
        away: FloatArray = np.hypot(off[:, 0], off[:, 1]) - self.radius
        return away


class ArcFit(NamedTuple):
    """An arc and where along it the dolly is.

    Attributes:
        centre: (2,) [m]; radius: [m].
        start: angle of s = 0 [rad], 0 on the centre's -Z side, positive
            counter-clockwise seen from above, as in a rig.
        sweep: signed angle covered [rad].
        s: smoothed places along it, 0 to radius |sweep|, (n,) [m].
    """

    centre: FloatArray
    radius: float
    start: float
    sweep: float
    s: FloatArray

    @property
    def places(self) -> FloatArray:
        """Places on the ground at the targets' times, (n, 2) [m]."""
        angle = self.start + np.copysign(self.s, self.sweep) / self.radius
        return self.centre - self.radius * np.column_stack(
            (np.sin(angle), np.cos(angle))
        )

    @property
    def sagitta_m(self) -> float:
        """Height of the arc over its chord [m]."""
        half = min(abs(self.sweep) / 2, math.pi)
        return self.radius * (1.0 - math.cos(half))


@dataclass(frozen=True, kw_only=True, slots=True)
class ArcRules:
    """What an arc must be to be worth laying; defaults common practice, no source."""

    least_radius_m: float = 1.5
    most_radius_m: float = 40.0
    most_sweep: float = math.radians(120.0)
    least_sagitta_m: float = 0.3


def arc_fault(arc: ArcFit, rules: ArcRules) -> str | None:
    """Return which rule an arc breaks: radius, sweep or sagitta; None for none."""
    if not rules.least_radius_m <= arc.radius <= rules.most_radius_m:
        return "radius"
    if abs(arc.sweep) > rules.most_sweep:
        return "sweep"
    return "sagitta" if arc.sagitta_m < rules.least_sagitta_m else None


def circle_geometric(points: FloatArray) -> Circle | None:
    """Return the circle of least squared distance, started from Taubin's.

    Args:
        points: (n, 2) [m], n >= 3.

    Returns:
        None where the best circle is a straight line or the points coincide.
    """
    return _circle(geometric(points))


def arc_through(
    targets: FloatArray,
    times_s: FloatArray,
    *,
    max_speed: float = np.inf,
    smoothing: float = SMOOTHING_S4,
) -> ArcFit | None:
    """Fit an arc of track and a smooth motion along it to places in time.

    Args:
        targets: wanted places of the dolly, (n, 2) [m], n >= 3.
        times_s: ascending, (n,) [s].
        max_speed: limit on the motion along the arc [m/s].
        smoothing: weight of squared acceleration [s^4].

    Returns:
        The arc, in the way of travel, whatever `arc_fault` says of it; None only where
        there is no circle.
    """
    x, z, radius = geometric(targets)
    if not np.isfinite(radius):
        return None
    s = np.empty(len(targets))
    start, sweep = along_arc(targets, times_s, x, z, radius, max_speed, smoothing, s)
    return ArcFit(centre=np.array((x, z)), radius=radius, start=start, sweep=sweep, s=s)


def _circle(found: tuple[float, float, float]) -> Circle | None:
    x, z, radius = found
    return Circle(centre=np.array((x, z)), radius=radius) if radius < np.inf else None


@kernel
def algebraic(points, slope, square):
    """Return centre x, z and radius of an algebraic fit; radius inf where straight.

    The fit's f is Mzz - Mz^2 - slope Mz eta - square eta^2: (4, 0) is Taubin's, (4, 4)
    is Pratt's.
    """
    n = points.shape[0]
    mean_x = mean_y = 0.0
    for i in range(n):
        mean_x += points[i, 0] / n
        mean_y += points[i, 1] / n
    spread = 0.0
    for i in range(n):
        spread += ((points[i, 0] - mean_x) ** 2 + (points[i, 1] - mean_y) ** 2) / n
    if not spread > 0.0:
        return mean_x, mean_y, np.inf
    scale = np.sqrt(spread)  # to unit spread: Mz = 1
    xx = xy = yy = xz = yz = zz = 0.0
    for i in range(n):
        x, y = (points[i, 0] - mean_x) / scale, (points[i, 1] - mean_y) / scale
        z = x * x + y * y
        xx += x * x / n
        xy += x * y / n
        yy += y * y / n
        xz += x * z / n
        yz += y * z / n
        zz += z * z / n
    eta = 0.0
    for _ in range(MAX_STEPS):
        f = zz - 1.0 - slope * eta - square * eta * eta
        f_slope = -slope - 2 * square * eta
        det = (xx - eta) * (yy - eta) - xy * xy
        det_slope = 2 * eta - xx - yy
        value = f * det - (
            xz * xz * (yy - eta) - 2 * xz * yz * xy + yz * yz * (xx - eta)
        )
        rate = f_slope * det + f * det_slope + xz * xz + yz * yz
        if not value > 0.0 or not rate < 0.0:
            break
        step = -value / rate
        eta += step
        if step <= 1e-15:
            break
    det = (xx - eta) * (yy - eta) - xy * xy
    if not abs(det) > STRAIGHT:
        return mean_x, mean_y, np.inf
    cx = 0.5 * (xz * (yy - eta) - yz * xy) / det
    cy = 0.5 * (yz * (xx - eta) - xz * xy) / det
    radius = np.sqrt(cx * cx + cy * cy + 1.0 + 0.5 * square * eta)
    return mean_x + scale * cx, mean_y + scale * cy, scale * radius


@kernel
def distance_terms(x, y, delta, nx, ny, kappa):
    """Return a point's signed distance and its derivatives by delta, phi, kappa."""
    along = nx * x + ny * y
    across = nx * y - ny * x
    off = along - delta
    square = across * across + off * off
    q = kappa * square - 2 * off
    g = np.sqrt(max(1.0 + kappa * q, 1e-300))
    d = q / (1.0 + g)
    by_q = 1.0 / (1.0 + g) - q * kappa / (2 * g * (1.0 + g) ** 2)
    by_kappa = by_q * square - q * q / (2 * g * (1.0 + g) ** 2)
    by_delta = by_q * (2.0 - 2 * kappa * off)
    by_phi = by_q * (-2 * kappa * delta * across - 2 * across)
    return d, by_delta, by_phi, by_kappa


@kernel
def _squares(unit, delta, phi, kappa):
    """Return the sum of squared distances of points from a circle."""
    ny, nx = sin_cos(phi)
    total = 0.0
    for i in range(unit.shape[0]):
        off = nx * unit[i, 0] + ny * unit[i, 1] - delta
        across = nx * unit[i, 1] - ny * unit[i, 0]
        q = kappa * (across * across + off * off) - 2 * off
        total += (q / (1.0 + np.sqrt(max(1.0 + kappa * q, 0.0)))) ** 2
    return total


@kernel
def geometric(points):
    """Return centre x, z and radius of least squared distance; inf where straight."""
    n = points.shape[0]
    ax, ay, radius = algebraic(points, 4.0, 0.0)
    mean_x = mean_y = spread = 0.0
    for i in range(n):
        mean_x += points[i, 0] / n
        mean_y += points[i, 1] / n
    for i in range(n):
        spread += ((points[i, 0] - mean_x) ** 2 + (points[i, 1] - mean_y) ** 2) / n
    if radius == np.inf or n < 3:
        return ax, ay, np.inf
    scale = np.sqrt(spread)
    unit = np.empty((n, 2))
    for i in range(n):
        unit[i, 0] = (points[i, 0] - mean_x) / scale
        unit[i, 1] = (points[i, 1] - mean_y) / scale
    ax, ay, radius = (ax - mean_x) / scale, (ay - mean_y) / scale, radius / scale
    p = np.array([hypot(ax, ay) - radius, atan2(ay, ax), 1.0 / radius])
    now = _squares(unit, p[0], p[1], p[2])
    damping = 1e-4
    h = np.empty((3, 3))
    g = np.empty(3)
    for _ in range(MAX_STEPS):
        h[:] = 0.0
        g[:] = 0.0
        ny, nx = sin_cos(p[1])
        for i in range(n):
            d, j0, j1, j2 = distance_terms(unit[i, 0], unit[i, 1], p[0], nx, ny, p[2])
            g[0] += d * j0
            g[1] += d * j1
            g[2] += d * j2
            h[0, 0] += j0 * j0
            h[1, 0] += j1 * j0
            h[2, 0] += j2 * j0
            h[1, 1] += j1 * j1
            h[2, 1] += j2 * j1
            h[2, 2] += j2 * j2
        improved = False
        while damping < 1e12:
            s0, s1, s2 = _damped_step(h, g, damping)
            tried = _squares(unit, p[0] + s0, p[1] + s1, p[2] + s2)
            if tried < now:
                improved = True
                damping = max(damping / 10, 1e-12)
                break
            damping *= 10
        if not improved:
            break
        won = now - tried
        now = tried
        p[0] += s0
        p[1] += s1
        p[2] += s2
        if won <= SETTLED * now:
            break
    if abs(p[2]) < STRAIGHT:
        return mean_x, mean_y, np.inf
    reach = scale * (p[0] + 1.0 / p[2])
    sine, cosine = sin_cos(p[1])
    return (
        mean_x + reach * cosine,
        mean_y + reach * sine,
        scale / abs(p[2]),
    )


@kernel
def _damped_step(h, g, damping):
    """Solve (H + damping diag H) step = -g for a 3 by 3 H, by Cholesky."""
    rise = 1.0 + damping
    tiny = 1e-12 * (h[0, 0] + h[1, 1] + h[2, 2]) + 1e-300
    l00 = np.sqrt(h[0, 0] * rise + tiny * damping)
    l10 = h[1, 0] / l00
    l20 = h[2, 0] / l00
    l11 = np.sqrt(max(h[1, 1] * rise + tiny * damping - l10 * l10, tiny * 1e-4))
    l21 = (h[2, 1] - l20 * l10) / l11
    left = h[2, 2] * rise + tiny * damping - l20 * l20 - l21 * l21
    l22 = np.sqrt(max(left, tiny * 1e-4))
    y0 = -g[0] / l00
    y1 = (-g[1] - l10 * y0) / l11
    y2 = (-g[2] - l20 * y0 - l21 * y1) / l22
    s2 = y2 / l22
    s1 = (y1 - l21 * s2) / l11
    s0 = (y0 - l10 * s1 - l20 * s2) / l00
    return s0, s1, s2


@kernel
def along_arc(targets, times, cx, cz, radius, max_speed, lam, s):
    """Fill s along the arc that the targets travel; return its start and sweep."""
    n = s.shape[0]
    raw = np.empty(n)
    for i in range(n):
        angle = atan2(-(targets[i, 0] - cx), -(targets[i, 1] - cz))
        if i > 0:
            last = raw[i - 1] / radius
            angle -= 2 * np.pi * np.round((angle - last) / (2 * np.pi))
        raw[i] = angle * radius
    weights = np.ones(n)
    factors = np.empty((3, n))
    factor_smoother(times, weights, lam, factors)
    smooth(factors, weights, raw, s)
    limit_rate(times, max_speed, s)
    low = high = s[0]
    for i in range(1, n):
        low, high = min(low, s[i]), max(high, s[i])
    sweep = (high - low) / radius
    if s[n - 1] < s[0]:
        for i in range(n):
            s[i] = high - s[i]
        return high / radius, -sweep
    for i in range(n):
        s[i] -= low
    return low / radius, sweep
