"""The pose at every sample: plans evaluated, the rig placed, the shake laid over.

Kernels of what `camera` defines: R = Ry(pan) Rx(tilt) Rz(roll), quaternions x, y, z, w.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.trigonometry import sin_cos
from ..rigs.rig import rig_place
from .plan import evaluate_plan

LEAST_DIOPTRES = 1e-4


class ChannelLogs(NamedTuple):
    """The plans of all channels, each a log (k, m) as `evaluate_plan` reads it."""

    dolly: FloatArray
    pan: FloatArray
    tilt: FloatArray
    focus: FloatArray


@kernel
def half_angle(pan, tilt, roll):
    """Return qy(pan) qx(tilt) qz(roll), of either sign."""
    sp, cp = sin_cos(0.5 * pan)
    st, ct = sin_cos(0.5 * tilt)
    sr, cr = sin_cos(0.5 * roll)
    return (
        cp * st * cr + sp * ct * sr,
        sp * ct * cr - cp * st * sr,
        cp * ct * sr - sp * st * cr,
        cp * ct * cr + sp * st * sr,
    )


@kernel
def turned(pan, tilt, roll, x, y, z):
    """Return a vector of the camera's own axes in those of the world."""
    sp, cp = sin_cos(pan)
    st, ct = sin_cos(tilt)
    sr, cr = sin_cos(roll)
    return (
        (cp * cr + sp * st * sr) * x + (sp * st * cr - cp * sr) * y + sp * ct * z,
        ct * sr * x + ct * cr * y - st * z,
        (cp * st * sr - sp * cr) * x + (sp * sr + cp * st * cr) * y + cp * ct * z,
    )


@kernel
def shake_over(base, pan, tilt, roll, shake, place, turn):
    """Fill place (n, 3) and sign-continuous turn (n, 4) of a base pose and its shake.

    `pan` and `tilt` are (n, 3), the angle first, `roll` a number [rad]; `shake` holds
    x, y, z [m], pan, tilt, roll [rad], (n,) each, in the base camera's own axes.
    """
    last = np.array([0.0, 0.0, 0.0, 1.0])
    for i in range(base.shape[0]):
        left, up = pan[i, 0], tilt[i, 0]
        x, y, z = turned(left, up, roll, shake[0][i], shake[1][i], shake[2][i])
        place[i, 0] = base[i, 0] + x
        place[i, 1] = base[i, 1] + y
        place[i, 2] = base[i, 2] + z
        ax, ay, az, aw = half_angle(left, up, roll)
        bx, by, bz, bw = half_angle(shake[3][i], shake[4][i], shake[5][i])
        qx = aw * bx + ax * bw + ay * bz - az * by
        qy = aw * by - ax * bz + ay * bw + az * bx
        qz = aw * bz + ax * by - ay * bx + az * bw
        qw = aw * bw - ax * bx - ay * by - az * bz
        # Into the hemisphere of the one before; the first has w >= 0.
        if qx * last[0] + qy * last[1] + qz * last[2] + qw * last[3] < 0.0:
            qx, qy, qz, qw = -qx, -qy, -qz, -qw
        last[0], last[1], last[2], last[3] = qx, qy, qz, qw
        turn[i, 0], turn[i, 1], turn[i, 2], turn[i, 3] = qx, qy, qz, qw


@kernel
def base_poses(rig, times, plans, nearest, tracks, base, focus_m):
    """Evaluate the `ChannelLogs` at ascending `times` (n,) [s].

    `tracks` (3, n, 3) is filled with value, speed and acceleration of rail, pan and
    tilt, `base` (n, 3) with the lens, `focus_m` (n,) with the distance of the focus,
    which is at most `nearest` dioptres.
    """
    dolly, pans, tilts, focus = plans
    r = p = t = f = 0
    for i in range(times.shape[0]):
        now = times[i]
        while r + 1 < dolly.shape[0] and dolly[r + 1, 0] <= now:
            r += 1
        while p + 1 < pans.shape[0] and pans[p + 1, 0] <= now:
            p += 1
        while t + 1 < tilts.shape[0] and tilts[t + 1, 0] <= now:
            t += 1
        while f + 1 < focus.shape[0] and focus[f + 1, 0] <= now:
            f += 1
        s, v, a = evaluate_plan(dolly, r, now)
        tracks[0, i, 0], tracks[0, i, 1], tracks[0, i, 2] = s, v, a
        base[i, 0], base[i, 1], base[i, 2] = rig_place(rig, s)
        x, v, a = evaluate_plan(pans, p, now)
        tracks[1, i, 0], tracks[1, i, 1], tracks[1, i, 2] = x, v, a
        x, v, a = evaluate_plan(tilts, t, now)
        tracks[2, i, 0], tracks[2, i, 1], tracks[2, i, 2] = x, v, a
        x, _, _ = evaluate_plan(focus, f, now)
        focus_m[i] = 1.0 / min(max(x, LEAST_DIOPTRES), nearest)
