"""What a take says of its set: whom it hides, and lines enough to draw it.

Numbers are base64 of little-endian 32-bit floats, metres with Y up; of what is seen a
bit a piece, the first in the highest bit of the first byte.
"""

from base64 import b64encode
from typing import Any

import numpy as np

from ...solver.arrays import BoolArray, FloatArray, IntArray
from ...solver.frame.edges_shown import pieces_shown
from ...solver.frame.projection import Screen
from ...solver.frame.sight import SightCamera
from ...solver.measures.on_stage import taken_out
from ...solver.sight.lines import (
    Pieces,
    best,
    edge_pieces,
    pieces_seen,
    section,
    standing,
    worth_drawing,
)
from ...solver.take import Take

MOST_PIECES = 240  # of edges that are drawn
MOST_RANKED = 1200  # of them that are weighed for each picture
MOST_CUT = 800  # lines of a section
EVERY = 12  # frames between those for which it is known what is seen
WALLS_M, LOW_M = 1.2, 0.3  # heights of the sections of a plan


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
    pieces = edge_pieces(stood)
    may_show = pieces_shown(pieces, _camera(take, keys))
    kept = _most_worth(may_show, pieces, middle)
    pieces = pieces.of(kept)
    shown = pieces_seen(stood, pieces, take.base[keys], may_show[:, kept])
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
        "walls": _packed(section(stood, ground + WALLS_M, middle, MOST_CUT)),
        "low": _packed(section(stood, ground + LOW_M, middle, MOST_CUT)),
    }


def _most_worth(shown: BoolArray, pieces: Pieces, middle: FloatArray) -> IntArray:
    """Return the `MOST_PIECES` to draw: the best of each picture, of each as many.

    Args:
        shown: pieces that each picture may show, (f, n).
        pieces: n of them.
        middle: of the action, (3,) [m].
    """
    there = np.flatnonzero(shown.any(axis=0))
    worth = worth_drawing(pieces, middle, there)
    kept = best(worth, MOST_RANKED)
    there = there[kept[np.argsort(-worth[kept], kind="stable")]]
    shown = shown[:, there]
    place = np.where(shown, np.cumsum(shown, axis=1), shown.shape[1] + 1)
    order = np.argsort(place.min(axis=0, initial=len(there)), kind="stable")
    return there[np.sort(order[:MOST_PIECES])]


def _camera(take: Take, keys: IntArray) -> SightCamera:
    """Return the camera of a take, before its shake, at key samples."""
    tx, ty = take.shot.tangents
    cams = np.column_stack([take.base, take.pan[:, 0], take.tilt[:, 0]])[keys]
    screen = Screen(tx, ty, take.shot.gate.axis_v)
    return SightCamera(cams, take.shot.roll_rad, screen)


def _packed(values: FloatArray) -> str:
    return b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()


def _bits(row: BoolArray) -> str:
    return b64encode(np.packbits(row).tobytes()).decode()
