"""Where to stand sticks: one place for a wanted distance and azimuth.

On the ground plane, (x, z) in metres, the place p minimises

    sum log^2(|p - q_i| / D_i) + w sum wrap(azimuth(q_i -> p) - asked_i)^2

by damped Gauss-Newton, no step longer than half the mean distance. Azimuths are those
of a bearing: 0 along -Z, positive counter-clockwise seen from above.

Source: our derivation, tested in tests/solver/test_fit_sticks.py.
"""

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..compiled import kernel

AZIMUTH_OPEN = 0.05  # weight where the view is free
AZIMUTH_ASKED = 0.5
NEAREST_M = 1e-3  # distances below count as this one
MAX_STEPS = 60
SETTLED = 1e-6  # last step over half the mean distance; setups are rounded to 1 mm


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
    distances = np.ascontiguousarray(np.broadcast_to(np.asarray(distance, float), n))
    azimuths = np.ascontiguousarray(np.broadcast_to(np.asarray(azimuth, float), n))
    x, z, _ = stand(subject, distances, azimuths, float(weight_azimuth))
    return np.array((x, z))


@kernel
def wrap(angle):
    """Return the angle in [-pi, pi]."""
    return angle - 2 * np.pi * np.round(angle / (2 * np.pi))


@kernel
def miss_of(subject, distance, azimuth, weight, x, z):
    """Return the objective at the place x, z."""
    total = 0.0
    for i in range(subject.shape[0]):
        ex, ez = x - subject[i, 0], z - subject[i, 1]
        gap = max(np.hypot(ex, ez), NEAREST_M)
        total += np.log(gap / distance[i]) ** 2
        total += weight * wrap(np.arctan2(-ex, -ez) - azimuth[i]) ** 2
    return total


@kernel
def stand(subject, distance, azimuth, weight):
    """Return the best place x, z and its objective."""
    n = subject.shape[0]
    x = z = longest = 0.0
    for i in range(n):
        x += (subject[i, 0] - distance[i] * np.sin(azimuth[i])) / n
        z += (subject[i, 1] - distance[i] * np.cos(azimuth[i])) / n
        longest += 0.5 * distance[i] / n
    now = miss_of(subject, distance, azimuth, weight, x, z)
    damping = 1e-6
    for _ in range(MAX_STEPS):
        hxx = hxz = hzz = gx = gz = 0.0
        for i in range(n):
            ex, ez = x - subject[i, 0], z - subject[i, 1]
            square = max(ex * ex + ez * ez, NEAREST_M**2)
            miss = 0.5 * np.log(square) - np.log(distance[i])
            turn = wrap(np.arctan2(-ex, -ez) - azimuth[i])
            # Gradients e / |e|^2 of the log, (ez, -ex) / |e|^2 of the bearing.
            lx, lz, tx, tz = ex / square, ez / square, ez / square, -ex / square
            hxx += lx * lx + weight * tx * tx
            hxz += lx * lz + weight * tx * tz
            hzz += lz * lz + weight * tz * tz
            gx += miss * lx + weight * turn * tx
            gz += miss * lz + weight * turn * tz
        improved = False
        while damping < 1e9:
            lift = damping * (hxx + hzz)
            det = (hxx + lift) * (hzz + lift) - hxz * hxz
            sx = -((hzz + lift) * gx - hxz * gz) / det
            sz = -((hxx + lift) * gz - hxz * gx) / det
            shrink = min(1.0, longest / max(np.hypot(sx, sz), 1e-300))
            sx, sz = sx * shrink, sz * shrink
            tried = miss_of(subject, distance, azimuth, weight, x + sx, z + sz)
            if tried < now:
                improved = True
                damping = max(damping / 10, 1e-9)
                break
            damping *= 10
        if not improved:
            break
        x, z, now = x + sx, z + sz, tried
        if np.hypot(sx, sz) < SETTLED * longest:
            break
    return x, z, now
