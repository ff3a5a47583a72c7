"""Where to stand sticks: one place for a wanted distance and azimuth.

On the ground plane, (x, z) in metres, the place p minimises

    sum log^2(|p - q_i| / D_i) + w sum wrap(azimuth(q_i -> p) - asked_i)^2

by damped Gauss-Newton, no step longer than half the mean distance. Azimuths are those
of a bearing: 0 along -Z, positive counter-clockwise seen from above.

Source: our derivation, tested in tests/solver/laying/test_fit_sticks.py.
"""

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..elementary.exponential import log
from ..elementary.trigonometry import sin_cos

AZIMUTH_OPEN = 0.05  # weight where the view is free
AZIMUTH_ASKED = 0.5
NEAREST_M = 1e-3  # distances below count as this one
MAX_STEPS = 60
SETTLED = 1e-5  # last step over half the mean distance; setups are rounded to 1 mm


def fit_sticks(
    subject: FloatArray,
    distance: ArrayLike,
    azimuth: ArrayLike,
    weight_azimuth: float = AZIMUTH_ASKED,
) -> FloatArray:
    """Return the place (2,) [m] that best keeps a distance and an azimuth.

    Args:
        subject: where the subject is, (n, 2) [m].
        distance: wanted horizontal distance, (n,) or scalar [m], > 0.
        azimuth: wanted world bearing from subject to camera, (n,) or scalar [rad].
        weight_azimuth: of the squared bearing error against the squared log of the
            distance ratio, >= 0; near 0 a place ahead slides to the side.
    """
    n = len(subject)
    distances, azimuths = np.empty(n), np.empty(n)
    distances[:], azimuths[:] = distance, azimuth
    x, z, _ = stand(subject, distances, azimuths, float(weight_azimuth))
    return np.array((x, z))


@kernel
def wrap(angle):
    """Return the angle in [-pi, pi]."""
    return angle - 2 * np.pi * np.round(angle / (2 * np.pi))


@kernel
def misses_at(subject, log_distance, azimuth, weight, x, z):
    """Return the objective at x, z, with half its gradient and Gauss-Newton matrix."""
    total = hxx = hxz = hzz = gx = gz = 0.0
    for i in range(subject.shape[0]):
        ex, ez = x - subject[i, 0], z - subject[i, 1]
        square = max(ex * ex + ez * ez, NEAREST_M * NEAREST_M)
        miss = 0.5 * log(square) - log_distance[i]
        turn = wrap(atan2(-ex, -ez) - azimuth[i])
        total += miss * miss + weight * turn * turn
        # Gradients e / |e|^2 of the log, (ez, -ex) / |e|^2 of the bearing.
        lx, lz = ex / square, ez / square
        hxx += lx * lx + weight * lz * lz
        hxz += lx * lz - weight * lz * lx
        hzz += lz * lz + weight * lx * lx
        gx += miss * lx + weight * turn * lz
        gz += miss * lz - weight * turn * lx
    return total, hxx, hxz, hzz, gx, gz


@kernel
def stand(subject, distance, azimuth, weight):
    """Return the best place x, z and its objective."""
    n = subject.shape[0]
    logs = np.empty(n)
    for i in range(n):
        logs[i] = log(distance[i])
    x = z = longest = 0.0
    for i in range(n):
        sine, cosine = sin_cos(azimuth[i])
        x += (subject[i, 0] - distance[i] * sine) / n
        z += (subject[i, 1] - distance[i] * cosine) / n
        longest += 0.5 * distance[i] / n
    here = misses_at(subject, logs, azimuth, weight, x, z)
    damping = 1e-6
    for _ in range(MAX_STEPS):
        now, hxx, hxz, hzz, gx, gz = here
        improved = False
        while damping < 1e9:
            lift = damping * (hxx + hzz)
            det = (hxx + lift) * (hzz + lift) - hxz * hxz
            sx = -((hzz + lift) * gx - hxz * gz) / det
            sz = -((hxx + lift) * gz - hxz * gx) / det
            shrink = min(1.0, longest / max(np.sqrt(sx * sx + sz * sz), 1e-300))
            sx, sz = sx * shrink, sz * shrink
            there = misses_at(subject, logs, azimuth, weight, x + sx, z + sz)
            if there[0] < now:
                improved = True
                damping = max(damping / 10, 1e-9)
                break
            damping *= 10
        if not improved:
            break
        x, z, here = x + sx, z + sz, there
        if np.sqrt(sx * sx + sz * sz) < SETTLED * longest:
            break
    return x, z, here[0]
