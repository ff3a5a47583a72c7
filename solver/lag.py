"""How late one signal follows another: the delay with the least squared difference."""

from .compiled import kernel


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
    n = times.shape[0]
    for j in range(lags.shape[0]):
        total = 0.0
        left = 0
        for i in range(first, n):
            t = times[i] - lags[j]
            while left + 2 < n and times[left + 1] <= t:
                left += 1
            share = (t - times[left]) / (times[left + 1] - times[left])
            value = leader[left] + share * (leader[left + 1] - leader[left])
            total += (follower[i] - value) ** 2
        errors[j] = total / max(1, n - first)
