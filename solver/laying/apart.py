"""Half-planes between a segment and a box on the ground plane.

For a unit normal n the separation is min n . p over the segment less max n . c over the
box's corners; its maximum over n is the distance of the two where they are apart, and
minus their depth in each other where they are not. The maximum lies at a normal of the
box or of the segment or, apart, along a line from a corner to an end, so trying those
is exact. With n fixed, keeping n . p at or above n . c is linear in p. Rows at both
ends of the segment truly part the two; where n is the segment's own normal, rows at the
feet of the two nearest corners also follow the segment's turning, to first order.

Source: separating axis theorem; tested against sampling in
tests/solver/laying/test_apart.py.
"""

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray

_FACES = np.array([(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)])


@dataclass(frozen=True, kw_only=True, slots=True)
class Parted:
    """Segments k and boxes m with a normal each, and two rows each.

    A row: n . (start + share (end - start)) >= reach.

    Attributes:
        normals: (k, m, 2).
        shares: (k, m, 2), 0 to 1.
        reaches: (k, m, 2) [m].
    """

    normals: FloatArray
    shares: FloatArray
    reaches: FloatArray


def corners_of(boxes: FloatArray) -> FloatArray:
    """Return the corners (m, 4, 2) of footprints of boxes (m, 2, 3) [m]."""
    low, high = boxes[:, 0, ::2], boxes[:, 1, ::2]
    x = np.stack((low[:, 0], high[:, 0], high[:, 0], low[:, 0]), axis=1)
    z = np.stack((low[:, 1], low[:, 1], high[:, 1], high[:, 1]), axis=1)
    return np.stack((x, z), axis=2)


def part(start: FloatArray, end: FloatArray, corners: FloatArray) -> Parted:
    """Return the normals that best part segments from boxes, and the corners' reach.

    Args:
        start: of the segments, (k, 2) [m]; a point where it equals `end`.
        end: (k, 2) [m].
        corners: (m, 4, 2) [m].

    Returns:
        Normals and rows; the separation is the least of a pair's rows, negative where
        segment and box overlap.
    """
    normals = _candidates(start, end, corners)
    reach = np.einsum("kmac,mpc->kmap", normals, corners).max(axis=3)
    ends = np.minimum(
        np.einsum("kmac,kc->kma", normals, start),
        np.einsum("kmac,kc->kma", normals, end),
    )
    best, bound = _best(normals, reach, ends - reach)
    reaches = np.stack((bound, bound), axis=2)
    shares = np.broadcast_to(np.array((0.0, 1.0)), reaches.shape).copy()
    along = end - start
    square = np.maximum(np.einsum("kc,kc->k", along, along), 1e-12)
    own = np.abs(np.einsum("kmc,kc->km", best, along)) < 1e-9 * np.sqrt(square)[:, None]
    own &= square[:, None] > 1e-9
    heights = np.einsum("kmc,mpc->kmp", best, corners)
    order = np.argsort(-heights, axis=2, kind="stable")[..., :2]
    off = corners[None] - start[:, None, None]
    feet = np.einsum("kmpc,kc->kmp", off, along) / square[:, None, None]
    nearest = np.clip(np.take_along_axis(feet, order, axis=2), 0.0, 1.0)
    shares[own] = nearest[own]
    reaches[own] = np.take_along_axis(heights, order, axis=2)[own]
    return Parted(normals=best, shares=shares, reaches=reaches)


def part_from_fixed(
    fixed: FloatArray, free: FloatArray, corners: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return `part` of segments whose start can't move, by normals that it satisfies.

    Where the start is inside the box none exists, and the reach is minus infinity.
    """
    normals = _candidates(fixed, free, corners)
    rays = corners[None] - fixed[:, None, None, :]
    across = np.stack((-rays[..., 1], rays[..., 0]), axis=-1)
    tangents = _unit(np.concatenate((across, -across), axis=2))
    normals = np.concatenate((normals, tangents), axis=2)
    reach = np.einsum("kmac,mpc->kmap", normals, corners).max(axis=3)
    held = np.einsum("kmac,kc->kma", normals, fixed) - reach >= -1e-9
    gap = np.einsum("kmac,kc->kma", normals, free) - reach
    best, bound = _best(normals, reach, np.where(held, gap, -np.inf))
    return best, np.where(held.any(axis=2), bound, -np.inf)


def _candidates(start: FloatArray, end: FloatArray, corners: FloatArray) -> FloatArray:
    """Return unit normals to try, (k, m, 14, 2)."""
    k, m = len(start), len(corners)
    along = end - start
    across = _unit(np.column_stack((-along[:, 1], along[:, 0])))
    sides = np.stack((across, -across), axis=1)[:, None]
    from_start = _unit(start[:, None, None, :] - corners[None])
    from_end = _unit(end[:, None, None, :] - corners[None])
    return np.concatenate(
        (
            np.broadcast_to(_FACES, (k, m, 4, 2)),
            np.broadcast_to(sides, (k, m, 2, 2)),
            from_start,
            from_end,
        ),
        axis=2,
    )


def _unit(vectors: FloatArray) -> FloatArray:
    """Return unit vectors; (1, 0) for one without length."""
    length = np.hypot(vectors[..., 0], vectors[..., 1])[..., None]
    out: FloatArray = np.where(
        length > 1e-12, vectors / np.maximum(length, 1e-12), (1.0, 0.0)
    )
    return out


def _best(
    normals: FloatArray, reach: FloatArray, gap: FloatArray
) -> tuple[FloatArray, FloatArray]:
    chosen = gap.argmax(axis=2)[..., None]
    picked = np.take_along_axis(normals, chosen[..., None], axis=2)[:, :, 0]
    return picked, np.take_along_axis(reach, chosen, axis=2)[..., 0]
