"""A set in lines: edges that a drawing shows, and sections at a height."""

import numpy as np

from ..arrays import BoolArray, FloatArray
from .set_mesh import SetMesh
from .tree import OUT, SOLID

PIECE_M = 1.5  # of an edge that is seen or hidden as one
SHORT_M = 0.03  # of a line of sight, so that an edge does not hide itself
_SHORTEST_M = 0.02


def standing(mesh: SetMesh, taken_out: BoolArray) -> SetMesh:
    """Return a set as it stands: what is taken out is gone, wild parts hide as others.

    Args:
        mesh: the set.
        taken_out: parts that are, (k,).
    """
    gone = taken_out | (mesh.state == OUT)
    return mesh.in_state(np.where(gone, OUT, SOLID))


def edge_pieces(mesh: SetMesh, middle: FloatArray, most: int) -> FloatArray:
    """Return pieces of the edges of a set, (n, 2, 3) [m], those that matter most.

    An edge is where a surface ends or turns. Long edges near a place come first.

    Args:
        mesh: the set; parts that are out have no edges.
        middle: the place, (3,) [m].
        most: pieces.
    """
    edges = mesh.edges[mesh.state[mesh.edge_parts] != OUT]
    if not len(edges):
        return np.empty((0, 2, 3))
    along = edges[:, 1] - edges[:, 0]
    length = np.linalg.norm(along, axis=1)
    off = middle - edges[:, 0]
    square = np.maximum(length**2, 1e-12)
    share = np.clip(np.einsum("nc,nc->n", off, along) / square, 0.0, 1.0)
    away = np.linalg.norm(off - share[:, None] * along, axis=1)
    worth = np.round(length / (away + 2.0), 6)
    order = np.argsort(-worth, kind="stable")
    count = np.maximum(np.ceil(length[order] / PIECE_M), 1).astype(np.int64)
    kept = int(np.searchsorted(np.cumsum(count), most, side="right"))
    order, count = order[:kept], count[:kept]
    which = np.repeat(order, count)
    step = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    of = np.repeat(count, count)[:, None]
    start = edges[which, 0] + along[which] * (step[:, None] / of)
    end = edges[which, 0] + along[which] * ((step[:, None] + 1) / of)
    return np.stack([start, end], axis=1)


def pieces_seen(
    mesh: SetMesh, pieces: FloatArray, lens: FloatArray, in_frame: BoolArray
) -> BoolArray:
    """Return which pieces are seen from which places, (f, n).

    Args:
        mesh: as it stands.
        pieces: (n, 2, 3) [m].
        lens: (f, 3) [m].
        in_frame: pieces that the picture may show, (f, n).
    """
    seen = np.zeros(in_frame.shape, dtype=np.bool_)
    rows, which = np.nonzero(in_frame)
    start, end = lens[rows], pieces[which].mean(axis=1)
    length = np.maximum(np.linalg.norm(end - start, axis=1), 1e-9)
    share = 1.0 - np.minimum(SHORT_M / length, 1.0)
    met = mesh.met(start, start + (end - start) * share[:, None])
    seen[rows, which] = met < 0
    return seen


def section(mesh: SetMesh, height: float) -> FloatArray:
    """Return where a level plane cuts a set, (n, 2, 2) on the ground (x, z) [m].

    Args:
        mesh: the set; parts that are out are not cut.
        height: of the plane [m].
    """
    corners = mesh.corners[mesh.state[mesh.part] != OUT]
    above = corners[:, :, 1] > height
    cut = above.any(axis=1) & ~above.all(axis=1)
    corners, above = corners[cut], above[cut]
    # The corner that is alone on its side, and the two others.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
    rows = np.arange(len(corners))
    tip = corners[rows, alone]
    ends = []
    for step in (1, 2):
        other = corners[rows, (alone + step) % 3]
        share = (height - tip[:, 1]) / (other[:, 1] - tip[:, 1])
        point = tip + share[:, None] * (other - tip)
        ends.append(point[:, [0, 2]])
    lines = np.stack(ends, axis=1)
    long = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) > _SHORTEST_M
    return lines[long]
