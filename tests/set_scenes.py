"""Sets with known answers: boxes, walls with doorways, stairs; brute force for rays."""

import numpy as np

from carrellata.solver.arrays import FloatArray, IntArray
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.sight.tree import CLOSED

_FACES = np.array(
    [
        (0, 2, 3), (0, 3, 1), (4, 5, 7), (4, 7, 6),
        (0, 1, 5), (0, 5, 4), (2, 6, 7), (2, 7, 3),
        (0, 4, 6), (0, 6, 2), (1, 3, 7), (1, 7, 5),
    ]
)  # fmt: skip


def box(low: tuple[float, ...], high: tuple[float, ...]) -> FloatArray:
    """Return the triangles of a box, its faces out, (12, 3, 3) [m]."""
    ends = np.array([low, high])
    corners = np.array(
        [[ends[k & 1, 0], ends[k >> 1 & 1, 1], ends[k >> 2, 2]] for k in range(8)]
    )
    return corners[_FACES]


def divided(corners: FloatArray) -> FloatArray:
    """Return each of triangles (t, 3, 3) as four of half its size."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    quarters = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    return np.concatenate([np.stack(each, axis=1) for each in quarters])


def set_of(
    parts: dict[str, FloatArray], *, wild: tuple[str, ...] = (), flags: int = CLOSED
) -> SetMesh:
    """Return the set of named parts of triangles, all closed unless told otherwise."""
    counts = [len(each) for each in parts.values()]
    return SetMesh(
        names=tuple(parts),
        wild=np.array([name in wild for name in parts], dtype=np.bool_),
        corners=np.concatenate(list(parts.values())),
        part=np.repeat(np.arange(len(counts)), counts),
        flags=np.full(sum(counts), flags),
    )


def wall_with_door(width: float, *, at: float = 0.0) -> dict[str, FloatArray]:
    """Return a wall along x at z = `at` with a doorway about x = 0, 2.1 m high."""
    half = width / 2
    thick = (at - 0.05, at + 0.05)
    return {
        "wall": np.concatenate(
            [
                box((-5.0, 0.0, thick[0]), (-half, 3.0, thick[1])),
                box((half, 0.0, thick[0]), (5.0, 3.0, thick[1])),
                box((-half, 2.1, thick[0]), (half, 3.0, thick[1])),
            ]
        )
    }


def floor_at(height: float, *, x: tuple[float, float] = (-6.0, 6.0)) -> FloatArray:
    """Return a flat floor, two triangles."""
    a, b = x
    corners = np.array(
        [(a, height, -6), (b, height, -6), (b, height, 6), (a, height, 6)], dtype=float
    )
    return corners[[[0, 2, 1], [0, 3, 2]]]


def brute_force(
    corners: FloatArray, starts: FloatArray, ends: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the triangle nearest on each segment and where, by plane and barycentrics.

    Nothing in it is shared with the tree: planes are met first, then areas compared.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    square = np.einsum("tc,tc->t", normal, normal)
    found = np.full(len(starts), -1)
    where = np.full(len(starts), np.inf)
    for i, (p, q) in enumerate(zip(starts, ends, strict=True)):
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.einsum("tc,tc->t", normal, a - p) / (normal @ (q - p))
        x = p + t[:, None] * (q - p)
        shares = [
            np.einsum("tc,tc->t", np.cross(v - u, x - u), normal) / square
            for u, v in ((a, b), (b, c), (c, a))
        ]
        met = (t >= 0) & (t <= 1) & (np.min(shares, axis=0) >= 0)
        if met.any():
            t = np.where(met, t, np.inf)
            found[i], where[i] = int(t.argmin()), t.min()
    return found, where


def turned(points: FloatArray, angle: float, axis: int = 1) -> FloatArray:
    """Return points (..., 3) turned about an axis through the origin [rad]."""
    one, two = [k for k in range(3) if k != axis]
    out = points.copy()
    cos, sin = np.cos(angle), np.sin(angle)
    out[..., one] = cos * points[..., one] - sin * points[..., two]
    out[..., two] = sin * points[..., one] + cos * points[..., two]
    return out
