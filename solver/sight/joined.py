"""Lines that go on in one another, joined: a wall in a hundred quads is one line."""

import numpy as np

from ..arrays import FloatArray, IntArray

_TURN = 1e4  # of a direction: steps that count as one
_OFF_M = 1e-4  # off a line, and between two ends, that counts as none


def joined(ends: FloatArray, alike: IntArray) -> tuple[FloatArray, IntArray]:
    """Return lines, those in one row joined, and a row that each was made of.

    Args:
        ends: (n, 2, 3) [m], of no length 0.
        alike: only lines of one number are joined, (n,).

    Returns:
        Ends, (m, 2, 3) [m], and rows, (m,).
    """
    if not len(ends):
        return ends, np.empty(0, np.int64)
    along = ends[:, 1] - ends[:, 0]
    along /= np.linalg.norm(along, axis=1)[:, None]
    # One of both ways along a line: the first of x, y, z that it moves in rises.
    steps = np.round(along * _TURN).astype(np.int64)
    lead = (steps != 0).argmax(axis=1)
    back = steps[np.arange(len(steps)), lead] < 0
    along[back], steps[back] = -along[back], -steps[back]
    ways = np.where(back[:, None, None], ends[:, ::-1], ends)
    at = np.einsum("nsc,nc->ns", ways, along)
    foot = ways[:, 0] - at[:, :1] * along
    off = np.round(foot / _OFF_M).astype(np.int64)
    order = np.lexsort((at[:, 0], *off.T, *steps.T, alike))
    keys = np.column_stack([alike, steps, off])[order]
    at, ways = at[order], ways[order]
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (keys[1:] != keys[:-1]).any(axis=1)
    new[1:] |= at[1:, 0] > at[:-1, 1] + _OFF_M
    first = np.flatnonzero(new)
    reach = np.maximum.reduceat(at[:, 1], first)
    group = np.cumsum(new) - 1
    last = np.full(len(first), -1)
    furthest = np.flatnonzero(at[:, 1] == reach[group])
    last[group[furthest]] = furthest
    return np.stack([ways[first, 0], ways[last, 1]], axis=1), order[first]
