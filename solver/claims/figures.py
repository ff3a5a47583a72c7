"""Claims on how large and how high somebody stands: looms, small."""

from math import radians

import numpy as np

from ..action.claim import Claim, ClaimOutcome
from ..arrays import FloatArray
from ..elementary.arrays import arctangents, lengths
from .everyone import FrameTable
from .heads import of_frames


def looms(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames in which somebody looms, over another where one is named.

    Where the one is shown, the lens is under their eye line by at least `degrees`.
    Where only the other is shown, it is over the other's by as much. Where both are,
    the one's crown is also the higher on screen, and their figure at least `ratio`
    times the other's. Frames that show neither do not count.
    """
    rise, shown = _rise(table), table.shown
    least = radians(claim.limit("degrees"))
    one = table.blocking.of(claim.who[0])
    under = rise[one] <= -least
    if claim.over is None:
        return of_frames(claim, table, under, shown[one])
    other = table.blocking.of(claim.over)
    over = rise[other] >= least
    with np.errstate(invalid="ignore"):
        larger = table.figure[one] >= claim.limit("ratio") * table.figure[other]
    higher = table.crown_v[one] > table.crown_v[other]
    both = shown[one] & shown[other]
    holds = np.where(
        both, under & larger & higher, np.where(shown[one], under, over)
    ).astype(np.bool_)
    return of_frames(claim, table, holds, shown[one] | shown[other])


def small(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames that show somebody no taller than `figure` of the frame."""
    one = table.blocking.of(claim.who[0])
    with np.errstate(invalid="ignore"):
        holds = table.shown[one] & (table.figure[one] <= claim.limit("figure"))
    return of_frames(claim, table, holds)


def _rise(table: FrameTable) -> FloatArray:
    """Return the angle of the lens over everybody's eyes, (p, n) [rad]."""
    off = table.lens - table.blocking.eyes
    return arctangents(off[..., 1], lengths(off[..., 0], off[..., 2]))
