"""A set in lines: edges that a drawing shows, and sections at a height."""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .creases import Edges
from .joined import joined
from .set_mesh import SetMesh
from .tree import OUT, SOLID

MOST_EDGES = 4000
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
    """Pieces of edges: ends (n, 2, 3), middles (n, 3) and lengths (n,) [m].

    The others are of the `Edges` that they are pieces of.
    """

    ends: FloatArray
    middle: FloatArray
    length: FloatArray
    part: IntArray
    normals: FloatArray
    smooth: BoolArray

    def of(self, rows: IntArray) -> "Pieces":
        """Return some of them."""
        return Pieces(
            self.ends[rows],
            self.middle[rows],
            self.length[rows],
            self.part[rows],
            self.normals[rows],
            self.smooth[rows],
        )


def edge_pieces(mesh: SetMesh) -> Pieces:
    """Return pieces of the edges of a set, of the `MOST_EDGES` longest of very many.

    Args:
        mesh: the set; parts that are out have no edges.
    """
    if "pieces" not in mesh.found:
        mesh.found["pieces"] = _pieces_of(mesh.edges)
    pieces: Pieces = mesh.found["pieces"]
    there = mesh.state[pieces.part] != OUT
    return pieces if there.all() else pieces.of(np.flatnonzero(there))


def _pieces_of(edges: Edges) -> Pieces:
    along = edges.ends[:, 1] - edges.ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    longest = np.argsort(-np.round(length, 6), kind="stable")[:MOST_EDGES]
    order = np.sort(longest)
    count = np.maximum(np.ceil(length[order] / PIECE_M - 1e-6), 1).astype(np.int64)
    which = np.repeat(order, count)
    step = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    of = np.repeat(count, count)[:, None]
    start = edges.ends[which, 0] + along[which] * (step[:, None] / of)
    end = edges.ends[which, 0] + along[which] * ((step[:, None] + 1) / of)
    ends = np.stack([start, end], axis=1)
    return Pieces(
        ends,
        *_measured(ends),
        edges.part[which],
        edges.normals[which],
        edges.smooth[which],
    )


def worth_drawing(pieces: Pieces, middle: FloatArray) -> FloatArray:
    """Return what pieces tell of a place, (n,): long ones and near ones tell more.

    Args:
        pieces: n of them.
        middle: the place, (3,) [m].
    """
    return _worth(pieces.middle, pieces.length, middle)


def pieces_seen(
    mesh: SetMesh, pieces: Pieces, lens: FloatArray, shown: BoolArray
) -> BoolArray:
    """Return which pieces are seen from which places, (f, n): nothing hides a middle.

    Args:
        mesh: as it stands.
        pieces: n of them.
        lens: (f, 3) [m].
        shown: pieces that the picture may show, (f, n).
    """
    stands = bool((lens == lens[0]).all())
    asked = np.any(shown, axis=0, keepdims=True) if stands else shown
    seen = np.zeros(asked.shape, dtype=np.bool_)
    rows, which = np.nonzero(asked)
    start, end = lens[rows], pieces.middle[which]
    length = np.maximum(np.linalg.norm(end - start, axis=1), 1e-9)
    share = 1.0 - np.minimum(SHORT_M / length, 1.0)
    stopped = mesh.stops(start, start + (end - start) * share[:, None])
    seen[rows, which] = ~stopped
    return seen & shown


def section(mesh: SetMesh, height: float, middle: FloatArray, most: int) -> FloatArray:
    """Return where a level plane cuts a set, (n, 2, 2) on the ground (x, z) [m].

    Args:
        mesh: the set; parts that are out are not cut.
        height: of the plane [m].
        middle: a place, (3,) [m]; of many lines the long ones near it are returned.
        most: lines.
    """
    name = f"section {height:.6f}"
    if name not in mesh.found:
        mesh.found[name] = _section(mesh.corners, mesh.part, height)
    lines, part = mesh.found[name]
    there = mesh.state[part] != OUT
    lines = lines if there.all() else lines[there]
    if len(lines) > most:
        flat = np.array([middle[0], 0.0, middle[2]])
        worth = _worth(*_measured(lines), flat)
        lines = lines[np.sort(np.argsort(-worth, kind="stable")[:most])]
    kept: FloatArray = lines[:, :, [0, 2]]
    return kept


def _measured(lines: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return middles (n, 3) and lengths (n,) of lines [m]."""
    along = lines[:, 1] - lines[:, 0]
    return lines[:, 0] + along / 2, np.sqrt(np.einsum("nc,nc->n", along, along))


def _worth(middle: FloatArray, length: FloatArray, place: FloatArray) -> FloatArray:
    """Return what lines tell of a place, (n,): long ones and near ones tell more."""
    off = middle - place
    away = np.sqrt(np.einsum("nc,nc->n", off, off))
    worth: FloatArray = np.round(np.sqrt(length) / (away + NEAR_M), 6)
    return worth


def _section(
    corners: FloatArray, part: IntArray, height: float
) -> tuple[FloatArray, IntArray]:
    """Return lines (n, 2, 3) at height 0 in which a level plane cuts triangles.

    Lines of one part that go on in one another are one. Their parts come second.
    """
    above = corners[:, :, 1] > height
    many = above.sum(axis=1)
    cut = np.flatnonzero((many > 0) & (many < 3))
    corners, above, part = corners[cut], above[cut], part[cut]
    # The corner that is alone on its side, and the two others.
    alone = np.where(many[cut] == 1, above.argmax(axis=1), above.argmin(axis=1))
    rows = np.arange(len(corners))
    tip = corners[rows, alone]
    ends = []
    for step in (1, 2):
        other = corners[rows, (alone + step) % 3]
        share = (height - tip[:, 1]) / (other[:, 1] - tip[:, 1])
        ends.append((tip + share[:, None] * (other - tip)) * [1.0, 0.0, 1.0])
    lines = np.stack(ends, axis=1)
    there = np.flatnonzero(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) > 0.0)
    lines, row = joined(lines[there], part[there])
    long = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) > _SHORTEST_M
    return lines[long], part[there][row][long]
