"""What a crew member believes about a point in the world, and when it knows it.

The member sees original samples with their own time stamps, none younger than the
reaction delay, and runs a steady-state Kalman filter of each axis on them: position p,
velocity v that fades (an Ornstein-Uhlenbeck process, time constant `fade`, which for
people is so long that an even walk is believed without bias), and a gait oscillator
(o, o') at step rate that takes the bounce out of p. Measurement: p + o.
Its gains are in `gains`. Nothing here interpolates: belief at a tick is a function of
the samples that are old enough, and of nothing else.

Source: Kalman filter, e.g. Bar-Shalom, Li & Kirubarajan 2001, ch. 5 and 8.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import ZERO, BoolArray, FloatArray
from ..compiled.kernel import kernel
from ..elementary.exponential import exp, expm1, log
from .gains import step_within, transition

GAIT_HZ = 1.9
BOUNCE_HZ = (1.7, 2.2, 2.8, 3.4)  # of heights: from a walk to a sprint
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


# A filter is a row of a table, so that many of them are one array. Of its row: p, v, o,
# o' of each column; where one stood who has not moved far since [m]; transition and
# process covariance of the step in use; covariance; gains of the last sample and of
# the one before; the step, times of the last sample and of the anchor [s]; whether a
# sample was taken in, the gain keeps, and the scale of misses is to be renewed (each 0
# or 1); sums of misses, of their scale and of their weight, and what they say against
# the model; that scale, what a step keeps of the sums, and the scale's logarithm.
STATE, ANCHOR, F, Q, P, GAIN, LAST_GAIN = 0, 16, 20, 36, 52, 68, 72
STEP, LAST, SINCE, STARTED, KEEPS, WEIGHS = range(76, 82)
ERRORS, SPREAD, WEIGHT, AGAINST, SCALE, KEPT, LOGGED = range(82, 89)
FILTER_WIDTH = 89


@kernel
def start_filter(filters, i, samples, columns, watch, settled):
    """Start filter i with the first two fresh samples; return which is the first.

    `settled` are gain and covariance for the step between these two.
    """
    times, _, points, fresh = samples
    n = times.shape[0]
    first = 0
    while first < n and not fresh[first]:
        first += 1
    second = first + 1
    while second < n and not fresh[second]:
        second += 1
    dt = 1.0 / 24
    if second < n:
        dt = times[second] - times[first]
    filters[i, :] = 0.0
    for c in range(columns.shape[0]):
        place = points[first, columns[c]]
        filters[i, STATE + 4 * c] = filters[i, ANCHOR + c] = place
        if second < n and watch.carry:
            filters[i, STATE + 4 * c + 1] = (points[second, columns[c]] - place) / dt
    for r in range(4):
        filters[i, GAIN + r] = filters[i, LAST_GAIN + r] = settled.gain[r]
        for c in range(4):
            filters[i, P + 4 * r + c] = settled.covariance[r, c]
    set_step(filters, i, dt, watch)
    filters[i, LAST] = filters[i, SINCE] = times[first]
    filters[i, WEIGHS] = filters[i, SCALE] = filters[i, KEPT] = 1.0
    filters[i, LOGGED] = 1.0
    return first


@kernel
def set_step(filters, i, dt, watch):
    """Set filter i to a step [s]."""
    f, q = np.empty((4, 4)), np.empty((4, 4))
    transition(dt, watch, f, q)
    for r in range(4):
        for c in range(4):
            filters[i, F + 4 * r + c], filters[i, Q + 4 * r + c] = f[r, c], q[r, c]
    filters[i, STEP] = dt
    filters[i, KEEPS] = 0.0


@kernel
def renew_gain(filters, i, dt):
    """Take filter i's gain a step on [s]; it keeps where it is as good as the last."""
    f, q, p = np.empty((4, 4)), np.empty((4, 4)), np.empty((4, 4))
    for r in range(4):
        for c in range(4):
            f[r, c], q[r, c] = filters[i, F + 4 * r + c], filters[i, Q + 4 * r + c]
            p[r, c] = filters[i, P + 4 * r + c]
    gain, half, pred = np.empty(4), np.empty((4, 4)), np.empty((4, 4))
    step_within(p, f, q, 1.0 / dt, gain, half, pred)
    filters[i, KEEPS] = 1.0
    for r in range(4):
        for c in range(4):
            filters[i, P + 4 * r + c] = p[r, c]
        if abs(gain[r] - filters[i, LAST_GAIN + r]) > SETTLED * abs(gain[r]):
            filters[i, KEEPS] = 0.0
        filters[i, GAIN + r] = filters[i, LAST_GAIN + r] = gain[r]
    filters[i, WEIGHS] = 1.0


