"""A floor of any shape: how far points are from its edge, and from its holes."""

from collections.abc import Sequence

import numpy as np

from ..arrays import BoolArray, FloatArray


def outline_margin(rings: Sequence[FloatArray], points: FloatArray) -> FloatArray:
    """Return signed distances of points to the edges of a floor, inside positive.

    Args:
        rings: its edge, then each hole's, (k, 2) [m] each, either way round.
        points: (n, 2) [m].

    Returns:
        (n,) [m].
    """
    off = np.min([_distance(ring, points) for ring in rings], axis=0)
    inside = _inside(rings[0], points)
    for hole in rings[1:]:
        inside &= ~_inside(hole, points)
    margin: FloatArray = np.where(inside, off, -off)
    return margin


def hull(points: FloatArray) -> FloatArray:
    """Return the convex hull of points (n, 2), counter-clockwise (Andrew 1979)."""
    ordered = sorted(set(map(tuple, points.tolist())))

    def half(way: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        kept: list[tuple[float, ...]] = []
        for p in way:
            while len(kept) > 1 and _turn(kept[-2], kept[-1], p) <= 0.0:
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _turn(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _distance(ring: FloatArray, points: FloatArray) -> FloatArray:
    """Return the distance of each point from a ring, (n,)."""
    along = np.roll(ring, -1, axis=0) - ring
    square = np.maximum(np.einsum("kc,kc->k", along, along), 1e-300)
    off = points[:, None, :] - ring
    share = np.clip(np.einsum("nkc,kc->nk", off, along) / square, 0.0, 1.0)
    gap = off - share[:, :, None] * along
    distance: FloatArray = np.hypot(gap[..., 0], gap[..., 1]).min(axis=1)
    return distance


def _inside(ring: FloatArray, points: FloatArray) -> BoolArray:
    """Return which points are inside a ring: a line to the right crosses it oddly."""
    x, z = points[:, None, 0], points[:, None, 1]
    (x1, z1), (x2, z2) = ring.T, np.roll(ring, -1, axis=0).T
    spans = (z1 > z) != (z2 > z)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x1 + (z - z1) * (x2 - x1) / (z2 - z1)
    inside: BoolArray = (np.sum(spans & (x < at), axis=1) % 2).astype(np.bool_)
    return inside
