"""What a crew member believes about a point in the world, and when it knows it.

The member sees original samples with their own time stamps, none younger than the
reaction delay, and runs a steady-state Kalman filter of each axis on them: position p,
velocity v that fades (an Ornstein-Uhlenbeck process, time constant `fade`, which for
people is so long that an even walk is believed without bias), and a gait oscillator
(o, o') at step rate that takes the bounce out of p. Measurement: p + o.
Continuous noise densities make the gains depend on time and not on the sample rate:
measurement density 1, velocity noise `bandwidth^4`, oscillator variance `gait` [1/s].
Nothing here interpolates: belief at a tick is a function of the samples that are old
enough, and of nothing else.

Source: Kalman filter, e.g. Bar-Shalom, Li & Kirubarajan 2001, ch. 5 and 8; with an
unfading velocity and no oscillator the gains are checked against the Riccati solution
and Kalata 1984 in tests/reference/test_control.py.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..compiled.kernel import kernel
from ..elementary.exponential import exp, expm1, log
from ..elementary.trigonometry import sin_cos

GAIT_HZ = 1.9
GAIT_DAMPING = 0.05
BOUNCE_HZ = (1.7, 2.2, 2.8, 3.4)  # of heights: from a walk to a sprint
SETTLE = 400  # Riccati steps that bring the covariance to its steady state
SETTLED = 1e-9  # relative change of a gain in one step, below which it is kept
SAME_STEP_S = 1e-9
# A sample is old enough to a nanosecond, so that rounding of n/rate does not decide.
CLOCK_S = 1e-9
MEMORY_S = 1.0  # over which models are weighed
LEAST_MISS_M = 2e-3  # what is below says nothing for or against a model
TOLD = 2  # what speaks against a model, and the height of its bounce [m]
SURE = 12.0  # how much the misses of that time count, as if they were so many
STAND_S, STAND_M = 0.08, 0.012  # who has not moved so far in this time stands still,
STAND_M_S = 0.5  # if believed to go faster than this
UNSEEN_S = 0.5  # without a new sample for longer than the reaction and this,
UNSEEN_FADE_S = 3.0  # a velocity fades


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


class Samples(NamedTuple):
    """What is there to be seen of one subject.

    Attributes:
        times: of the samples, ascending, (n,) [s].
        seen_s: when each is seen, ascending, none before its reaction is over, (n,)
            [s].
        points: sampled coordinates, (n, m) [m].
        fresh: whether a sample shows something new, (n,); stale ones are not read.
    """

    times: FloatArray
    seen_s: FloatArray
    points: FloatArray
    fresh: BoolArray


class Watch(NamedTuple):
    """How a member watches; see `crew.Member`.

    Attributes:
        reaction: samples are seen this late at least [s], >= 0.
        bandwidth: of the belief [rad/s].
        fade: time constant of the believed velocity [s].
        gait: variance of the bounce over the noise density [1/s].
        gait_hz: rate of the bounce [Hz].
        carry: whether the velocity of the first two samples is believed at the start;
            a height's is not, it is the bounce's.
        stands: whether who has stopped dead is seen to stand (a zero-velocity update,
            as in pedestrian navigation), sooner than the filter would tell.
    """

    reaction: float
    bandwidth: float
    fade: float
    gait: float
    gait_hz: float
    carry: bool
    stands: bool


class Settled(NamedTuple):
    """The covariance (4, 4) and gain (4,) to which even samples lead."""

    covariance: FloatArray
    gain: FloatArray


@kernel
def first_step_s(times, fresh):
    """Return the time from the first to the second fresh sample, 1/24 s without one."""
    first = 0
    while first < times.shape[0] and not fresh[first]:
        first += 1
    second = first + 1
    while second < times.shape[0] and not fresh[second]:
        second += 1
    return times[second] - times[first] if second < times.shape[0] else 1.0 / 24


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


@kernel
def perceive_columns(samples, columns, ticks, watch, settled, place, velocity, told):
    """Fill what is believed at each tick about some of the columns of points.

    `told` (n_ticks, TOLD) is filled with what `blend_models` weighs a model by.

    They share the gains, which depend on times and noise only: `settle` gives those of
    the step between the first two fresh samples.
    """
    times, seen_s, points, fresh = samples
    reaction, _, fade, _, gait_hz, carry, stands = watch
    n = times.shape[0]
    first = 0
    while first < n and not fresh[first]:
        first += 1
    second = first + 1
    while second < n and not fresh[second]:
        second += 1
    m = columns.shape[0]
    state = np.zeros((m, 4))
    dt = 1.0 / 24
    if second < n:
        dt = times[second] - times[first]
        if carry:
            for c in range(m):
                state[c, 1] = (
                    points[second, columns[c]] - points[first, columns[c]]
                ) / dt
    for c in range(m):
        state[c, 0] = points[first, columns[c]]
    f = np.zeros((4, 4))
    q = np.zeros((4, 4))
    half = np.empty((4, 4))
    pred = np.empty((4, 4))
    p = settled.covariance.copy()
    gain = settled.gain.copy()
    transition(dt, watch, f, q)
    step = dt
    last_gain = gain.copy()
    is_settled = False
    seen = first
    last = times[first]
    started = False
    errors = spread = weight = against = 0.0
    scale = kept = logged = 1.0
    weighs = True
    since = times[first]
    anchor = np.empty(m)
    for c in range(m):
        anchor[c] = points[first, columns[c]]
    w = 2 * np.pi * gait_hz
    for k in range(ticks.shape[0]):
        now = ticks[k]
        while seen < n and seen_s[seen] <= now + CLOCK_S:
            if fresh[seen]:
                if started:
                    dt = times[seen] - last
                    if abs(dt - step) > SAME_STEP_S:
                        transition(dt, watch, f, q)
                        step = dt
                        is_settled = False
                    if not is_settled:
                        step_within(p, f, q, 1.0 / dt, gain, half, pred)
                        is_settled = True
                        for i in range(4):
                            if abs(gain[i] - last_gain[i]) > SETTLED * abs(gain[i]):
                                is_settled = False
                            last_gain[i] = gain[i]
                        weighs = True
                    if weighs:
                        # Variance of the miss over that of the noise.
                        scale = 1.0 / max(1.0 - gain[0] - gain[2], 1e-9)
                        kept = exp(-dt / MEMORY_S)
                        logged = log(scale)
                        weighs = False
                    errors, spread, weight = kept * errors, kept * spread, kept * weight
                    weight += 1.0 - kept
                    spread += (1.0 - kept) * logged
                    for c in range(m):
                        a = state[c, 0] + f[0, 1] * state[c, 1]
                        b = f[1, 1] * state[c, 1]
                        o = f[2, 2] * state[c, 2] + f[2, 3] * state[c, 3]
                        d = f[3, 2] * state[c, 2] + f[3, 3] * state[c, 3]
                        miss = points[seen, columns[c]] - a - o
                        state[c, 0] = a + gain[0] * miss
                        state[c, 1] = b + gain[1] * miss
                        state[c, 2] = o + gain[2] * miss
                        state[c, 3] = d + gain[3] * miss
                        errors += (1.0 - kept) * (miss * miss + LEAST_MISS_M**2) / scale
                    if stands:
                        moved = quick = False
                        for c in range(m):
                            off = points[seen, columns[c]] - anchor[c]
                            moved = moved or abs(off) > STAND_M
                            quick = quick or abs(state[c, 1]) > STAND_M_S
                        if moved:
                            since = times[seen]
                            for c in range(m):
                                anchor[c] = points[seen, columns[c]]
                        elif quick and times[seen] - since >= STAND_S - CLOCK_S:
                            for c in range(m):
                                state[c, 0] = points[seen, columns[c]]
                                state[c, 1] = state[c, 2] = state[c, 3] = 0.0
                    else:
                        against = log(errors / weight) + spread / weight
                        against *= SURE / 2 * weight
                started = True
                last = times[seen]
            seen += 1
        told[k, 0] = against
        told[k, 1] = np.sqrt(state[m - 1, 2] ** 2 + (state[m - 1, 3] / w) ** 2)
        ahead = now - last
        reach, left = carried(ahead, fade, reaction + UNSEEN_S)
        if not started:
            reach, left = ahead, 1.0
        for c in range(m):
            place[k, columns[c]] = state[c, 0] + reach * state[c, 1]
            velocity[k, columns[c]] = left * state[c, 1]


@kernel
def carried(ahead, fade, seen_for):
    """Return how far a velocity carries in a time ahead [s], and what is left of it.

    After `seen_for` [s] without a sample it fades sooner: nobody is believed to walk on
    for ever behind a wall.
    """
    while_seen = min(ahead, seen_for)
    unseen = ahead - while_seen
    faded = expm1(-while_seen / fade)
    reach, left = -fade * faded, 1.0 + faded
    if unseen > 0.0:
        sooner = min(fade, UNSEEN_FADE_S)
        reach -= left * sooner * expm1(-unseen / sooner)
        left *= exp(-unseen / sooner)
    return reach, left
