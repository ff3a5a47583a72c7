"""What of a set stands where a rig would: dolly or sticks, the head, and the lens.

Seen from above a rig keeps a distance from the way of its lens; between the floor below
it and the top of the camera nothing may come nearer. Whatever is lower than a kerb goes
under it. A rail lies on the floor below it, which may slope as the rail does.
"""

from typing import Any, NamedTuple

import numpy as np

from ..arrays import FloatArray, frozen
from ..compiled.kernel import kernel
from .set_mesh import SetMesh
from .tree import CLOSED, DEEPEST, OUT, THIN, box_met, inside_of, line_of, triangle_met

# Common practice, no source: a dolly is 0.75 m wide and the operator walks beside it.
DOLLY_M = 0.45
STICKS_M = 0.4
BEYOND_M = 0.6  # from the lens to the end of the dolly, along the rail
KERB_M = 0.15  # what is lower goes under a dolly, or is wedged
CAMERA_M = 0.3  # from the lens to the top of the camera
TABLE_M = 1.3  # over the floor; what is higher is another floor
ROOM_BELOW_M = 0.3  # a table has; what has less is a step or a platform
ALMOST_M = 1e-9  # of depth that is none
MOST_LEVELS = 16  # below one place that are looked at
MOST_KEPT = 512  # footprints of a set
_OPEN, _TOP, _UNDERSIDE = 0, 1, 2
_SAME_M = 1e-6
_LEVEL = 0.7  # cosine of the steepest floor


class Footprint(NamedTuple):
    """What a rig meets of a set.

    Attributes:
        depth: how deep each part stands in the rig's room, 0 where it does not, (k,)
            [m].
        floors: height of the set's floor below the lens places, NaN where the set has
            none there, (n,) [m].
        step: by how much that floor leaves the line of the rail [m].
    """

    depth: FloatArray
    floors: FloatArray
    step: float


def footprint_of(mesh: SetMesh, places: FloatArray, ground_m: float) -> Footprint:
    """Return what of a set stands in the way of a rig.

    Args:
        mesh: the set; parts that are out do not count, wild ones do.
        places: of the lens along the whole rail, (n, 3) [m]; one for sticks.
        ground_m: height of the floor where the set has none.
    """
    lens = np.array(places, dtype=np.float64, order="C")
    parts = (mesh.state.tobytes(), mesh.hollow.tobytes())
    key = (lens.tobytes(), ground_m, *parts)
    kept: dict[Any, Footprint] = mesh.found.setdefault("footprints", {})
    found = kept.get(key)
    if found is None:
        if len(kept) >= MOST_KEPT:
            kept.clear()
        found = kept[key] = _footprint_of(mesh, lens, ground_m)
    return found


def floors_under(mesh: SetMesh, places: FloatArray) -> FloatArray:
    """Return the height of a set's floor under lens places, NaN for none, (n,) [m].

    Args:
        mesh: the set; parts that are out do not count.
        places: (n, 3) [m].
    """
    floors = np.empty(len(places))
    lens = np.array(places, dtype=np.float64, order="C")
    floors_below(mesh.tree, mesh.state.copy(), lens, floors)
    return floors


def _footprint_of(mesh: SetMesh, lens: FloatArray, ground_m: float) -> Footprint:
    state = mesh.state.copy()
    floors = floors_under(mesh, lens)
    known = np.where(np.isnan(floors), ground_m, floors)
    depth = np.zeros(len(mesh.names))
    solid = ~mesh.hollow
    clearance = DOLLY_M if len(lens) > 1 else STICKS_M
    way = _lengthened(lens)
    stands_in(mesh.tree, state, way, known, clearance, solid, depth)
    base = known - (lens[:, 1] - lens[0, 1])
    step = float(base.max() - base.min())
    return Footprint(frozen(depth), frozen(floors), step)


def _lengthened(places: FloatArray) -> FloatArray:
    """Return the way of a lens with the ends of the dolly beyond its clearance."""
    if len(places) < 2:
        return places
    way = places.copy()
    for end, next_to in ((0, 1), (-1, -2)):
        out = places[end] - places[next_to]
        out[1] = 0.0
        length = float(np.hypot(out[0], out[2]))
        if length > 0.0:
            way[end] = places[end] + out * ((BEYOND_M - DOLLY_M) / length)
    return way


