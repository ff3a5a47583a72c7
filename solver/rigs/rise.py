"""Track on a floor that slopes: its rail rises as the floor below it does."""

import numpy as np

from ..arrays import FloatArray, frozen
from ..sight.footprint import KERB_M, floors_under
from ..sight.set_mesh import SetMesh

STEEPEST = 1 / 8  # rise over run up which a dolly is pushed; common practice, no source
_SAMPLES = 25


def risen(
    mesh: SetMesh, start: FloatArray, end: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the ends of a level rail, raised and lowered where its floor is a ramp.

    The middle keeps its height. The ends stay as they are where the floor is level, or
    near it, is no even slope, or is too steep to push a dolly up.

    Args:
        mesh: the set.
        start: lens at the near end, (3,) [m].
        end: at the far end, (3,) [m].
    """
    share = np.linspace(0.0, 1.0, _SAMPLES)
    floors = floors_under(mesh, start + share[:, None] * (end - start))
    rise = float(floors[-1] - floors[0])
    length = float(np.hypot(end[0] - start[0], end[2] - start[2]))
    off = np.abs(floors - (floors[0] + share * rise)).max()
    if np.isnan(off) or not KERB_M < abs(rise) <= STEEPEST * length or off > KERB_M / 2:
        return start, end
    half = np.array([0.0, round(rise / 2, 3), 0.0])
    return frozen(start - half), frozen(end + half)
