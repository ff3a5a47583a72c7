"""How late one signal follows another: the delay with the least squared difference."""

from ..compiled.kernel import kernel


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
        errors[j] = _error(times, leader, follower, first, lags[j])


@kernel
def _error(times, leader, follower, first, lag):
    """Return the mean squared miss at one lag."""
    n = times.shape[0]
    count = max(1, n - first)
    total = 0.0
    left = 0
    for i in range(first, n):
        t = times[i] - lag
        while left + 2 < n and times[left + 1] <= t:
            left += 1
        share = (t - times[left]) / (times[left + 1] - times[left])
        value = leader[left] + share * (leader[left + 1] - leader[left])
        total += (follower[i] - value) ** 2
    return total / count