@kernel
def floors_below(tree, state, places, out):
    """Fill `out` (n,) with the height of the floor under lens places; NaN for none.

    It is the first level surface below, unless that is a table: one with room below
    it, over a floor that is not much lower.
    """
    step, down = np.empty(6), np.empty(3)
    stack = np.empty(DEEPEST, np.int64)
    heights, faces = np.empty(MOST_LEVELS), np.empty(MOST_LEVELS, np.int64)
    for i in range(places.shape[0]):
        down[0], down[1], down[2] = places[i, 0], places[i, 1] - 1.0, places[i, 2]
        line_of(places[i], down, step)
        count = 0
        stack[0] = 0
        waiting = 1
        while waiting > 0:
            waiting -= 1
            node = stack[waiting]
            if box_met(tree.bounds, node, places[i], step, np.inf) == np.inf:
                continue
            if tree.size[node] == 0:
                stack[waiting], stack[waiting + 1] = node + 1, tree.other[node]
                waiting += 2
                continue
            for t in range(tree.other[node], tree.other[node] + tree.size[node]):
                if state[tree.part[t]] == OUT or tree.flags[t] & THIN:
                    continue
                at, _ = triangle_met(tree.corners, t, places[i], step)
                up = upright(tree.corners, t)
                if at < 0.0 or at == np.inf or abs(up) < _LEVEL:
                    continue
                face = _OPEN
                if tree.flags[t] & CLOSED:
                    face = _TOP if up > 0.0 else _UNDERSIDE
                count = kept_level(heights, faces, count, places[i, 1] - at, face)
        out[i] = floor_among(heights, faces, count)


@kernel
def kept_level(heights, faces, count, height, face):
    """Insert a level into those that are kept, the highest first; return how many."""
    at = min(count, MOST_LEVELS - 1)
    if count == MOST_LEVELS and height <= heights[at]:
        return count
    for k in range(count):
        # Met twice on an edge between two triangles.
        if faces[k] == face and abs(heights[k] - height) < _SAME_M:
            return count
    while at > 0 and heights[at - 1] < height:
        heights[at], faces[at] = heights[at - 1], faces[at - 1]
        at -= 1
    heights[at], faces[at] = height, face
    return min(count + 1, MOST_LEVELS)


@kernel
def floor_among(heights, faces, count):
    """Return the floor among levels below a lens, see `floors_below`."""
    k = 0
    while k < count and faces[k] == _UNDERSIDE:
        k += 1
    if k == count:
        return np.nan
    while True:
        under = k + 1
        if faces[k] == _TOP:
            # Of a solid: what is under it begins below its underside.
            if under >= count or faces[under] != _UNDERSIDE:
                return heights[k]
        else:
            under = k
        low = under + 1
        while low < count and faces[low] == _UNDERSIDE:
            low += 1
        if low >= count or heights[under] - heights[low] < ROOM_BELOW_M:
            return heights[k]
        if heights[k] - heights[low] > TABLE_M:
            return heights[k]
        k = low


@kernel
def upright(corners, t):
    """Return the cosine between a triangle's normal and the upright."""
    x1, y1, z1 = corners[t, 3], corners[t, 4], corners[t, 5]
    x2, y2, z2 = corners[t, 6], corners[t, 7], corners[t, 8]
    x, y, z = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
    norm = np.sqrt(x * x + y * y + z * z)
    return y / norm if norm > 0.0 else 0.0


