"""A smooth curve through samples: a moving mean with the weights of a Gaussian."""

import numpy as np

from ..arrays import FloatArray
from ..elementary.exponential import exp

_WIDTHS = 4.0  # standard deviations on either side that count


def smoothed(values: FloatArray, width: float) -> FloatArray:
    """Return means of samples over their neighbours in time, ends held.

    Args:
        values: (n, k), n >= 1.
        width: standard deviation of the weights, in samples, > 0.
    """
    reach, n = int(_WIDTHS * width + 0.5), len(values)
    away = np.arange(-reach, reach + 1)
    weights = np.array([exp(-0.5 / (width * width) * k * k) for k in away])
    weights = weights / weights.sum()
    held = values[np.clip(np.arange(-reach, n + reach), 0, n - 1)]
    found: FloatArray = weights[reach] * held[reach : reach + n]
    for k in range(reach, 0, -1):
        before, after = held[reach - k :][:n], held[reach + k :][:n]
        found = found + (before + after) * weights[reach + k]
    return found
