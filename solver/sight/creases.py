"""Edges of triangles at which a surface ends or turns."""

import numpy as np

from ..arrays import FloatArray, IntArray

CREASE_COS = float(np.cos(np.radians(25.0)))  # flatter: of one round surface
_SHORTEST_M = 0.02


def creased_edges(corners: FloatArray, part: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the edges of triangles that a drawing shows, and the part of each.

    Args:
        corners: (t, 3, 3) [m].
        part: of each triangle, (t,).

    Returns:
        Ends (n, 2, 3) [m] and parts (n,).
    """
    if not len(corners):
        return np.empty((0, 2, 3)), np.empty(0, dtype=np.int64)
    points, at = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    at = at.reshape(-1, 3)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    ends = np.stack([at, np.roll(at, -1, axis=1)], axis=2).reshape(-1, 2)
    low, high = ends.min(axis=1), ends.max(axis=1)
    face = np.repeat(np.arange(len(corners)), 3)
    n = len(points)
    key = (part[face] * n + low) * n + high
    order = np.argsort(key, kind="stable")
    key, face, low, high = key[order], face[order], low[order], high[order]
    first = np.flatnonzero(np.append(True, key[1:] != key[:-1]))
    count = np.diff(np.append(first, len(key)))
    shown = count != 2
    pair = first[count == 2]
    flat = np.einsum("nc,nc->n", normal[face[pair]], normal[face[pair + 1]])
    shown[count == 2] = flat < CREASE_COS
    rows = first[shown]
    found = np.stack([points[low[rows]], points[high[rows]]], axis=1)
    long = np.linalg.norm(found[:, 1] - found[:, 0], axis=1) > _SHORTEST_M
    return found[long], part[face[rows]][long]
