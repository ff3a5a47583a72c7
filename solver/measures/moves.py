"""How a camera follows: ripple, overshoot after a stop, and how late it answers.

All of it compares the camera with the primary subject's motion on the ground, both ways
in time. Bearings are of the subject from the lens without shake, so that a dolly that
keeps beside a walker leaves nothing for the pan to do.
"""

from math import sqrt
from typing import NamedTuple

import numpy as np

from ..action.steady import moves_evenly, over_stride
from ..arrays import BoolArray, FloatArray
from ..elementary.arrays import arctangents, lengths

LEAST_TURN_RAD_S = float(np.radians(1.0))  # of a bearing; below, a ratio means nothing
UNDER_WAY_M_S = 0.8  # a subject that stops was as fast as this
STANDS_M_S = 0.25  # and is no faster than this afterwards
STANDS_S = 1.0  # for so long, at least
STOPS_WITHIN_S = 1.0
CHANGE_M_S = 0.7  # of velocity, that the camera is expected to answer
CHANGE_S = 0.3  # on both sides, over which it happens
BEFORE_S = 0.5  # for which the motion was even before
EVEN_BEFORE_M_S = 0.35
ANSWER_S = 2.0  # in which it is looked for
ANSWERED = 0.25  # share of a change that counts as the change being there
LEAST_ANSWER_RAD_S = float(np.radians(3.0))  # of a bearing rate that is answered
SHORT_S = 0.1  # on both sides, over which a place is a mean where onsets are looked for


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
    times = camera.times_s
    if len(times) < 3 or last - first < 3:
        return Followed(None, None, None, None, None, None, None)
    place, velocity, even = moves_evenly(times, floor)
    bearing, rise = _sight(camera.base, place)
    even[:first] = even[last:] = False
    pan = _ripple(camera.pan[:, 1], np.gradient(bearing, times), even)
    tilt = _ripple(camera.tilt[:, 1], np.gradient(rise, times), even)
    stops = stops_of(times, lengths(*velocity.T), first, last)
    away = camera.pan[:, 0] - bearing
    return Followed(
        pan_ripple_rad_s=pan[0],
        tilt_ripple_rad_s=tilt[0],
        pan_ripple=pan[1],
        tilt_ripple=tilt[1],
        pan_overshoot_rad=_overshoot(times, away, camera.pan[:, 1], stops),
        dolly_overshoot_m=_overshoot(times, camera.rail[:, 0], camera.rail[:, 1], stops)
        if np.ptp(camera.rail[first:last, 0]) > 0.0
        else None,
        onset_lag_s=_onset_lag(camera, floor, first, last),
    )


