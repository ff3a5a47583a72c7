"""Claims on what the camera does: closes_in, draws_back, still.

The distance to somebody changes with the camera's move and with their own. The
camera's part is the mean, of logarithms, of what its move does to the distance of
where they were at first and of where they are at last: 1 for a dolly that keeps
abreast, the whole change where they stand. Our derivation.
"""

from math import dist

import numpy as np

from ..action.claim import Claim, ClaimOutcome
from ..arrays import FloatArray
from ..elementary.arrays import sines_cosines
from ..elementary.exponential import exp, log
from .everyone import FrameTable

HALF_2K = 1024.0  # pixels from the middle to the side of a picture 2048 wide
_NEAR_M = 1e-6


def closes_in(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure by how much the camera's own move brings somebody nearer.

    The number is the factor by which it divides the distance; it has to reach `ratio`,
    and they have to be no further off at the end than at the start.
    """
    own, whole = _nearer(claim, table)
    return _moved(claim, own, whole)


def draws_back(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure by how much the camera's own move takes it from somebody.

    The reverse of `closes_in`: the factor by which the distance is multiplied.
    """
    own, whole = _nearer(claim, table)
    return _moved(claim, 1.0 / own, 1.0 / whole)


def _moved(claim: Claim, own: float, whole: float) -> ClaimOutcome:
    ratio = claim.limit("ratio")
    enough, either = own >= ratio - 1e-9, whole >= 1.0 - 1e-9
    why = "" if enough else "camera"
    if enough and not either:
        why = "person"
    reach = max(log(max(own, 1.0)) / log(ratio), 0.0)
    return ClaimOutcome(
        claim=claim,
        held=enough and either,
        number=own,
        limit=ratio,
        short=0.0 if enough and either else min(1.0, max(1.0 - reach, 0.1)),
        why=why,
    )


def _nearer(claim: Claim, table: FrameTable) -> tuple[float, float]:
    """Return by what the camera alone divides the distance, and all together."""
    eyes = table.blocking.eyes[table.blocking.of(claim.who[0])]
    lens = table.lens

    def far(at: int, of: int) -> float:
        return max(dist(lens[at], eyes[of]), _NEAR_M)

    own = log(far(0, 0) / far(-1, 0)) + log(far(0, -1) / far(-1, -1))
    return exp(own / 2), far(0, 0) / far(-1, -1)


def still(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure how far the picture moves by pan, tilt and dolly, without the shake.

    The number is the furthest that any of them takes a point from where it began: at
    the middle of the frame for pan and tilt, at the nearest person for the dolly, in
    pixels of a picture 2048 wide. It must not exceed `pixels`.
    """
    cams, limit = table.camera.cams, claim.limit("pixels")
    tan_u = table.camera.screen.tx
    turned = np.minimum(np.abs(cams[:, 3:5] - cams[0, 3:5]), 1.5)
    turns = np.divide(*sines_cosines(turned))
    moved = np.linalg.norm(cams[:, :3] - cams[0, :3], axis=1) / _nearest(table)
    most = float(max(turns.max(), moved.max())) / tan_u * HALF_2K
    held = most <= limit
    return ClaimOutcome(
        claim=claim,
        held=held,
        number=most,
        limit=limit,
        short=0.0 if held else 1.0 - limit / most,
    )


def _nearest(table: FrameTable) -> FloatArray:
    """Return the distance of the nearest person at each frame, (n,) [m]."""
    off = np.linalg.norm(table.blocking.eyes - table.lens, axis=2)
    nearest: FloatArray = np.maximum(off.min(axis=0), _NEAR_M)
    return nearest
