"""The claim on a place or prop: shows."""

import numpy as np

from ..action.claim import Claim, ClaimOutcome, Point, runs_of
from ..arrays import BoolArray, FloatArray
from ..stage.stage import hidden_by
from .everyone import FrameTable, points_in_frame

HALF = 0.5
"""Least share of a box that is in frame where it is shown."""
_GRID = np.linspace(0.0, 1.0, 3)


def shows(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure how long a named point or box is in the picture.

    A box is in the picture where at least half of it is in frame (of a grid of 27
    points) and no other keep-out stands before its middle. The number is the longest
    stretch [s].
    """
    assert claim.box is not None
    blocking, least = table.blocking, claim.limit("hold_s")
    share = np.empty(len(blocking.frame))
    points_in_frame(_points(claim.box), table.camera, share)
    seen = (share >= HALF - 1e-9) & ~_hidden(claim, table)
    runs = runs_of(seen)
    longest = max(runs, key=lambda run: run[1] - run[0], default=None)
    seconds = 0.0 if longest is None else (longest[1] - longest[0]) / blocking.rate
    held = seconds >= least - 1e-9
    why = "" if held else "too_brief"
    if longest is None:
        why = "never_shown" if share.max(initial=0.0) < HALF else "hidden"
    return ClaimOutcome(
        claim=claim,
        held=held,
        number=seconds,
        limit=least,
        at=None if longest is None else int(blocking.frame[longest[0]]),
        short=0.0 if held else 1.0 - seconds / least,
        why=why,
    )


def _points(box: tuple[Point, Point]) -> FloatArray:
    """Return a grid of points of a box, (27, 3), or the one point, (1, 3) [m]."""
    low, high = np.array(box)
    if np.array_equal(low, high):
        return np.array([low])
    grid = np.stack(np.meshgrid(_GRID, _GRID, _GRID, indexing="ij"), axis=-1)
    return np.asarray(low + grid.reshape(-1, 3) * (high - low))


def _hidden(claim: Claim, table: FrameTable) -> BoolArray:
    """Return the frames in which a keep-out stands before the middle, (n,)."""
    names = table.stage.names
    others = [k for k, name in enumerate(names) if name != claim.who[0]]
    if not others:
        return np.zeros(len(table.blocking.frame), dtype=np.bool_)
    middle = np.mean(np.array(claim.box), axis=0)
    target = np.tile(middle, (len(table.blocking.frame), 1))
    hits = hidden_by(table.stage, table.lens, target)[:, others]
    return np.asarray(np.any(hits, axis=1))