@kernel
def take_in(filters, i, time, points, row, columns, watch):
    """Let filter i take in a fresh sample: a row of points (n, m) at a time [s]."""
    m = columns.shape[0]
    if filters[i, STARTED] > 0.0:
        dt = time - filters[i, LAST]
        if abs(dt - filters[i, STEP]) > SAME_STEP_S:
            set_step(filters, i, dt, watch)
        if filters[i, KEEPS] == 0.0:
            renew_gain(filters, i, dt)
        g0, g1 = filters[i, GAIN], filters[i, GAIN + 1]
        g2, g3 = filters[i, GAIN + 2], filters[i, GAIN + 3]
        if filters[i, WEIGHS] > 0.0:
            # Variance of the miss over that of the noise.
            filters[i, SCALE] = 1.0 / max(1.0 - g0 - g2, 1e-9)
            filters[i, KEPT] = exp(-dt / MEMORY_S)
            filters[i, LOGGED] = log(filters[i, SCALE])
            filters[i, WEIGHS] = 0.0
        kept, scale = filters[i, KEPT], filters[i, SCALE]
        errors, spread = kept * filters[i, ERRORS], kept * filters[i, SPREAD]
        weight = kept * filters[i, WEIGHT]
        weight += 1.0 - kept
        spread += (1.0 - kept) * filters[i, LOGGED]
        f01, f11 = filters[i, F + 1], filters[i, F + 5]
        f22, f23 = filters[i, F + 10], filters[i, F + 11]
        f32, f33 = filters[i, F + 14], filters[i, F + 15]
        for c in range(m):
            at = STATE + 4 * c
            p, v = filters[i, at], filters[i, at + 1]
            bounce, swing = filters[i, at + 2], filters[i, at + 3]
            a = p + f01 * v
            b = f11 * v
            o = f22 * bounce + f23 * swing
            d = f32 * bounce + f33 * swing
            miss = points[row, columns[c]] - a - o
            filters[i, at] = a + g0 * miss
            filters[i, at + 1] = b + g1 * miss
            filters[i, at + 2] = o + g2 * miss
            filters[i, at + 3] = d + g3 * miss
            errors += (1.0 - kept) * (miss * miss + LEAST_MISS_M**2) / scale
        filters[i, ERRORS], filters[i, SPREAD] = errors, spread
        filters[i, WEIGHT] = weight
        if watch.stands:
            stand(filters, i, time, points, row, columns)
        else:
            against = log(errors / weight) + spread / weight
            against *= SURE / 2 * weight
            filters[i, AGAINST] = against
    filters[i, STARTED] = 1.0
    filters[i, LAST] = time


@kernel
def stand(filters, i, time, points, row, columns):
    """Let one who has stopped dead be seen to stand; see `Watch`."""
    moved = quick = False
    for c in range(columns.shape[0]):
        off = points[row, columns[c]] - filters[i, ANCHOR + c]
        moved = moved or abs(off) > STAND_M
        quick = quick or abs(filters[i, STATE + 4 * c + 1]) > STAND_M_S
    if moved:
        filters[i, SINCE] = time
        for c in range(columns.shape[0]):
            filters[i, ANCHOR + c] = points[row, columns[c]]
    elif quick and time - filters[i, SINCE] >= STAND_S - CLOCK_S:
        for c in range(columns.shape[0]):
            at = STATE + 4 * c
            filters[i, at] = points[row, columns[c]]
            filters[i, at + 1] = filters[i, at + 2] = filters[i, at + 3] = 0.0


@kernel
def believed(filters, i, now, watch, columns, place, velocity, told):
    """Fill what filter i believes at a time [s], and what it is weighed by.

    Args:
        filters: a row each, (n, FILTER_WIDTH).
        i: the filter.
        now: the time [s].
        watch: of the filter.
        columns: of the points that it watches.
        place: filled in these columns, (6,) or so many as points have [m].
        velocity: likewise [m/s].
        told: filled, (TOLD,).
    """
    m = columns.shape[0]
    w = 2 * np.pi * watch.gait_hz
    last = STATE + 4 * (m - 1)
    told[0] = filters[i, AGAINST]
    told[1] = np.sqrt(filters[i, last + 2] ** 2 + (filters[i, last + 3] / w) ** 2)
    ahead = now - filters[i, LAST]
    reach, left = carried(ahead, watch.fade, watch.reaction + UNSEEN_S)
    if filters[i, STARTED] == 0.0:
        reach, left = ahead, 1.0
    for c in range(m):
        v = filters[i, STATE + 4 * c + 1]
        place[columns[c]] = filters[i, STATE + 4 * c] + reach * v
        velocity[columns[c]] = left * v


@kernel
def perceive_columns(samples, columns, ticks, watch, settled, place, velocity, told):
    """Fill what is believed at each tick about some of the columns of points.

    `told` (n_ticks, TOLD) is filled with what `blend_models` weighs a model by.

    They share the gains, which depend on times and noise only: `settle` gives those of
    the step between the first two fresh samples.
    """
    times, seen_s, points, fresh = samples
    own = np.empty((1, FILTER_WIDTH))
    seen = start_filter(own, ZERO, samples, columns, watch, settled)
    for k in range(ticks.shape[0]):
        now = ticks[k]
        while seen < times.shape[0] and seen_s[seen] <= now + CLOCK_S:
            if fresh[seen]:
                take_in(own, ZERO, times[seen], points, seen, columns, watch)
            seen += 1
        believed(own, ZERO, now, watch, columns, place[k], velocity[k], told[k])


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
