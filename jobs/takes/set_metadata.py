"""What a take says of its set: whom it hides, and lines enough to draw it.

Numbers are base64 of little-endian 32-bit floats, metres with Y up; of what is seen a
bit a piece, the first in the highest bit of the first byte.
"""

from base64 import b64encode
from typing import Any

import numpy as np

from ...solver.arrays import BoolArray, FloatArray, IntArray
from ...solver.frame.projection import project
from ...solver.measures.on_stage import taken_out
from ...solver.sight.lines import edge_pieces, pieces_seen, section, standing
from ...solver.take import Take

MOST_PIECES = 320  # of edges that are drawn
MOST_LOOKED_AT = 1000
EVERY = 12  # frames between those for which it is known what is seen
WALLS_M, LOW_M = 1.2, 0.3  # heights of the sections of a plan
_BESIDE = 1.3  # half frames, in which a piece may be seen


def set_metadata(take: Take) -> dict[str, Any]:
    """Return what a take says of its set, nothing without one.

    `hidden` is the share of each person's points in the picture that something hides,
    over the frames of the cut; `edges` are pieces of edges, two points each; `seen`
    says which of them the camera sees from frame `first` on, every `every` frames;
    `walls` and `low` are sections on the ground, two points (x, z) each.
    """
    mesh, seen = take.shot.stage.set, take.sighted
    if mesh is None or seen is None:
        return {}
    gone = taken_out(take)
    out = np.array([name in gone for name in mesh.names], dtype=np.bool_)
    stood = standing(mesh, out)
    rows = np.flatnonzero(take.sub == 0)
    keys = rows[::EVERY]
    people = take.shot.subjects
    middle = np.mean([one.at(take.times_s[keys], 1.0) for one in people], axis=(0, 1))
    pieces = edge_pieces(stood, middle, MOST_LOOKED_AT)
    in_frame = _in_frame(take, pieces.ends, keys)
    kept = _most_worth(in_frame, MOST_PIECES)
    pieces, in_frame = pieces.of(kept), in_frame[:, kept]
    shown = pieces_seen(stood, pieces, take.base[keys], in_frame)
    cut = ~take.handle
    share = seen.share_hidden[:, cut].mean(axis=1)
    ground = take.shot.stage.ground_m
    return {
        "hidden": {
            one.name: round(float(value), 4)
            for one, value in zip(people, share, strict=True)
        },
        **({"taken_out": list(gone)} if gone else {}),
        "edges": _packed(pieces.ends),
        "first": int(take.frame[rows[0]]),
        "every": EVERY,
        "seen": [_bits(row) for row in shown],
        "walls": _packed(section(stood, ground + WALLS_M)),
        "low": _packed(section(stood, ground + LOW_M)),
    }


def _most_worth(in_frame: BoolArray, most: int) -> IntArray:
    """Return the pieces to draw, the first of each picture, as many for one as another.

    Args:
        in_frame: pieces that each picture may show, (f, n), the best first.
        most: pieces.
    """
    place = np.where(in_frame, np.cumsum(in_frame, axis=1), in_frame.shape[1] + 1)
    best = place.min(axis=0)
    order = np.argsort(best, kind="stable")
    shown = order[best[order] <= in_frame.shape[1]]
    return np.sort(shown[:most])


def _in_frame(take: Take, pieces: FloatArray, keys: Any) -> BoolArray:
    """Return which pieces the picture may show at key samples, (f, n)."""
    tx, ty = take.shot.tangents
    frames = np.repeat(np.arange(len(keys)), len(pieces))
    rows = keys[frames]
    shown = np.zeros(len(frames), dtype=np.bool_)
    for end in (0, 1):
        points = np.tile(pieces[:, end], (len(keys), 1))
        u, v, _ = project(
            points,
            take.base[rows],
            take.pan[rows, 0],
            take.tilt[rows, 0],
            take.shot.roll_rad,
            tx,
            ty,
        )
        v = v + take.shot.gate.axis_v
        shown |= (np.abs(u) <= _BESIDE) & (np.abs(v) <= _BESIDE)
    return shown.reshape(len(keys), len(pieces))


def _packed(values: FloatArray) -> str:
    return b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()


def _bits(row: BoolArray) -> str:
    return b64encode(np.packbits(row).tobytes()).decode()
