"""The gains of a belief: transition, covariance, and what even samples lead to.

A state is (p, v, o, o'); see `belief`. Continuous noise densities make the gains depend
on time and not on the sample rate: measurement density 1, velocity noise `bandwidth^4`,
oscillator variance `gait` [1/s].

Source: Kalman filter, e.g. Bar-Shalom, Li & Kirubarajan 2001, ch. 5 and 8; with an
unfading velocity and no oscillator the gains are checked against the Riccati solution
and Kalata 1984 in tests/reference/test_control.py.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.exponential import exp, expm1
from ..elementary.trigonometry import sin_cos

GAIT_DAMPING = 0.05
SETTLE = 400  # Riccati steps that bring the covariance to its steady state


class Settled(NamedTuple):
    """The covariance (4, 4) and gain (4,) to which even samples lead."""

    covariance: FloatArray
    gain: FloatArray


@kernel
def transition(dt, watch, f, q):
    """Fill the transition f and process covariance q (4, 4) of a step `dt` [s]."""
    fade, gait = watch.fade, watch.gait
    f[:] = 0.0
    q[:] = 0.0
    x = dt / fade
    e = exp(-x)
    f[0, 0] = 1.0
    f[0, 1] = -fade * expm1(-x)
    f[1, 1] = e
    density = watch.bandwidth**4
    one = -expm1(-x)
    two = -expm1(-2 * x)
    q[0, 1] = density * fade * fade / 2 * one * one
    q[1, 1] = density * fade / 2 * two
    if x > 1e-2:
        q[0, 0] = density * fade * fade * (dt - 2 * fade * one + fade / 2 * two)
    else:  # the closed form cancels; its series, to rounding at the seam, does not
        tail = 7 / 60 - x * (1 / 24 - x * (31 / 2520 - x / 320))
        q[0, 0] = density * dt**3 * (1 / 3 - x * (1 / 4 - x * tail))
    q[1, 0] = q[0, 1]
    w = 2 * np.pi * watch.gait_hz
    decay = exp(-GAIT_DAMPING * w * dt)
    wd = w * np.sqrt(1 - GAIT_DAMPING**2)
    s, c = sin_cos(wd * dt)
    s = s / wd
    f[2, 2] = decay * (c + GAIT_DAMPING * w * s)
    f[2, 3] = decay * s
    f[3, 2] = -decay * w * w * s
    f[3, 3] = decay * (c - GAIT_DAMPING * w * s)
    # The oscillator is stationary: q = P - f P f' with P = diag(gait, gait w^2).
    for i in range(2, 4):
        for j in range(2, 4):
            own = gait * (1.0 if i == 2 else w * w) if i == j else 0.0
            q[i, j] = own - gait * (f[i, 2] * f[j, 2] + w * w * f[i, 3] * f[j, 3])


@kernel
def step_within(p, f, q, noise, gain, half, pred):
    """Predict and update covariance p (4, 4) in place; fill `gain` (4,).

    `f` is block diagonal, two by two, as `transition` fills it. The arrays `half` and
    `pred`, (4, 4), are scratch space.
    """
    for i in range(4):
        k = i // 2 * 2
        for j in range(4):
            half[i, j] = f[i, k] * p[k, j] + f[i, k + 1] * p[k + 1, j]
    for i in range(4):
        for j in range(4):
            k = j // 2 * 2
            pred[i, j] = (q[i, j] + half[i, k] * f[j, k]) + half[i, k + 1] * f[j, k + 1]
    total = pred[0, 0] + 2 * pred[0, 2] + pred[2, 2] + noise
    for i in range(4):
        gain[i] = (pred[i, 0] + pred[i, 2]) / total
    for i in range(4):
        for j in range(4):
            p[i, j] = pred[i, j] - gain[i] * gain[j] * total
    for i in range(4):
        for j in range(i):
            p[i, j] = p[j, i] = (p[i, j] + p[j, i]) / 2


@kernel
def settle(dt, watch, settled):
    """Fill the `settled` covariance and gain to which samples `dt` [s] apart lead."""
    p, gain = settled.covariance, settled.gain
    f = np.zeros((4, 4))
    q = np.zeros((4, 4))
    half = np.empty((4, 4))
    pred = np.empty((4, 4))
    p[:] = 0.0
    p[0, 0] = p[1, 1] = 1.0
    # The bounce starts as it stays; else its slow decay would outlast the settling.
    p[2, 2] = watch.gait
    p[3, 3] = watch.gait * (2 * np.pi * watch.gait_hz) ** 2
    transition(dt, watch, f, q)
    for _ in range(SETTLE):
        step_within(p, f, q, 1.0 / dt, gain, half, pred)
