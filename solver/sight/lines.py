"""A set in lines: edges that a drawing shows, and sections at a height."""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .set_mesh import SetMesh
from .tree import OUT, SOLID

PIECE_M = 1.5  # of an edge that is seen or hidden as one
SHORT_M = 0.03  # of a line of sight, so that an edge does not hide itself
NEAR_M = 3.0  # within which edges matter alike
_SHORTEST_M = 0.02


def standing(mesh: SetMesh, taken_out: BoolArray) -> SetMesh:
    """Return a set as it stands: what is taken out is gone, wild parts hide as others.

    Args:
        mesh: the set.
        taken_out: parts that are, (k,).
    """
    gone = taken_out | (mesh.state == OUT)
    return mesh.in_state(np.where(gone, OUT, SOLID))


class Pieces(NamedTuple):
    """Pieces of edges: their ends (n, 2, 3) [m], and the `Edges` that they are of."""

    ends: FloatArray
    normals: FloatArray
    smooth: BoolArray

    def of(self, rows: IntArray) -> "Pieces":
        """Return some of them."""
        return Pieces(self.ends[rows], self.normals[rows], self.smooth[rows])


def edge_pieces(mesh: SetMesh, middle: FloatArray, most: int) -> Pieces:
    """Return pieces of the edges of a set, long ones near a place first.

    Args:
        mesh: the set; parts that are out have no edges.
        middle: the place, (3,) [m].
        most: pieces.
    """
    there = mesh.state[mesh.edges.part] != OUT
    edges, _, normals, smooth = (each[there] for each in mesh.edges)
    along = edges[:, 1] - edges[:, 0]
    length = np.linalg.norm(along, axis=1)
    away = np.linalg.norm(_nearest(edges, middle) - middle, axis=1)
    order = np.argsort(-np.round(length / (away + NEAR_M), 6), kind="stable")[:most]
    count = np.maximum(np.ceil(length[order] / PIECE_M), 1).astype(np.int64)
    which = np.repeat(order, count)
    step = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    of = np.repeat(count, count)[:, None]
    start = edges[which, 0] + along[which] * (step[:, None] / of)
    end = edges[which, 0] + along[which] * ((step[:, None] + 1) / of)
    found = Pieces(np.stack([start, end], axis=1), normals[which], smooth[which])
    size = np.linalg.norm(end - start, axis=1)
    away = np.linalg.norm((start + end) / 2 - middle, axis=1)
    worth = np.round(np.sqrt(size) / (away + NEAR_M), 6)
    return found.of(np.argsort(-worth, kind="stable")[:most])


def _nearest(edges: FloatArray, place: FloatArray) -> FloatArray:
    """Return the point of each edge that is nearest to a place, (n, 3) [m]."""
    along = edges[:, 1] - edges[:, 0]
    square = np.maximum(np.einsum("nc,nc->n", along, along), 1e-12)
    share = np.einsum("nc,nc->n", along, place - edges[:, 0]) / square
    nearest: FloatArray = edges[:, 0] + np.clip(share, 0.0, 1.0)[:, None] * along
    return nearest


def pieces_seen(
    mesh: SetMesh, pieces: Pieces, lens: FloatArray, in_frame: BoolArray
) -> BoolArray:
    """Return which pieces are seen from which places, (f, n).

    Args:
        mesh: as it stands.
        pieces: n of them.
        lens: (f, 3) [m].
        in_frame: pieces that the picture may show, (f, n).
    """
    middle = pieces.ends.mean(axis=1)
    toward = lens[:, None] - middle
    turned = np.einsum("fnc,nsc->fns", toward, pieces.normals) > 0.0
    outline = turned[..., 0] != turned[..., 1]
    seen = np.zeros(in_frame.shape, dtype=np.bool_)
    rows, which = np.nonzero(in_frame & (outline | ~pieces.smooth))
    start, end = lens[rows], middle[which]
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
    kept: FloatArray = lines[long]
    return kept
