"""How late one signal follows another: the delay with the least squared difference."""

import numpy as np

from ..compiled.kernel import kernel

COARSE = 10  # every so many lags a first look


@kernel
def delay_errors(times, leader, follower, first, lags, errors):
    """Fill the mean squared miss of `follower` from `leader` delayed by each lag.

    Args:
        times: ascending, (n,) [s].
        leader: signal at `times`, read linearly between them, (n,).
        follower: signal at `times`, (n,).
        first: index of the first sample that is compared.
        lags: delays [s], ascending, none beyond times[first] - times[0], (k,).
        errors: filled, (k,).
    """
    for j in range(lags.shape[0]):
        errors[j] = _error(times, leader, follower, first, lags[j], np.inf)


@kernel
def least_delay(times, leader, follower, first, lags):
    """Return the lag with the least error of `delay_errors`, the first of equals.

    A lag is given up as soon as its sum is larger than another's whole.
    """
    least = np.inf
    for j in range(0, lags.shape[0], COARSE):
        least = min(least, _error(times, leader, follower, first, lags[j], least))
    best = 0
    found = np.inf
    for j in range(lags.shape[0]):
        error = _error(times, leader, follower, first, lags[j], min(least, found))
        if error < found:
            found, best = error, j
    return lags[best]


@kernel
def _error(times, leader, follower, first, lag, least):
    """Return the mean squared miss at one lag, or inf where it exceeds `least`."""
    n = times.shape[0]
    count = max(1, n - first)
    most = least * count * (1.0 + 1e-9)
    total = 0.0
    left = 0
    for i in range(first, n):
        t = times[i] - lag
        while left + 2 < n and times[left + 1] <= t:
            left += 1
        share = (t - times[left]) / (times[left + 1] - times[left])
        value = leader[left] + share * (leader[left + 1] - leader[left])
        total += (follower[i] - value) ** 2
        if total > most:
            return np.inf
    return total / count