def _sight(base: FloatArray, place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return bearing, unwrapped, and elevation of a place from the lens, (n,) [rad]."""
    dx, dy, dz = (place - base).T
    bearing = np.unwrap(arctangents(-dx, -dz))
    return bearing, arctangents(dy, lengths(dx, dz))


def _ripple(
    rate: FloatArray, asked: FloatArray, even: BoolArray
) -> tuple[float | None, float | None]:
    """Return the r.m.s. miss of a rate where it is even, and that over the mean."""
    if not even.any():
        return None, None
    miss = sqrt(float(np.mean((rate[even] - asked[even]) ** 2)))
    mean = float(np.mean(np.abs(asked[even])))
    return miss, miss / mean if mean >= LEAST_TURN_RAD_S else None


def stops_of(
    times: FloatArray, speed: FloatArray, first: int, last: int
) -> list[tuple[int, int]]:
    """Return where a subject comes to stand: first sample of standing, one past it.

    Args:
        times: ascending, (n,) [s].
        speed: over a stride, (n,) [m/s].
        first: sample of the cut's start.
        last: one beyond its end.
    """
    stands = speed <= STANDS_M_S
    edges = np.flatnonzero(np.diff(np.concatenate(([False], stands, [False]))))
    found = []
    for start, end in edges.reshape(-1, 2).tolist():
        start, end = max(start, first), min(end, last)
        if end <= start or times[end - 1] - times[start] < STANDS_S:
            continue
        before = (times < times[start]) & (times >= times[start] - STOPS_WITHIN_S)
        if before.any() and speed[before].max() >= UNDER_WAY_M_S:
            found.append((start, end))
    return found


def _overshoot(
    times: FloatArray,
    value: FloatArray,
    rate: FloatArray,
    stops: list[tuple[int, int]],
) -> float | None:
    """Return how far a value goes past its last one after stops, the way it moved."""
    found = []
    for start, end in stops:
        from_here = int(np.searchsorted(times, times[start] - STOPS_WITHIN_S))
        way = np.sign(rate[from_here : start + 1].mean())
        past = way * (value[start:end] - value[end - 1])
        found.append(max(0.0, float(past.max())))
    return max(found) if found else None


def changes_of(
    times: FloatArray, velocity: FloatArray, first: int, last: int
) -> list[int]:
    """Return the samples at which an even motion changes, in order.

    Args:
        times: evenly spaced, (n,) [s].
        velocity: on the ground, (n, 2) [m/s].
        first: sample of the cut's start.
        last: one beyond its end.
    """
    n = len(times)
    step = (times[-1] - times[0]) / (n - 1)
    around, back = max(1, round(CHANGE_S / step)), max(1, round(BEFORE_S / step))
    change = np.zeros(n)
    if n > 2 * around:
        after, before = velocity[2 * around :], velocity[: n - 2 * around]
        change[around : n - around] = lengths(*(after - before).T)
    found: list[int] = []
    for k in np.argsort(-change, kind="stable").tolist():
        if change[k] < CHANGE_M_S:
            break
        if not max(first, around + back) <= k < last - around:
            continue
        if any(abs(k - other) <= 2 * around + back for other in found):
            continue
        earlier = velocity[k - around - back : k - around + 1]
        if lengths(*(earlier - earlier[-1]).T).max() <= EVEN_BEFORE_M_S:
            found.append(k)
    return sorted(found)


def _onset_lag(
    camera: Camera, floor: FloatArray, first: int, last: int
) -> float | None:
    """Return the median time from a change of motion to the pan's answer [s].

    Both are counted from where the bearing would have gone had the subject gone on: a
    quarter of the way by which its velocity, and the rate of the pan, then differ.
    """
    times = camera.times_s
    place = over_stride(times, floor, SHORT_S)
    velocity = np.gradient(place[:, [0, 2]], times, axis=0)
    bearing, _ = _sight(camera.base, place)
    rate = np.gradient(bearing, times)
    step = (times[-1] - times[0]) / (len(times) - 1)
    around, reach = max(1, round(CHANGE_S / step)), round(ANSWER_S / step)
    lags = []
    for k in changes_of(times, velocity, first, last):
        start, end = k - around, min(last, k + reach)
        on = velocity[start]
        off = lengths(*(velocity[start:end] - on).T)
        begun = start + int(np.argmax(off >= ANSWERED * off[2 * around]))
        went = place[start:end].copy()
        went[:, [0, 2]] = (
            place[start, [0, 2]] + on * (times[start:end] - times[start])[:, None]
        )
        expected, _ = _sight(camera.base[start:end], went)
        straight_on = np.gradient(expected, times[start:end])
        asked = rate[start:end] - straight_on
        wanted = float(asked[2 * around])
        if abs(wanted) < LEAST_ANSWER_RAD_S:
            continue
        answer = camera.pan[start:end, 1] - straight_on
        answer = np.sign(wanted) * (answer - answer[begun - start])
        late = np.flatnonzero(answer[begun - start :] >= ANSWERED * abs(wanted))
        if len(late):
            lags.append(float(times[begun + late[0]] - times[begun]))
    return float(np.median(lags)) if lags else None