@kernel
def stands_in(tree, state, places, floors, clearance, solid, depth):
    """Fill `depth` (k,) with how deep each part reaches into a rig's room [m].

    A part that goes round the lens as a solid does, where `solid` (k,), is as deep as
    the clearance.
    """
    n = places.shape[0]
    stack = np.empty(DEEPEST, np.int64)
    flat = np.empty((8, 2))
    for i in range(max(n - 1, 1)):
        j = min(i + 1, n - 1)
        a, b = places[i], places[j]
        low = max(floors[i], floors[j]) + KERB_M
        high = max(a[1], b[1]) + CAMERA_M
        left, right = min(a[0], b[0]) - clearance, max(a[0], b[0]) + clearance
        near, far = min(a[2], b[2]) - clearance, max(a[2], b[2]) + clearance
        stack[0] = 0
        waiting = 1
        while waiting > 0:
            waiting -= 1
            node = stack[waiting]
            bounds = tree.bounds
            if (
                bounds[node, 0] > right
                or bounds[node, 3] < left
                or bounds[node, 1] > high
                or bounds[node, 4] < low
                or bounds[node, 2] > far
                or bounds[node, 5] < near
            ):
                continue
            if tree.size[node] == 0:
                stack[waiting], stack[waiting + 1] = node + 1, tree.other[node]
                waiting += 2
                continue
            for t in range(tree.other[node], tree.other[node] + tree.size[node]):
                part = tree.part[t]
                if state[part] == OUT or depth[part] >= clearance:
                    continue
                count = between_heights(tree.corners, t, low, high, flat)
                if count == 0:
                    continue
                gap = gap_on_plan(flat, count, a, b)
                depth[part] = max(depth[part], clearance - gap)
    counts = np.empty(state.shape[0], np.int64)
    for i in range(0, n, 4):
        inside_of(tree, state, places[i], counts)
        for part in range(state.shape[0]):
            if counts[part] > 0 and solid[part]:
                depth[part] = clearance


@kernel
def between_heights(corners, t, low, high, flat):
    """Fill `flat` with the corners on the plan of a triangle between two heights.

    Returns how many; they go round a convex polygon.
    """
    first = np.empty((8, 3))
    second = np.empty((8, 3))
    for k in range(3):
        for c in range(3):
            first[k, c] = corners[t, c] + (corners[t, 3 * k + c] if k else 0.0)
    count = cut_at(first, 3, low, 1.0, second)
    count = cut_at(second, count, high, -1.0, first)
    for k in range(count):
        flat[k, 0], flat[k, 1] = first[k, 0], first[k, 2]
    return count


@kernel
def cut_at(points, n, height, sign, out):
    """Fill `out` with what of a polygon is above a height, or below for sign -1."""
    count = 0
    for k in range(n):
        p, q = points[k], points[(k + 1) % n]
        above, then = sign * (p[1] - height), sign * (q[1] - height)
        if above >= 0.0:
            for c in range(3):
                out[count, c] = p[c]
            count += 1
        if above * then < 0.0:
            share = above / (above - then)
            for c in range(3):
                out[count, c] = p[c] + share * (q[c] - p[c])
            count += 1
    return count


@kernel
def gap_on_plan(flat, n, a, b):
    """Return the distance on the plan of a convex polygon from a segment [m]."""
    ax, az, bx, bz = a[0], a[2], b[0], b[2]
    least = np.inf
    turns_left = turns_right = False
    for k in range(n):
        m = (k + 1) % n
        px, pz, qx, qz = flat[k, 0], flat[k, 1], flat[m, 0], flat[m, 1]
        side = (qx - px) * (az - pz) - (qz - pz) * (ax - px)
        turns_left = turns_left or side > 0.0
        turns_right = turns_right or side < 0.0
        if crosses(ax, az, bx, bz, px, pz, qx, qz):
            return 0.0
        least = min(least, off_segment(ax, az, px, pz, qx, qz))
        least = min(least, off_segment(bx, bz, px, pz, qx, qz))
        least = min(least, off_segment(px, pz, ax, az, bx, bz))
    inside = n > 2 and turns_left != turns_right
    return 0.0 if inside else np.sqrt(least)


@kernel
def crosses(ax, az, bx, bz, px, pz, qx, qz):
    """Tell whether two segments of the plan cross."""
    one = (bx - ax) * (pz - az) - (bz - az) * (px - ax)
    two = (bx - ax) * (qz - az) - (bz - az) * (qx - ax)
    three = (qx - px) * (az - pz) - (qz - pz) * (ax - px)
    four = (qx - px) * (bz - pz) - (qz - pz) * (bx - px)
    return one * two < 0.0 and three * four < 0.0


@kernel
def off_segment(x, z, px, pz, qx, qz):
    """Return the square of a point's distance from a segment of the plan."""
    dx, dz = qx - px, qz - pz
    square = dx * dx + dz * dz
    share = 0.0
    if square > 0.0:
        share = min(max(((x - px) * dx + (z - pz) * dz) / square, 0.0), 1.0)
    off_x, off_z = x - px - share * dx, z - pz - share * dz
    return off_x * off_x + off_z * off_z
