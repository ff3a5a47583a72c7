"""A tree of boxes over triangles, and what a straight line meets among them.

The tree is built by the binned surface area heuristic (Wald, "On fast construction of
SAH-based bounding volume hierarchies", 2007) in a fixed order, and a triangle is met by
the test of Moller and Trumbore (1997), edges included. Everything is plain 64-bit
arithmetic in one order, so the same triangles give the same answers on any machine of
one architecture.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, IntArray
from ..compiled.kernel import kernel

LEAF = 4  # triangles that are tested one by one
BINS = 16
DEEPEST = 96  # nodes that wait while a line is followed
THIN, CLOSED = 1, 2  # flags of a triangle
SOLID, WILD, OUT = 0, 1, 2  # states of a part
CLEAR = -1
_NO_STEP = 1e30  # inverse of a step along an axis that there is not

# Shares of an edge by which a triangle is widened, so that a line through the edge
# between two of them meets one at least.
_EDGE = 1e-9
_WIDER = 1e-9  # of a box, absolute [m] and of its distance from the origin


class TriangleTree(NamedTuple):
    """Triangles in the order of the leaves of a tree.

    Attributes:
        bounds: of each node, low and high corner, (n, 6) [m].
        other: of an inner node its second child, the first is the next node; of a leaf
            its first triangle, (n,).
        size: triangles of a leaf, 0 for an inner node, -1 where there are none at
            all, (n,).
        corners: first corner and the edges from it to the others, (t, 9) [m].
        part: of the set that a triangle belongs to, (t,).
        flags: `THIN` where nobody is hidden by it, `CLOSED` where it bounds a solid,
            (t,).
        source: place of a triangle in the order in which they were given, (t,).
    """

    bounds: FloatArray
    other: IntArray
    size: IntArray
    corners: FloatArray
    part: IntArray
    flags: IntArray
    source: IntArray


class Waiting(NamedTuple):
    """Room for the nodes that wait while a line is followed, and where it enters them.

    Both have `DEEPEST` places.
    """

    nodes: IntArray
    enters: FloatArray


def tree_of(corners: FloatArray, part: IntArray, flags: IntArray) -> TriangleTree:
    """Return the tree over triangles.

    Args:
        corners: of each, (t, 3, 3) [m].
        part: of the set, (t,).
        flags: of each, (t,).
    """
    points = np.ascontiguousarray(corners, dtype=np.float64)
    n = len(points)
    order = np.arange(n)
    nodes = max(2 * n, 1)
    bounds = np.zeros((nodes, 6))
    other, count = np.zeros(nodes, np.int64), np.zeros(nodes, np.int64)
    used = build(points.min(axis=1), points.max(axis=1), order, bounds, other, count)
    # A line in the plane of a face, and a flat box, are met for certain.
    spare = _WIDER * (1.0 + np.abs(bounds[:used]))
    bounds[:used, :3] -= spare[:, :3]
    bounds[:used, 3:] += spare[:, 3:]
    first = points[order, 0]
    edges = np.concatenate(
        [first, points[order, 1] - first, points[order, 2] - first], axis=1
    )
    return TriangleTree(
        bounds=bounds[:used].copy(),
        other=other[:used].copy(),
        size=count[:used].copy(),
        corners=np.ascontiguousarray(edges),
        part=np.asarray(part, dtype=np.int64)[order],
        flags=np.asarray(flags, dtype=np.int64)[order],
        source=order,
    )


@kernel
def build(low, high, order, bounds, other, count):
    """Fill the nodes over triangles with these corners of boxes; return how many.

    `order` (t,) is sorted into the order of the leaves.
    """
    n = order.shape[0]
    if n == 0:
        count[0] = -1
        return 1
    # What waits: first and last triangle, and the node whose second child it is.
    starts, ends = np.empty(DEEPEST, np.int64), np.empty(DEEPEST, np.int64)
    parents = np.empty(DEEPEST, np.int64)
    starts[0], ends[0], parents[0] = 0, n, -1
    waiting, used = 1, 0
    areas, sums = np.empty(BINS), np.empty(BINS, np.int64)
    bins_low, bins_high = np.empty((BINS, 3)), np.empty((BINS, 3))
    bins_count = np.empty(BINS, np.int64)
    while waiting > 0:
        waiting -= 1
        start, end, parent = starts[waiting], ends[waiting], parents[waiting]
        node = used
        used += 1
        if parent >= 0:
            other[parent] = node
        for axis in range(3):
            bounds[node, axis], bounds[node, 3 + axis] = np.inf, -np.inf
        middle_low, middle_high = np.full(3, np.inf), np.full(3, -np.inf)
        for k in range(start, end):
            t = order[k]
            for axis in range(3):
                bounds[node, axis] = min(bounds[node, axis], low[t, axis])
                bounds[node, 3 + axis] = max(bounds[node, 3 + axis], high[t, axis])
                middle = low[t, axis] + high[t, axis]
                middle_low[axis] = min(middle_low[axis], middle)
                middle_high[axis] = max(middle_high[axis], middle)
        size = end - start
        axis = 0
        for each in range(1, 3):
            wider = middle_high[each] - middle_low[each]
            if wider > middle_high[axis] - middle_low[axis]:
                axis = each
        reach = middle_high[axis] - middle_low[axis]
        if size <= LEAF or waiting + 2 > DEEPEST:
            other[node], count[node] = start, size
            continue
        cut = start + size // 2  # where all have one middle, by their number
        if reach > 0.0:
            for b in range(BINS):
                bins_count[b] = 0
                for c in range(3):
                    bins_low[b, c], bins_high[b, c] = np.inf, -np.inf
            for k in range(start, end):
                t = order[k]
                b = bin_of(low[t, axis] + high[t, axis], middle_low[axis], reach)
                bins_count[b] += 1
                for c in range(3):
                    bins_low[b, c] = min(bins_low[b, c], low[t, c])
                    bins_high[b, c] = max(bins_high[b, c], high[t, c])
            best = best_split(bins_low, bins_high, bins_count, areas, sums)
            cut = start
            last = end - 1
            while cut <= last:
                t = order[cut]
                middle = low[t, axis] + high[t, axis]
                if bin_of(middle, middle_low[axis], reach) <= best:
                    cut += 1
                else:
                    order[cut], order[last] = order[last], order[cut]
                    last -= 1
        count[node] = 0
        # The second child waits below the first, which is the next node.
        starts[waiting], ends[waiting], parents[waiting] = cut, end, node
        starts[waiting + 1], ends[waiting + 1] = start, cut
        parents[waiting + 1] = -1
        waiting += 2
    return used


@kernel
def bin_of(middle, low, reach):
    """Return the bin that a middle falls into."""
    return min(int(BINS * ((middle - low) / reach)), BINS - 1)


@kernel
def best_split(low, high, count, areas, sums):
    """Return the last bin of the first half that makes lines cheapest to follow."""
    at_low, at_high = np.full(3, np.inf), np.full(3, -np.inf)
    total = 0
    for b in range(BINS - 1, 0, -1):
        for c in range(3):
            at_low[c] = min(at_low[c], low[b, c])
            at_high[c] = max(at_high[c], high[b, c])
        total += count[b]
        sums[b] = total
        areas[b] = half_area(at_low, at_high) if total else 0.0
    at_low, at_high = np.full(3, np.inf), np.full(3, -np.inf)
    total, best, least = 0, 0, np.inf
    for b in range(BINS - 1):
        for c in range(3):
            at_low[c] = min(at_low[c], low[b, c])
            at_high[c] = max(at_high[c], high[b, c])
        total += count[b]
        if total == 0 or sums[b + 1] == 0:
            continue
        price = half_area(at_low, at_high) * total + areas[b + 1] * sums[b + 1]
        if price < least:
            best, least = b, price
    return best


@kernel
def half_area(low, high):
    """Return half the surface of a box."""
    x, y, z = high[0] - low[0], high[1] - low[1], high[2] - low[2]
    return x * y + y * z + z * x


@kernel
def box_met(bounds, node, start, step, most):
    """Return where a line enters a node's box; infinite where it does not.

    The line is `start + t * step`, t from 0 to `most`; `step` holds three numbers and
    then their inverses.
    """
    a = (bounds[node, 0] - start[0]) * step[3]
    b = (bounds[node, 3] - start[0]) * step[3]
    low, high = max(0.0, min(a, b)), min(most, max(a, b))
    a = (bounds[node, 1] - start[1]) * step[4]
    b = (bounds[node, 4] - start[1]) * step[4]
    low, high = max(low, min(a, b)), min(high, max(a, b))
    a = (bounds[node, 2] - start[2]) * step[5]
    b = (bounds[node, 5] - start[2]) * step[5]
    low, high = max(low, min(a, b)), min(high, max(a, b))
    return low if low <= high else np.inf


@kernel
def triangle_met(corners, t, start, step):
    """Return where a line meets triangle t, and how steeply; infinite where not."""
    x1, y1, z1 = corners[t, 3], corners[t, 4], corners[t, 5]
    x2, y2, z2 = corners[t, 6], corners[t, 7], corners[t, 8]
    px = step[1] * z2 - step[2] * y2
    py = step[2] * x2 - step[0] * z2
    pz = step[0] * y2 - step[1] * x2
    steep = x1 * px + y1 * py + z1 * pz
    if steep == 0.0:
        return np.inf, steep
    sx, sy, sz = (
        start[0] - corners[t, 0],
        start[1] - corners[t, 1],
        start[2] - corners[t, 2],
    )
    u = (sx * px + sy * py + sz * pz) / steep
    if u < -_EDGE or u > 1.0 + _EDGE:
        return np.inf, steep
    qx, qy, qz = sy * z1 - sz * y1, sz * x1 - sx * z1, sx * y1 - sy * x1
    v = (step[0] * qx + step[1] * qy + step[2] * qz) / steep
    if v < -_EDGE or u + v > 1.0 + _EDGE:
        return np.inf, steep
    return (x2 * qx + y2 * qy + z2 * qz) / steep, steep


@kernel
def first_met(tree, state, start, step, most, touched, room, any_will_do):
    """Return the nearest triangle on a line, `CLEAR` where none is.

    Args:
        tree: the `TriangleTree`.
        state: of each part, (k,).
        start: of the line, (3,) [m].
        step: its direction and the inverses of that, (6,).
        most: of the line's parameter, from 0.
        touched: set to true for wild parts that the line meets, (k,).
        room: the `Waiting` nodes.
        any_will_do: whether to return the first one that is found; it is sooner known.
    """
    bounds, other, count = tree.bounds, tree.other, tree.size
    nodes, enters = room.nodes, room.enters
    nodes[0], enters[0] = 0, box_met(bounds, 0, start, step, most)
    waiting = 1 if enters[0] < np.inf else 0
    found, nearest = CLEAR, most
    while waiting > 0:
        waiting -= 1
        node = nodes[waiting]
        if enters[waiting] > nearest:
            continue
        while count[node] == 0:
            first, second = node + 1, other[node]
            a = box_met(bounds, first, start, step, nearest)
            b = box_met(bounds, second, start, step, nearest)
            if b < a:
                first, second, a, b = second, first, b, a
            if b < np.inf:
                nodes[waiting], enters[waiting] = second, b
                waiting += 1
            if a == np.inf:
                break
            node = first
        for t in range(other[node], other[node] + count[node]):
            at, _ = triangle_met(tree.corners, t, start, step)
            if not 0.0 <= at <= nearest:
                continue
            part = tree.part[t]
            if tree.flags[t] & THIN or state[part] == OUT:
                continue
            if state[part] == WILD:
                touched[part] = True
            elif at < nearest or found == CLEAR or tree.source[t] < tree.source[found]:
                found, nearest = t, at
                if any_will_do:
                    return found
    return found


@kernel
def line_of(start, end, step):
    """Fill `step` (6,) with the way from a start to an end and its inverses.

    Returns the length of the way.
    """
    square = 0.0
    for c in range(3):
        step[c] = end[c] - start[c]
        step[3 + c] = 1.0 / step[c] if abs(step[c]) > 1.0 / _NO_STEP else _NO_STEP
        square += step[c] * step[c]
    return np.sqrt(square)


@kernel
def inside_of(tree, state, point, counts):
    """Fill `counts` (k,) with how often each closed part goes round a point.

    A solid whose faces point out counts 1, a room whose faces point in -1.
    """
    counts[:] = 0
    step = np.empty(6)
    # Hardly ever along an edge, as an upright line in a set would be.
    end = np.array([point[0] + 0.123, point[1] + 10.0, point[2] + 0.087])
    line_of(point, end, step)
    stack = np.empty(DEEPEST, np.int64)
    stack[0] = 0
    waiting = 1
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        if box_met(tree.bounds, node, point, step, np.inf) == np.inf:
            continue
        if tree.size[node] == 0:
            stack[waiting], stack[waiting + 1] = node + 1, tree.other[node]
            waiting += 2
            continue
        for t in range(tree.other[node], tree.other[node] + tree.size[node]):
            part = tree.part[t]
            if not tree.flags[t] & CLOSED or state[part] == OUT:
                continue
            at, steep = triangle_met(tree.corners, t, point, step)
            if 0.0 <= at < np.inf:
                # Against the face's normal where the two edges turn as the line goes.
                counts[part] += -1 if steep > 0.0 else 1


@kernel
def met_by_lines(tree, state, starts, ends, any_will_do, part, share):
    """Fill what is nearest on each of n segments: its part, and how far along it is.

    `part` (n,) is `CLEAR`, and `share` (n,) 1, where a segment meets nothing. For
    `any_will_do` see `first_met`.
    """
    step = np.empty(6)
    touched = np.zeros(state.shape[0], np.bool_)
    room = Waiting(np.empty(DEEPEST, np.int64), np.empty(DEEPEST))
    for i in range(starts.shape[0]):
        line_of(starts[i], ends[i], step)
        t = first_met(tree, state, starts[i], step, 1.0, touched, room, any_will_do)
        part[i], share[i] = CLEAR, 1.0
        if t != CLEAR:
            part[i] = tree.part[t]
            share[i], _ = triangle_met(tree.corners, t, starts[i], step)
