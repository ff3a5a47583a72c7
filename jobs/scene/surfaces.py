"""Pieces of a surface that hang together: which bound a solid, and which are thin."""

import numpy as np

from ...solver.arrays import BoolArray, FloatArray, IntArray
from ...solver.sight.tree import CLOSED, THIN


def surface_flags(points: FloatArray, triangles: IntArray, thin_m: float) -> IntArray:
    """Return the flags of a part's triangles, (t,).

    A piece is `CLOSED` where each of its edges is met by two triangles that turn the
    same way, and `THIN` where it is no thicker than `thin_m` in two directions, as a
    wire or a hand rail is; a wall is thin in one only.

    Args:
        points: each there once, (n, 3) [m].
        triangles: (t, 3).
        thin_m: [m].
    """
    piece = _pieces(len(points), triangles)
    of_triangle = piece[triangles[:, 0]]
    flags = np.zeros(len(triangles), dtype=np.int64)
    flags[_closed(len(points), triangles, of_triangle)[of_triangle]] |= CLOSED
    if thin_m > 0:
        flags[_thin(points, piece, thin_m)[of_triangle]] |= THIN
    return flags


def _pieces(n: int, triangles: IntArray) -> IntArray:
    """Return the piece that each point belongs to, (n,), numbered from 0."""
    label = np.arange(n)
    while True:
        before = label.copy()
        least = label[triangles].min(axis=1)
        np.minimum.at(label, triangles.ravel(), np.repeat(least, 3))
        label = label[label]
        if (label == before).all():
            return np.unique(label, return_inverse=True)[1]


def _closed(n: int, triangles: IntArray, piece: IntArray) -> BoolArray:
    """Return which pieces are closed."""
    ahead = (triangles * n + np.roll(triangles, -1, axis=1)).ravel()
    back = (np.roll(triangles, -1, axis=1) * n + triangles).ravel()
    edges, counts = np.unique(ahead, return_counts=True)
    at = np.minimum(edges.searchsorted(back), len(edges) - 1)
    own = counts[edges.searchsorted(ahead)]
    sound = (edges[at] == back) & (counts[at] == 1) & (own == 1)
    closed = np.ones(int(piece.max()) + 1, dtype=np.bool_)
    closed[np.repeat(piece, 3)[~sound]] = False
    return closed


def _thin(points: FloatArray, piece: IntArray, thin_m: float) -> BoolArray:
    """Return which pieces are no thicker than a length across their longest axis."""
    count = int(piece.max()) + 1
    many = np.bincount(piece, minlength=count)
    middle = np.stack(
        [np.bincount(piece, points[:, c], count) / many for c in range(3)], axis=1
    )
    off = points - middle[piece]
    spread = np.empty((count, 3, 3))
    for a in range(3):
        for b in range(3):
            spread[:, a, b] = np.bincount(piece, off[:, a] * off[:, b], count)
    _, axes = np.linalg.eigh(spread)
    along = np.einsum("nc,nca->na", off, axes[piece])
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, piece, along)
    np.maximum.at(high, piece, along)
    thin: BoolArray = np.sort(high - low, axis=1)[:, 1] <= thin_m
    return thin
