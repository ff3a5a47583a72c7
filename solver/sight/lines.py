"""A set in lines: edges that a drawing shows, and sections at a height."""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .creases import Edges
from .joined import joined
from .set_mesh import SetMesh
from .tree import OUT, SOLID

MOST_EDGES = 4000
BALL = 16  # pieces that are looked at together
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

    `balls` (m, 4) are a middle and a radius [m] that hold `BALL` pieces each, in order.
    The others are of the `Edges` that they are pieces of.
    """

    ends: FloatArray
    middle: FloatArray
    length: FloatArray
    balls: FloatArray
    part: IntArray
    normals: FloatArray
    smooth: BoolArray

    def of(self, rows: IntArray) -> "Pieces":
        """Return some of them."""
        middle, length = self.middle[rows], self.length[rows]
        return Pieces(
            self.ends[rows],
            middle,
            length,
            _balls(middle, length),
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
    far = np.linalg.norm(along, axis=1)
    longest = np.argsort(-np.round(far, 6), kind="stable")[:MOST_EDGES]
    order = np.sort(longest)
    count = np.maximum(np.ceil(far[order] / PIECE_M - 1e-6), 1).astype(np.int64)
    which = np.repeat(order, count)
    step = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    of = np.repeat(count, count)[:, None]
    start = edges.ends[which, 0] + along[which] * (step[:, None] / of)
    end = edges.ends[which, 0] + along[which] * ((step[:, None] + 1) / of)
    ends = np.stack([start, end], axis=1)
    middle, length = _measured(ends)
    return Pieces(
        ends,
        middle,
        length,
        _balls(middle, length),
        edges.part[which],
        edges.normals[which],
        edges.smooth[which],
    )


def _balls(middle: FloatArray, length: FloatArray) -> FloatArray:
    """Return balls that hold `BALL` pieces each, see `Pieces`."""
    n = len(middle)
    count = -(-n // BALL)
    rows = np.minimum(np.arange(count * BALL), n - 1).reshape(count, BALL)
    held = middle[rows]
    low, high = held.min(axis=1), held.max(axis=1)
    balls = np.empty((count, 4))
    balls[:, :3] = (low + high) / 2
    off = np.linalg.norm(held - balls[:, None, :3], axis=2)
    balls[:, 3] = (off + length[rows] / 2).max(axis=1)
    return balls


def worth_drawing(pieces: Pieces, middle: FloatArray, rows: IntArray) -> FloatArray:
    """Return what pieces tell of a place, (n,): long ones and near ones tell more.

    Args:
        pieces: any number.
        middle: the place, (3,) [m].
        rows: of the pieces that are asked for, (n,).
    """
    return _worth(pieces.middle[rows], pieces.length[rows], middle)


def pieces_seen(
    mesh: SetMesh, pieces: Pieces, lens: FloatArray, shown: BoolArray
) -> BoolArray:
    """Return which pieces are seen from which places, (f, n): nothing hides a middle.

    Every second place is looked from first; where both neighbours of one between agree
    it agrees with them.

    Args:
        mesh: as it stands.
        pieces: n of them.
        lens: (f, 3) [m].
        shown: pieces that the picture may show, (f, n).
    """
    seen = np.zeros(shown.shape, dtype=np.bool_)
    if (lens == lens[0]).all():
        asked = np.any(shown, axis=0, keepdims=True)
        _look(mesh, pieces, lens, asked, seen[:1])
        return np.broadcast_to(seen[:1], shown.shape) & shown
    between = np.zeros(len(lens), dtype=np.bool_)
    between[1:-1:2] = True
    _look(mesh, pieces, lens, shown & ~between[:, None], seen)
    one, two = slice(None, -2, 2), slice(2, None, 2)
    alike = shown[one] & shown[two] & (seen[one] == seen[two])
    seen[1:-1:2] = shown[1:-1:2] & alike & seen[one]
    unknown = np.zeros(shown.shape, dtype=np.bool_)
    unknown[1:-1:2] = shown[1:-1:2] & ~alike
    _look(mesh, pieces, lens, unknown, seen)
    return seen


def _look(
    mesh: SetMesh,
    pieces: Pieces,
    lens: FloatArray,
    asked: BoolArray,
    seen: BoolArray,
) -> None:
    """Fill `seen` (f, n) where it is asked for, by a line to the middle of a piece."""
    rows, which = np.nonzero(asked)
    start, end = lens[rows], pieces.middle[which]
    length = np.maximum(np.linalg.norm(end - start, axis=1), 1e-9)
    share = 1.0 - np.minimum(SHORT_M / length, 1.0)
    stopped = mesh.stops(start, start + (end - start) * share[:, None])
    seen[rows, which] = ~stopped


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
        cut, part = _section(mesh.corners, mesh.part, height)
        mesh.found[name] = (cut, *_measured(cut), part)
    lines, middles, lengths, part = mesh.found[name]
    there = mesh.state[part] != OUT
    if not there.all():
        lines, middles, lengths = lines[there], middles[there], lengths[there]
    if len(lines) > most:
        flat = np.array([middle[0], 0.0, middle[2]])
        worth = _worth(middles, lengths, flat)
        lines = lines[best(worth, most)]
    kept: FloatArray = lines[:, :, [0, 2]]
    return kept


def best(worth: FloatArray, most: int) -> IntArray:
    """Return the rows of the greatest numbers (n,), at most so many, in their order.

    Of equal ones the first are taken.
    """
    if len(worth) <= most:
        return np.arange(len(worth))
    least = np.partition(worth, len(worth) - most)[len(worth) - most]
    over = worth > least
    equal = np.flatnonzero(worth == least)[: most - int(over.sum())]
    over[equal] = True
    return np.flatnonzero(over)


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
