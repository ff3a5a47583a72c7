"""How late a pan answers a change of the subject's motion.

Both are counted from where the bearing would have gone had the subject gone on: a
quarter of the way by which its velocity, and the rate of the pan, then differ.
"""

import numpy as np

from ..action.steady import (
    change_of,
    ground_rates,
    rates_of,
    step_of,
    stride_means,
)
from ..compiled.kernel import kernel
from .bearing import sight

CHANGE_M_S = 0.7  # of velocity, that the camera is expected to answer
CHANGE_S = 0.3  # on both sides, over which it happens
BEFORE_S = 0.5  # for which the motion was even before
EVEN_BEFORE_M_S = 0.35
ANSWER_S = 2.0  # in which it is looked for
ANSWERED = 0.25  # share of a change that counts as the change being there
LEAST_ANSWER_RAD_S = float(np.radians(3.0))  # of a bearing rate that is answered
SHORT_S = 0.1  # on both sides, over which a place is a mean where onsets are looked for


@kernel
def answers(times, base, pan, floor, first, last, lags):
    """Fill times from changes of motion to the pan's answers [s]; return their number.

    Args:
        times: evenly spaced, (n,) [s].
        base: lens, (n, 3) [m].
        pan: with its rate, (n, 3) [rad].
        floor: where the subject stands, (n, 3) [m].
        first: sample of the cut's start.
        last: one beyond its end.
        lags: (n,); as many as there are are filled.
    """
    n = times.shape[0]
    place, velocity = np.empty((n, 3)), np.empty((n, 2))
    stride_means(times, floor, SHORT_S, place)
    ground_rates(times, place, velocity)
    bearing, rise, rate = np.empty(n), np.empty(n), np.empty(n)
    sight(base, place, bearing, rise)
    rates_of(times, bearing, rate)
    step = step_of(times)
    around = max(1, int(np.rint(CHANGE_S / step)))
    reach = int(np.rint(ANSWER_S / step))
    changes = np.empty(n, np.int64)
    count = 0
    for j in range(changes_of(times, velocity, first, last, changes)):
        k = changes[j]
        end = min(last, k + reach)
        lag = answer(times[:end], base, pan, place, velocity, rate, k - around, around)
        if lag >= 0.0:
            lags[count] = lag
            count += 1
    return count


@kernel
def answer(times, base, pan, place, velocity, rate, start, around):
    """Return how late the pan answers one change [s], -1 where it does not.

    It need not where the bearing hardly changes its rate. The change happens over
    `around` samples on both sides of its middle, `start` is the first of them, and
    `times` end where no answer is looked for any more.
    """
    n = times.shape[0] - start
    went, expected = np.empty((n, 3)), np.empty(n)
    rise, straight_on = np.empty(n), np.empty(n)
    for i in range(n):
        on = times[start + i] - times[start]
        went[i, 0] = place[start, 0] + velocity[start, 0] * on
        went[i, 1] = place[start + i, 1]
        went[i, 2] = place[start, 2] + velocity[start, 1] * on
    sight(base[start:], went, expected, rise)
    rates_of(times[start:], expected, straight_on)
    wanted = rate[start + 2 * around] - straight_on[2 * around]
    if abs(wanted) < LEAST_ANSWER_RAD_S:
        return -1.0
    whole = change_of(velocity, start + 2 * around, start)
    begun = 0
    while change_of(velocity, start + begun, start) < ANSWERED * whole:
        begun += 1
    before = pan[start + begun, 1] - straight_on[begun]
    way = 1.0 if wanted > 0.0 else -1.0
    for i in range(begun, n):
        answered = pan[start + i, 1] - straight_on[i] - before
        if way * answered >= ANSWERED * abs(wanted):
            return times[start + i] - times[start + begun]
    return -1.0


@kernel
def changes_of(times, velocity, first, last, found):
    """Fill the samples at which an even motion changes, in order; return their number.

    The greatest change comes first, and those too near to one that is found do not
    count.

    Args:
        times: evenly spaced, (n,) [s].
        velocity: on the ground, (n, 2) [m/s].
        first: sample of the cut's start.
        last: one beyond its end.
        found: (n,); as many as there are are filled.
    """
    step = step_of(times)
    around = max(1, int(np.rint(CHANGE_S / step)))
    back = max(1, int(np.rint(BEFORE_S / step)))
    there = np.empty(times.shape[0], np.int64)  # changes that are left
    n_there = 0
    for k in range(max(first, around + back), last - around):
        large = change_of(velocity, k + around, k - around) >= CHANGE_M_S
        if large and was_even(velocity, k - around - back, k - around):
            there[n_there] = k
            n_there += 1
    count = 0
    while n_there > 0:
        most, at = -1.0, 0
        for j in range(n_there):
            change = change_of(velocity, there[j] + around, there[j] - around)
            if change > most:
                most, at = change, there[j]
        j = count
        while j > 0 and found[j - 1] > at:
            found[j] = found[j - 1]
            j -= 1
        found[j] = at
        count += 1
        left = 0
        for j in range(n_there):
            if abs(there[j] - at) > 2 * around + back:
                there[left] = there[j]
                left += 1
        n_there = left
    return count


@kernel
def was_even(velocity, start, end):
    """Tell whether velocities from `start` on differ little from that at `end`."""
    for k in range(start, end):
        if change_of(velocity, k, end) > EVEN_BEFORE_M_S:
            return False
    return True
