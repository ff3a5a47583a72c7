"""A floor of any shape: how far points are from its edge, and from its holes."""

from collections.abc import Sequence

import numpy as np

from ..arrays import BoolArray, FloatArray

_THIN_M = 1e-6  # of a notch that is none


def outline_margin(rings: Sequence[FloatArray], points: FloatArray) -> FloatArray:
    """Return signed distances of points to the edges of a floor, inside positive.

    Args:
        rings: its edge, then each hole's, (k, 2) [m] each, either way round.
        points: (n, 2) [m].

    Returns:
        (n,) [m].
    """
    off = np.min([_distance(ring, points) for ring in rings], axis=0)
    inside = inside_ring(rings[0], points)
    for hole in rings[1:]:
        inside &= ~inside_ring(hole, points)
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


def off_floor_boxes(rings: Sequence[FloatArray]) -> list[FloatArray]:
    """Return boxes on the ground that hold what of the hull of a floor is no floor.

    A box holds a hole, or a notch between two corners of the hull, and may hold some
    floor beside it.

    Args:
        rings: the floor's edge, then each hole's, (k, 2) [m] each.

    Returns:
        Low and high corner of each, (2, 2) [m].
    """
    edge = rings[0]
    corners = set(map(tuple, hull(edge).tolist()))
    on_hull = [k for k, point in enumerate(edge.tolist()) if tuple(point) in corners]
    notches = []
    for start, end in zip(on_hull, [*on_hull[1:], on_hull[0] + len(edge)], strict=True):
        if end - start > 1:
            notches.append(np.take(edge, range(start, end + 1), axis=0, mode="wrap"))
    boxes = [
        np.array([ring.min(axis=0), ring.max(axis=0)])
        for ring in (*notches, *rings[1:])
    ]
    return [box for box in boxes if (box[1] - box[0] > _THIN_M).all()]


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


def inside_ring(ring: FloatArray, points: FloatArray) -> BoolArray:
    """Return which points (n, 2) are inside a ring (k, 2), (n,).

    A line to the right crosses it oddly.
    """
    x, z = points[:, None, 0], points[:, None, 1]
    (x1, z1), (x2, z2) = ring.T, np.roll(ring, -1, axis=0).T
    spans = (z1 > z) != (z2 > z)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x1 + (z - z1) * (x2 - x1) / (z2 - z1)
    inside: BoolArray = (np.sum(spans & (x < at), axis=1) % 2).astype(np.bool_)
    return inside
