"""Faces of any number of corners as triangles."""

import numpy as np

from ...solver.arrays import BoolArray, FloatArray, IntArray


def triangles_of(points: FloatArray, counts: IntArray, corners: IntArray) -> IntArray:
    """Return the triangles of faces, (t, 3), in the order of the faces.

    A face that turns inward somewhere, as a wall round a doorway does, is cut ear by
    ear (Meisters 1975); others as a fan.

    Args:
        points: (n, 3).
        counts: corners of each face, (f,).
        corners: indices of the points, one face after the other, (sum of counts,).
    """
    starts = np.cumsum(counts) - counts
    found, order = [], []
    for size in np.unique(counts).tolist():
        if size < 3:
            continue
        which = np.flatnonzero(counts == size)
        faces = corners[starts[which, None] + np.arange(size)]
        convex = _convex(points[faces]) if size > 3 else np.ones(len(which), np.bool_)
        fan = np.stack(
            [
                np.repeat(faces[convex, :1], size - 2, axis=1),
                faces[convex, 1:-1],
                faces[convex, 2:],
            ],
            axis=2,
        )
        found.append(fan.reshape(-1, 3))
        order.append(np.repeat(which[convex], size - 2))
        for at, face in zip(which[~convex], faces[~convex], strict=True):
            ears = _ears(points[face])
            found.append(face[ears])
            order.append(np.full(len(ears), at))
    if not found:
        return np.empty((0, 3), dtype=np.int64)
    return np.concatenate(found)[np.argsort(np.concatenate(order), kind="stable")]


def _convex(faces: FloatArray) -> BoolArray:
    """Return which faces (f, k, 3) turn one way at every corner, (f,)."""
    along = np.roll(faces, -1, axis=1) - faces
    turns = np.cross(along, np.roll(along, -1, axis=1))
    way = turns.sum(axis=1, keepdims=True)
    size = np.einsum("fkc,fkc->f", along, along)
    inward = np.einsum("fkc,fkc->fk", turns, way) < -1e-12 * size[:, None] ** 2
    convex: BoolArray = ~inward.any(axis=1)
    return convex


def _ears(face: FloatArray) -> IntArray:
    """Return the triangles of one face (k, 3) as indices of its corners, (k - 2, 3)."""
    normal = np.zeros(3)
    for p, q in zip(face, np.roll(face, -1, axis=0), strict=True):
        normal += np.cross(p - face[0], q - face[0])
    drop = int(np.abs(normal).argmax())
    flat = np.delete(face, drop, axis=1)
    sign = -1.0 if (normal[drop] < 0) != (drop == 1) else 1.0
    left, ears = list(range(len(face))), []
    while len(left) > 3:
        for k in range(len(left)):
            a, b, c = left[k - 1], left[k], left[(k + 1) % len(left)]
            if sign * _turn(flat[a], flat[b], flat[c]) <= 0.0:
                continue
            others = [one for one in left if one not in (a, b, c)]
            if not any(_within(flat[p], flat[[a, b, c]], sign) for p in others):
                break
        else:
            k = 0  # it crosses itself: what is left is a fan
            a, b, c = left[-1], left[0], left[1]
        ears.append((a, b, c))
        del left[k]
    ears.append((left[0], left[1], left[2]))
    return np.array(ears, dtype=np.int64)


def _turn(a: FloatArray, b: FloatArray, c: FloatArray) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _within(point: FloatArray, ear: FloatArray, sign: float) -> bool:
    return all(sign * _turn(ear[k], ear[(k + 1) % 3], point) >= 0.0 for k in range(3))
