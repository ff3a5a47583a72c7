"""The point nearest to the origin within two-sided bounds: a dual active-set method.

Minimises |y|^2 / 2 over low <= rows y <= high, rows (n_rows, SIZE) of unit length, from
y = 0 on: the row that is broken most joins those that are held on a bound, whichever
held row would be pulled by it is let go, until none is broken. "Most" is measured as
the distance to the bound across what the held rows leave free (steepest edge): on a
dolly's plans that takes a third of the steps of the largest violation.

Of the held normals n_i = sum_j R_ji q_j the orthonormal q and R^-1 are kept. A normal
that joins is orthogonalised twice where little of it is left, and rows after one that
goes are orthogonalised anew, so rounding does not build up over the steps.

All of it is done within one scratch array `work` (WORK_ROWS, at least n_rows) that the
caller makes once; the names below are its rows. Small vectors are spelt out in scalars:
that keeps them in registers, and dots of six terms short.

Source: Goldfarb & Idnani 1983, "A numerically stable dual method for solving strictly
convex quadratic programs"; steepest-edge pricing after Forrest & Goldfarb 1992. Tested
against another solver in tests/solver/crew/test_plan.py.
"""

import numpy as np

from ..arrays import ZERO
from ..compiled.kernel import kernel

SIZE = 6  # of y
# Of `work`: bounds, row values at y and by how much they break a bound; squared length
# of what is left of each row beside the held ones; of held rows the multiplier, what
# the joining normal takes of each, the bound and the side (row counted from one, minus:
# low); y; then the q and the columns of R^-1.
LOW, HIGH, VALUE, OVER, LEFT, MULTIPLIER, TAKEN, BOUND, HELD, POINT = range(10)
_Q = 10
_R = _Q + SIZE + 1  # one more than can be held: the normal that joins
WORK_ROWS = _R + SIZE + 1
DEPENDENT = 1e-13  # squared length of what is left of a unit normal
ANEW = 1e-2  # squared length below which it is orthogonalised once more
LEAST_LEFT = 1e-8
MAX_STEPS = 200
LARGE = 100.0  # |y|^2 from which on tolerances grow with |y|


@kernel
def least_distance(rows, columns, work):
    """Fill work[POINT] with the nearest point within work[LOW] and work[HIGH].

    Args:
        rows: unit rows, (n_rows, SIZE).
        columns: the same, transposed, with each row's tolerance below it, (SIZE + 1 or
            more, n_rows).
        work: scratch, (WORK_ROWS, at least n_rows), LOW and HIGH filled.

    Returns:
        Number of steps, or -1 when the rows contradict each other.
    """
    n_rows = rows.shape[0]
    for r in range(n_rows):
        work[VALUE, r] = 0.0
        work[LEFT, r] = 1.0
        work[OVER, r] = max(-work[HIGH, r], work[LOW, r]) - columns[SIZE, r]
    for k in range(SIZE):
        work[POINT, k] = 0.0
    size = ZERO
    steps = 0
    while steps < MAX_STEPS:
        side = _worst(n_rows, size, work)
        if side == 0:
            return steps
        taken, size, dropped = _join(rows, side, size, work)
        if taken < 0:
            return -1
        steps += taken
        if dropped:
            _move_anew(columns, n_rows, size, work)
        else:
            _move_on(columns, n_rows, size - 1, work)
    return -1


@kernel
def _worst(n_rows, size, work):
    """Return the side (row counted from one, minus: low) to hold next, 0: none."""
    best = 0.0
    share = 1.0
    side = 0
    for r in range(n_rows):
        over = work[OVER, r]
        if over > 0.0 and over * over * share > best * work[LEFT, r]:
            broken = r + 1 if work[VALUE, r] > work[HIGH, r] else -r - 1
            # A held row is on its bound; what is left of it is rounding.
            held = False
            for i in range(size):
                held = held or work[HELD, i] == broken
            if not held:
                best, share, side = over * over, work[LEFT, r], broken
    return side


@kernel
def _orthogonalise(rows, side, at, work):
    """Fill q and column `at` of R^-1, and TAKEN; return |rest|^2 of the unit normal."""
    row = abs(side) - 1
    sign = 1.0 if side > 0 else -1.0
    n0, n1, n2 = sign * rows[row, 0], sign * rows[row, 1], sign * rows[row, 2]
    n3, n4, n5 = sign * rows[row, 3], sign * rows[row, 4], sign * rows[row, 5]
    z0, z1, z2, z3, z4, z5 = n0, n1, n2, n3, n4, n5
    p0 = p1 = p2 = p3 = p4 = p5 = 0.0
    rest = 1.0
    for _ in range(2):
        for j in range(_Q, _Q + at):
            q0, q1, q2 = work[j, 0], work[j, 1], work[j, 2]
            q3, q4, q5 = work[j, 3], work[j, 4], work[j, 5]
            d = (q0 * n0 + q1 * n1) + (q2 * n2 + q3 * n3) + (q4 * n4 + q5 * n5)
            z0, z1, z2 = z0 - d * q0, z1 - d * q1, z2 - d * q2
            z3, z4, z5 = z3 - d * q3, z4 - d * q4, z5 - d * q5
            c = j + _R - _Q
            p0, p1, p2 = p0 + d * work[c, 0], p1 + d * work[c, 1], p2 + d * work[c, 2]
            p3, p4, p5 = p3 + d * work[c, 3], p4 + d * work[c, 4], p5 + d * work[c, 5]
        rest = (z0 * z0 + z1 * z1) + (z2 * z2 + z3 * z3) + (z4 * z4 + z5 * z5)
        if rest > ANEW:
            break
        n0, n1, n2, n3, n4, n5 = z0, z1, z2, z3, z4, z5
    work[TAKEN, 0], work[TAKEN, 1], work[TAKEN, 2] = p0, p1, p2
    work[TAKEN, 3], work[TAKEN, 4], work[TAKEN, 5] = p3, p4, p5
    root = 1.0 / np.sqrt(max(rest, 1e-300))
    q, c = _Q + at, _R + at
    work[q, 0], work[q, 1], work[q, 2] = z0 * root, z1 * root, z2 * root
    work[q, 3], work[q, 4], work[q, 5] = z3 * root, z4 * root, z5 * root
    work[c, 0], work[c, 1], work[c, 2] = -p0 * root, -p1 * root, -p2 * root
    work[c, 3], work[c, 4], work[c, 5] = -p3 * root, -p4 * root, -p5 * root
    work[c, at] = root
    return rest


