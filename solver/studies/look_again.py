"""Where a trial looks, fitted again: by weights that fall with the miss.

A trial parts from the take for a while when a decision falls at another time. So the
look is that of the time in which they agree (a Cauchy loss, by reweighted squares).
"""

import numpy as np

from ..compiled.kernel import kernel

ROUNDS = 3
SINGULAR = 1e-14  # of a diagonal's own size: what rounding may leave of it


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
        solve_normal(normal, right)
        values = right
    for c in range(2):
        for i in range(n):
            for j in range(k):
                curves[c, i] += values[j] * changes[j, c, i]


@kernel
def solve_normal(normal, right):
    """Solve normal equations in place, by the factors of Cholesky.

    No library's solver: its bits differ between processors.

    Args:
        normal: symmetric, positive definite, (k, k); overwritten.
        right: the right side, (k,); overwritten by the solution.
    """
    k = right.shape[0]
    for j in range(k):
        least = SINGULAR * normal[j, j]
        for h in range(j + 1):
            total = normal[j, h]
            for i in range(h):
                total -= normal[j, i] * normal[h, i]
            if h == j:
                normal[j, j] = np.sqrt(max(total, least))
            else:
                normal[j, h] = total / normal[h, h]
        for i in range(j):
            right[j] -= normal[j, i] * right[i]
        right[j] /= normal[j, j]
    for j in range(k - 1, -1, -1):
        for i in range(j + 1, k):
            right[j] -= normal[i, j] * right[i]
        right[j] /= normal[j, j]
