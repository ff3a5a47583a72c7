"""Edges of triangles at which a surface ends or turns, or that may be its outline."""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .joined import joined

CREASE_COS = float(np.cos(np.radians(25.0)))  # flatter: of one round surface
FLAT_COS = float(np.cos(np.radians(2.0)))  # flatter still: of one face
_SHORTEST_M = 0.02


class Edges(NamedTuple):
    """Edges that a drawing may show, n of them.

    Attributes:
        ends: (n, 2, 3) [m].
        part: of the set, (n,).
        normals: of the faces on both sides, (n, 2, 3).
        smooth: inside a round surface: shown where they are its outline, (n,).
    """

    ends: FloatArray
    part: IntArray
    normals: FloatArray
    smooth: BoolArray


def edges_of(corners: FloatArray, part: IntArray) -> Edges:
    """Return the edges of triangles.

    Args:
        corners: (t, 3, 3) [m].
        part: of each triangle, (t,).
    """
    points, at = _each_once(corners.reshape(-1, 3))
    at = at.reshape(-1, 3)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    ends = np.stack([at, np.roll(at, -1, axis=1)], axis=2).reshape(-1, 2)
    low, high = ends.min(axis=1), ends.max(axis=1)
    face = np.repeat(np.arange(len(corners)), 3)
    n = max(len(points), 1)
    key = (part[face] * n + low) * n + high
    order = np.argsort(key, kind="stable")
    key, face, low, high = key[order], face[order], low[order], high[order]
    new = np.ones(len(key), dtype=np.bool_)
    new[1:] = key[1:] != key[:-1]
    first = np.flatnonzero(new)
    count = np.diff(np.append(first, len(key)))
    last = np.minimum(first + 1, len(key) - 1)
    normals = np.stack([normal[face[first]], normal[face[last]]], axis=1)
    turn = np.einsum("nc,nc->n", normals[:, 0], normals[:, 1])
    smooth = (count == 2) & (turn >= CREASE_COS)
    found = np.stack([points[low[first]], points[high[first]]], axis=1)
    there = np.linalg.norm(found[:, 1] - found[:, 0], axis=1) > 0.0
    kept = np.flatnonzero(there & ~(smooth & (turn >= FLAT_COS)))
    parts = part[face[first]][kept]
    lines, row = joined(found[kept], _alike(parts, smooth[kept], normals[kept]))
    long = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) > _SHORTEST_M
    row = row[long]
    return Edges(lines[long], parts[row], normals[kept][row], smooth[kept][row])


def _each_once(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the different rows of points (n, 3), sorted, and which each row is."""
    order = np.lexsort(points.T[::-1])
    new = np.ones(len(points), dtype=np.bool_)
    new[1:] = (np.diff(points[order], axis=0) != 0).any(axis=1)
    which = np.empty(len(points), dtype=np.int64)
    which[order] = np.cumsum(new) - 1
    return points[order[new]], which


def _alike(part: IntArray, smooth: BoolArray, normals: FloatArray) -> IntArray:
    """Return a number for each edge, the same for edges that one line may stand for.

    That is for edges of one part, and inside a round surface of one turn of it.
    """
    turned = np.round(np.where(smooth[:, None, None], normals, 0.0) * 1e3)
    keys = np.column_stack([part, smooth, turned.reshape(-1, 6)])
    order = np.lexsort(keys.T)
    new = np.ones(len(keys), dtype=np.int64)
    new[1:] = (np.diff(keys[order], axis=0) != 0).any(axis=1)
    alike = np.empty(len(keys), dtype=np.int64)
    alike[order] = np.cumsum(new)
    return alike
