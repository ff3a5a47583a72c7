"""Shapes that a scene says by a size: cubes, cylinders and planes, faces out."""

import numpy as np

from ...solver.arrays import FloatArray, IntArray
from .polygons import triangles_of

_CUBE = (
    (0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)
)  # fmt: skip

Shape = tuple[FloatArray, IntArray]
"""Points (n, 3) and triangles (t, 3)."""


def cube(size: float) -> Shape:
    """Return a cube about the origin."""
    points = np.array(
        [[k >> 2 & 1, k >> 1 & 1, k & 1] for k in range(8)], dtype=np.float64
    )
    counts = np.full(6, 4)
    return (points - 0.5) * size, triangles_of(points, counts, np.array(_CUBE).ravel())


def cylinder(radius: float, height: float, axis: str, sides: int) -> Shape:
    """Return a cylinder about the origin along X, Y or Z."""
    angle = 2 * np.pi * np.arange(sides) / sides
    ring = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    low = np.column_stack([ring, np.full(sides, -height / 2)])
    points = np.concatenate([low, low + np.array([0.0, 0.0, height])])
    k = np.arange(sides)
    after = (k + 1) % sides
    side = np.column_stack([k, after, after + sides, k + sides])
    counts = np.concatenate([np.full(sides, 4), [sides, sides]])
    corners = np.concatenate([side.ravel(), k[::-1], k + sides])
    return _along(points, axis), triangles_of(points, counts, corners)


def plane(width: float, length: float, axis: str) -> Shape:
    """Return a rectangle about the origin across X, Y or Z.

    Across X the width is along Z and the length along Y, across Y along X and Z, across
    Z along X and Y, as OpenUSD has it.
    """
    x, y = (width, length) if axis == "Z" else (length, width)
    flat = np.array([(-x, -y, 0), (x, -y, 0), (x, y, 0), (-x, y, 0)]) / 2
    return _along(flat, axis), np.array([(0, 1, 2), (0, 2, 3)])


def _along(points: FloatArray, axis: str) -> FloatArray:
    """Return points whose Z is an axis, the others after it in their order."""
    x, y, z = points.T
    turned = {"X": (z, x, y), "Y": (y, z, x)}.get(axis, (x, y, z))
    return np.column_stack(turned)
