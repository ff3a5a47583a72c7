"""Held keys: which samples are new measurements."""

from typing import NamedTuple

import numpy as np

from ...solver.arrays import BoolArray, FloatArray

HELD_M = 1e-6
STANDING_S = 0.13  # keys on threes at 24; longer on one spot is standing still,
MOST_HOLD_S = 0.5  # but for stepped blocking, whose keys are held up to so long:
EVEN_HOLDS = 1.25  # each is expected to last as long as the one before, or so


def new_samples(
    times_s: FloatArray, positions: FloatArray, visible: BoolArray
) -> BoolArray:
    """Return which samples are new: seen, and no repeat of a held key.

    Animation on twos or threes, and stepped blocking, repeat each position; the repeats
    are not measurements. Once a run of one position has lasted longer than `STANDING_S`
    it is a subject that stands still, and its later samples are new; unless the run
    before lasted longer too, up to `MOST_HOLD_S`: then it is a key that is held as long
    as that one. Whether a sample is new depends on it and on earlier ones, never on
    what follows.

    Args:
        times_s: ascending, (n,) [s].
        positions: everything that moves, (n, k) [m].
        visible: (n,).

    Returns:
        (n,), false wherever `visible` is.
    """
    repeat = repeats(positions, visible)
    if not repeat.any():
        return visible.copy()
    run = np.cumsum(~repeat) - 1
    starts = np.flatnonzero(~repeat)
    ends = np.append(starts[1:], len(times_s)) - 1
    held_s = times_s[ends] - times_s[starts]
    before = np.concatenate([[0.0], held_s[:-1]])
    before[before > MOST_HOLD_S] = 0.0
    expected = np.maximum(STANDING_S, EVEN_HOLDS * before)
    standing = times_s - times_s[starts[run]] > expected[run] + 1e-9
    new: BoolArray = visible & (~repeat | standing)
    return new


def repeats(positions: FloatArray, visible: BoolArray) -> BoolArray:
    """Return which seen samples repeat the position of the one before, seen too."""
    still = np.all(np.abs(np.diff(positions, axis=0)) <= HELD_M, axis=1)
    return np.concatenate([[False], still & visible[1:] & visible[:-1]])


def left_s(
    times_s: FloatArray, positions: FloatArray, visible: BoolArray
) -> FloatArray:
    """Return when each position was left at the earliest, (n,) [s].

    A key that is held up to `MOST_HOLD_S` may stand for any time while it is held; who
    stands longer leaves when last seen there.
    """
    starts = np.flatnonzero(~repeats(positions, visible))
    run = np.searchsorted(starts, np.arange(len(times_s)), "right") - 1
    since = times_s[starts[run]]
    return np.where(times_s - since <= MOST_HOLD_S, since, times_s)


class LastSample(NamedTuple):
    """The last sample of a subject, to tell by whether the next one is new.

    Attributes:
        time_s: of the sample [s].
        visible: whether it was seen.
        start_s: when the run of its position began [s].
        before_s: how long the key before was held, 0 where that was standing still [s].
        place: all that moves [m].
    """

    time_s: float
    visible: bool
    start_s: float
    before_s: float
    place: tuple[float, ...]


NO_SAMPLE = LastSample(-np.inf, False, -np.inf, 0.0, ())


def next_sample(
    last: LastSample, time_s: float, place: tuple[float, ...], *, visible: bool
) -> tuple[LastSample, bool]:
    """Return the next sample, and whether it is new: `new_samples`, one at a time.

    Args:
        last: the one before; `NO_SAMPLE` for none.
        time_s: later than that [s].
        place: all that moves [m], as many numbers in every sample.
        visible: whether it is seen.
    """
    if not (visible and last.visible) or _moved(place, last.place):
        held_s = last.time_s - last.start_s
        before_s = held_s if 0.0 <= held_s <= MOST_HOLD_S else 0.0
        return LastSample(time_s, visible, time_s, before_s, place), visible
    expected_s = max(STANDING_S, EVEN_HOLDS * last.before_s)
    now = LastSample(time_s, True, last.start_s, last.before_s, place)
    return now, time_s - last.start_s > expected_s + 1e-9


def _moved(place: tuple[float, ...], before: tuple[float, ...]) -> bool:
    for one, other in zip(place, before, strict=True):
        if abs(one - other) > HELD_M:
            return True
    return False
