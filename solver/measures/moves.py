"""How a camera follows: ripple, overshoot after a stop, and how late it answers.

All of it compares the camera with the primary subject's motion on the ground, both ways
in time. Bearings are of the subject from the lens without shake, so that a dolly that
keeps beside a walker leaves nothing for the pan to do.
"""

from math import isnan, nan
from statistics import median
from typing import NamedTuple

import numpy as np

from ..action.steady import even_moves, rates_of
from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.length import hypot
from .answer import answers
from .bearing import LEAST_TURN_RAD_S, sight

UNDER_WAY_M_S = 0.8  # a subject that stops was as fast as this
STANDS_M_S = 0.25  # and is no faster than this afterwards
STANDS_S = 1.0  # for so long, at least
STOPS_WITHIN_S = 1.0

(
    PAN_RIPPLE_RAD_S,
    TILT_RIPPLE_RAD_S,
    PAN_RIPPLE,
    TILT_RIPPLE,
    PAN_OVERSHOOT,
    DOLLY_OVERSHOOT,
    ONSET_LAG_S,
) = range(7)
N_NUMBERS = 7  # fields of `Followed`, in order


class Followed(NamedTuple):
    """How the camera follows; None where nothing of the kind happened.

    Attributes:
        pan_ripple_rad_s: r.m.s. of pan rate less bearing rate while the subject moves
            evenly; likewise tilt_ripple_rad_s against the rate of its elevation.
        pan_ripple: the same over the mean bearing rate then; likewise tilt_ripple.
        pan_overshoot_rad: how far the pan went past where it came to rest after the
            subject stopped, counted from the subject; the most of all stops.
        dolly_overshoot_m: likewise of the dolly.
        onset_lag_s: time from a change of the subject's motion to the camera's answer,
            the median over changes.
    """

    pan_ripple_rad_s: float | None
    tilt_ripple_rad_s: float | None
    pan_ripple: float | None
    tilt_ripple: float | None
    pan_overshoot_rad: float | None
    dolly_overshoot_m: float | None
    onset_lag_s: float | None


class Camera(NamedTuple):
    """A camera at n evenly spaced samples: lens (n, 3) [m], channels with rates."""

    times_s: FloatArray
    base: FloatArray
    pan: FloatArray
    tilt: FloatArray
    rail: FloatArray


def followed(camera: Camera, floor: FloatArray, first: int, last: int) -> Followed:
    """Return how a camera follows one subject.

    Args:
        camera: at all samples.
        floor: where the subject stands at them, (n, 3) [m].
        first: sample of the cut's start; what is judged lies in the cut.
        last: one beyond its end.
    """
    n = len(camera.times_s)
    if n < 3 or last - first < 3:
        return Followed(None, None, None, None, None, None, None)
    numbers, lags = np.empty(N_NUMBERS), np.empty(n)
    count = follow(camera, floor, first, last, numbers, lags)
    numbers[ONSET_LAG_S] = median(lags[:count].tolist()) if count else nan
    return Followed(*(None if isnan(one) else one for one in numbers.tolist()))


@kernel
def follow(camera, floor, first, last, numbers, lags):
    """Fill all numbers but the lag, NaN for none, and lags [s]; return their number."""
    times = camera.times_s
    n = times.shape[0]
    place, velocity = np.empty((n, 3)), np.empty((n, 2))
    even = np.empty(n, np.bool_)
    even_moves(times, floor, place, velocity, even)
    bearing, rise, asked = np.empty(n), np.empty(n), np.empty(n)
    sight(camera.base, place, bearing, rise)
    rates_of(times, bearing, asked)
    miss, share = ripple(camera.pan, asked, even, first, last)
    numbers[PAN_RIPPLE_RAD_S], numbers[PAN_RIPPLE] = miss, share
    rates_of(times, rise, asked)
    miss, share = ripple(camera.tilt, asked, even, first, last)
    numbers[TILT_RIPPLE_RAD_S], numbers[TILT_RIPPLE] = miss, share
    overshoots(camera, bearing, velocity, first, last, numbers)
    return answers(times, camera.base, camera.pan, floor, first, last, lags)


@kernel
def ripple(channel, asked, even, first, last):
    """Return the r.m.s. miss of a channel's rate, and that over the mean asked.

    Both are over the samples at which the subject moves evenly; NaN without any.
    """
    count = 0
    square = total = 0.0
    for k in range(first, last):
        if even[k]:
            count += 1
            square += (channel[k, 1] - asked[k]) * (channel[k, 1] - asked[k])
            total += abs(asked[k])
    if count == 0:
        return np.nan, np.nan
    miss, mean = np.sqrt(square / count), total / count
    return miss, miss / mean if mean >= LEAST_TURN_RAD_S else np.nan


@kernel
def overshoots(camera, bearing, velocity, first, last, numbers):
    """Fill how far pan and dolly go past their last values after stops.

    A stop is where a subject that was under way comes to stand, and stands a while.
    """
    times, rail = camera.times_s, camera.rail
    pan = dolly = -1.0  # no stop yet
    low, high = np.inf, -np.inf
    for k in range(first, last):
        low, high = min(low, rail[k, 0]), max(high, rail[k, 0])
    n = times.shape[0]
    away, along = np.empty(n), np.empty(n)
    for k in range(n):
        away[k], along[k] = camera.pan[k, 0] - bearing[k], rail[k, 0]
    begun = -1
    for k in range(n + 1):
        if k < n and hypot(velocity[k, 0], velocity[k, 1]) <= STANDS_M_S:
            begun = k if begun < 0 else begun
            continue
        start, end = max(begun, first), min(k, last) if begun >= 0 else first
        begun = -1
        if end <= start or times[end - 1] - times[start] < STANDS_S:
            continue
        since, fastest = start, 0.0
        while since > 0 and times[since - 1] >= times[start] - STOPS_WITHIN_S:
            since -= 1
            fastest = max(fastest, hypot(velocity[since, 0], velocity[since, 1]))
        if fastest < UNDER_WAY_M_S:
            continue
        pan = max(pan, went_past(away, camera.pan, since, start, end))
        dolly = max(dolly, went_past(along, rail, since, start, end))
    numbers[PAN_OVERSHOOT] = pan if pan >= 0.0 else np.nan
    numbers[DOLLY_OVERSHOOT] = dolly if dolly >= 0.0 and high > low else np.nan


@kernel
def went_past(values, channel, since, start, end):
    """Return how far values go past the last one, the way the channel moved before."""
    moved = 0.0
    for k in range(since, start + 1):
        moved += channel[k, 1]
    most = 0.0
    for k in range(start, end):
        past = values[k] - values[end - 1]
        if moved > 0.0:
            most = max(most, past)
        elif moved < 0.0:
            most = max(most, -past)
    return most
