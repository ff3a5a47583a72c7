"""Where a trial looks, fitted again: by weights that fall with the miss.

A trial parts from the take for a while when a decision falls at another time. So the
look is that of the time in which they agree (a Cauchy loss, by reweighted squares).
"""

import numpy as np

from ..compiled.kernel import kernel

ROUNDS = 3


@kernel
def look_again(wanted, changes, scale, sigma, known, curves):
    """Add to a trial's curves what a change of its look explains, in place.

    Args:
        wanted: the take, (2, n) [rad].
        changes: of the angles with the numbers of a look, (k, 2, n).
        scale: half angles of view, (2,) [rad].
        sigma: half frames below which curves agree, (2,).
        known: what is known of each number beforehand, over its variance, (k,).
        curves: of the trial, (2, n) [rad], changed.
    """
    k, n = changes.shape[0], wanted.shape[1]
    off = np.empty((2, n))
    for c in range(2):
        for i in range(n):
            off[c, i] = wanted[c, i] - curves[c, i]
    # Whole turns are not a miss: a take does not record them.
    turns = 2 * np.pi * np.round(np.median(off[0]) / (2 * np.pi))
    for i in range(n):
        off[0, i] -= turns
    values = np.zeros(k)
    left = np.empty(2 * n)
    for _turn in range(ROUNDS):
        for c in range(2):
            for i in range(n):
                miss = off[c, i]
                for j in range(k):
                    miss -= values[j] * changes[j, c, i]
                left[c * n + i] = (miss / scale[c]) ** 2
        typical = max(np.median(left), sigma[0] ** 2, sigma[1] ** 2)
        normal = np.zeros((k, k))
        right = np.zeros(k)
        for j in range(k):
            normal[j, j] = known[j] + 1e-9
        for c in range(2):
            for i in range(n):
                weight = 1.0 / ((typical + left[c * n + i]) * scale[c] * scale[c])
                for j in range(k):
                    one = weight * changes[j, c, i]
                    right[j] += one * off[c, i]
                    for h in range(k):
                        normal[j, h] += one * changes[h, c, i]
        values = np.linalg.solve(normal, right)
    for c in range(2):
        for i in range(n):
            for j in range(k):
                curves[c, i] += values[j] * changes[j, c, i]
