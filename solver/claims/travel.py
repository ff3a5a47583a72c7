"""Claims on where somebody goes as the lens sees it: toward, away, crosses.

Measured in the frames that show somebody who moves: the level angle between their
travel and the sight line from them to the lens.
"""

from math import pi, radians

import numpy as np

from ..action.claim import Claim, ClaimOutcome
from ..arrays import BoolArray, FloatArray
from ..elementary.arrays import arctangents, lengths
from .everyone import FrameTable
from .heads import of_frames

MOVING_M_S = 0.5
_SMOOTH_S = 0.35  # over which a velocity is read


def toward(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames in which somebody travels toward the lens."""
    angle, counts = _angle(claim, table)
    return of_frames(claim, table, angle <= radians(claim.limit("degrees")), counts)


def away(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames in which somebody travels away from the lens."""
    angle, counts = _angle(claim, table)
    off = pi - angle
    return of_frames(claim, table, off <= radians(claim.limit("degrees")), counts)


def crosses(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames in which somebody travels across the sight line."""
    angle, counts = _angle(claim, table)
    off = np.abs(angle - pi / 2)
    return of_frames(claim, table, off <= radians(claim.limit("degrees")), counts)


def _angle(claim: Claim, table: FrameTable) -> tuple[FloatArray, BoolArray]:
    """Return the angle of travel off the way to the lens, and where it counts, (n,)."""
    one = table.blocking.of(claim.who[0])
    floor, rate = table.blocking.floor[one], table.blocking.rate
    reach = max(1, round(_SMOOTH_S * rate / 2))
    at = np.arange(len(floor))
    before, after = np.maximum(at - reach, 0), np.minimum(at + reach, len(at) - 1)
    span = np.maximum(after - before, 1) / rate
    speed = (floor[after] - floor[before])[:, [0, 2]] / span[:, None]
    sight = (table.lens - floor)[:, [0, 2]]
    turned = speed[:, 0] * sight[:, 1] - speed[:, 1] * sight[:, 0]
    angle: FloatArray = np.abs(arctangents(turned, (speed * sight).sum(axis=1)))
    moving = lengths(speed[:, 0], speed[:, 1]) >= MOVING_M_S
    return angle, moving & table.shown[one]