@kernel
def _join(rows, side, size, work):
    """Hold one more row and let go of those that would pull.

    Returns the number of steps, -1 when the rows contradict each other; how many are
    held; and whether any was let go.
    """
    row = abs(side) - 1
    bound = work[HIGH, row] if side > 0 else -work[LOW, row]
    broken_by = (work[VALUE, row] if side > 0 else -work[VALUE, row]) - bound
    added = 0.0
    first = size
    dropped = False
    for steps in range(1, MAX_STEPS):
        rest = 1.0
        for i in range(first, size + 1):
            joins = side if i == size else int(work[HELD, i])
            rest = _orthogonalise(rows, joins, i, work)
        dependent = size == SIZE or rest <= DEPENDENT
        # The first held row whose multiplier the joining one takes to zero, as the
        # fraction `above / below`.
        drop = -1
        above, below = 1.0, 0.0
        for i in range(size):
            takes = work[TAKEN, i]
            if takes > 0.0 and work[MULTIPLIER, i] * below < above * takes:
                above, below, drop = work[MULTIPLIER, i], takes, i
        if dependent and drop < 0:
            return -1, size, dropped
        full = not dependent and broken_by * below <= above * rest
        step = broken_by / rest if full else above / below
        for i in range(size):
            work[MULTIPLIER, i] -= step * work[TAKEN, i]
        added += step
        if full:
            work[MULTIPLIER, size] = added
            work[HELD, size] = side
            work[BOUND, size] = bound
            return steps, size + 1, dropped
        if not dependent:
            broken_by -= step * rest
        dropped = True
        size -= 1
        first = drop
        for i in range(drop, size):
            work[HELD, i] = work[HELD, i + 1]
            work[BOUND, i] = work[BOUND, i + 1]
            work[MULTIPLIER, i] = work[MULTIPLIER, i + 1]
    return -1, size, dropped


@kernel
def _move_on(columns, n_rows, last, work):
    """Move y along the last q onto the bound of its row."""
    q = _Q + last
    q0, q1, q2 = work[q, 0], work[q, 1], work[q, 2]
    q3, q4, q5 = work[q, 3], work[q, 4], work[q, 5]
    c = 0.0
    for i in range(last + 1):
        c += work[_R + last, i] * work[BOUND, i]
    square = 0.0
    for k in range(SIZE):
        work[POINT, k] += c * work[q, k]
        square += work[POINT, k] * work[POINT, k]
    loose = _looser(square)
    for r in range(n_rows):
        along = (
            (columns[0, r] * q0 + columns[1, r] * q1)
            + (columns[2, r] * q2 + columns[3, r] * q3)
            + (columns[4, r] * q4 + columns[5, r] * q5)
        )
        value = work[VALUE, r] + c * along
        over = max(value - work[HIGH, r], work[LOW, r] - value)
        work[VALUE, r] = value
        work[OVER, r] = over - loose * columns[SIZE, r]
        work[LEFT, r] = max(work[LEFT, r] - along * along, LEAST_LEFT)


@kernel
def _move_anew(columns, n_rows, size, work):
    """Put y where all held rows are on their bounds; forget what is left of others."""
    y0 = y1 = y2 = y3 = y4 = y5 = 0.0
    for j in range(size):
        c = 0.0
        for i in range(j + 1):
            c += work[_R + j, i] * work[BOUND, i]
        q = _Q + j
        y0, y1, y2 = y0 + c * work[q, 0], y1 + c * work[q, 1], y2 + c * work[q, 2]
        y3, y4, y5 = y3 + c * work[q, 3], y4 + c * work[q, 4], y5 + c * work[q, 5]
    work[POINT, 0], work[POINT, 1], work[POINT, 2] = y0, y1, y2
    work[POINT, 3], work[POINT, 4], work[POINT, 5] = y3, y4, y5
    loose = _looser(y0 * y0 + y1 * y1 + y2 * y2 + y3 * y3 + y4 * y4 + y5 * y5)
    for r in range(n_rows):
        value = (
            (columns[0, r] * y0 + columns[1, r] * y1)
            + (columns[2, r] * y2 + columns[3, r] * y3)
            + (columns[4, r] * y4 + columns[5, r] * y5)
        )
        over = max(value - work[HIGH, r], work[LOW, r] - value)
        work[VALUE, r] = value
        work[OVER, r] = over - loose * columns[SIZE, r]
        work[LEFT, r] = 1.0


@kernel
def _looser(square):
    """Return the factor of the tolerances at |y|^2: rounding grows with y."""
    return np.sqrt(square / LARGE) if square > LARGE else 1.0
