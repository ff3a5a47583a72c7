"""Where a subject was, as acted: its samples read at any time, between them linearly.

This reads ahead: it is for measures and rehearsed focus, never for the crew.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from ..arrays import BEFORE, BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..elementary.arctangent import atan2
from ..elementary.length import hypot
from .subject import Subject


class ActedSamples(NamedTuple):
    """The samples that show a subject: times (n,) [s], floor and eyes (n, 3) [m]."""

    times_s: FloatArray
    floor: FloatArray
    eyes: FloatArray


def acted(subject: Subject) -> ActedSamples:
    """Return the samples of a subject between which it is read; see `Subject.at`."""
    return ActedSamples(*subject.shown)


def of_each(subject: IntArray) -> Iterator[tuple[int, BoolArray]]:
    """Yield every subject index in (n,), and the samples (n,) that have it."""
    for k in range(int(subject.max(initial=-1)) + 1):
        mine = subject == k
        if mine.any():
            yield k, mine


def data_step_s(subject: Subject) -> float:
    """Return the median time between a subject's samples [s]."""
    steps = np.sort(np.diff(subject.times_s))
    middle = len(steps) // 2
    if len(steps) % 2:
        return float(steps[middle])
    return float((steps[middle - 1] + steps[middle]) / 2) if middle else 0.0


def hidden_at(
    subjects: Sequence[Subject], times: FloatArray, primary: IntArray
) -> BoolArray:
    """Return the samples at which the data hide the primary subject, (n,).

    A sample shows the subject when the nearest data at or before it does, and is no
    older than two data steps.
    """
    out = np.zeros(len(times), dtype=np.bool_)
    for k, mine in of_each(primary):
        one = subjects[k]
        step = data_step_s(one)
        hidden_samples(one.times_s, one.visible, step, times, mine, out)
    return out


@kernel
def sample_before(times, start, now):
    """Return the last sample at or before `now`, searched from `start` on, or -1."""
    k = start
    while k + 1 < times.shape[0] and times[k + 1] <= now:
        k += 1
    return k


@kernel
def hidden_now(times, visible, step, last, now):
    """Tell whether the last sample is unseen, or older than two steps of the data."""
    return last < 0 or not visible[last] or now - times[max(last, 0)] > 2 * step


@kernel
def hidden_samples(times, visible, step, at, mine, out):
    """Fill `out` (n,) with `hidden_now` at ascending `at`, where `mine` (n,)."""
    last = BEFORE
    for i in range(at.shape[0]):
        if mine[i]:
            last = sample_before(times, last, at[i] + 1e-9)
            out[i] = hidden_now(times, visible, step, last, at[i])


@kernel
def acted_point(who, before, now, fraction):
    """Return x, y, z of the point at `fraction` of floor to eyes.

    `before` is the last sample at or before `now`, -1 where there is none. The
    arithmetic is that of numpy's `interp`, to the bit.
    """
    a = max(before, 0)
    x = who.floor[a, 0] + (who.eyes[a, 0] - who.floor[a, 0]) * fraction
    y = who.floor[a, 1] + (who.eyes[a, 1] - who.floor[a, 1]) * fraction
    z = who.floor[a, 2] + (who.eyes[a, 2] - who.floor[a, 2]) * fraction
    if before < 0 or before + 1 >= who.times_s.shape[0]:
        return x, y, z
    b = before + 1
    span = who.times_s[b] - who.times_s[a]
    on = now - who.times_s[a]
    to_x = who.floor[b, 0] + (who.eyes[b, 0] - who.floor[b, 0]) * fraction
    to_y = who.floor[b, 1] + (who.eyes[b, 1] - who.floor[b, 1]) * fraction
    to_z = who.floor[b, 2] + (who.eyes[b, 2] - who.floor[b, 2]) * fraction
    return (
        (to_x - x) / span * on + x,
        (to_y - y) / span * on + y,
        (to_z - z) / span * on + z,
    )


@kernel
def acted_sight(who, at, mine, base, bearing, rise):
    """Fill bearing and elevation of a subject's eyes and the lens, where it is primary.

    Args:
        who: the subject's `ActedSamples`.
        at: ascending, (n,) [s].
        mine: samples of which it is the subject, (n,).
        base: lens, (n, 3) [m].
        bearing: of the eyes from the lens about the up axis, filled, (n,) [rad].
        rise: of the lens over the eyes, filled, (n,) [rad].
    """
    before = BEFORE
    for i in range(at.shape[0]):
        if not mine[i]:
            continue
        before = sample_before(who.times_s, before, at[i])
        x, y, z = acted_point(who, before, at[i], 1.0)
        dx, dy, dz = base[i, 0] - x, base[i, 1] - y, base[i, 2] - z
        bearing[i] = atan2(dx, dz)
        rise[i] = atan2(dy, hypot(dx, dz))


@kernel
def acted_gap(who, at, base, first, last):
    """Return the least distance of floor, middle and eyes from the lens [m].

    Over samples `first` up to `last` of `at` (n,) [s] and `base` (n, 3) [m].
    """
    before = BEFORE
    least = np.inf
    for i in range(first, last):
        before = sample_before(who.times_s, before, at[i])
        for fraction in (0.0, 0.5, 1.0):
            x, y, z = acted_point(who, before, at[i], fraction)
            dx, dy, dz = x - base[i, 0], y - base[i, 1], z - base[i, 2]
            least = min(least, dx * dx + dy * dy + dz * dz)
    return np.sqrt(least)
