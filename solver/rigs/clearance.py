"""Where the lens can be along a rail, and how far that is from where anyone walks."""

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from .rig import rig_place
from .shape import Rig

RAIL_SAMPLES = 25
MOST_SAMPLES = 400  # of laid track
ALMOST_M = 1e-9  # of track that is none
WALKED_EVERY = 4  # samples of a path
_STEPS = np.arange(RAIL_SAMPLES, dtype=np.float64)


def rail_places(rig: Rig) -> FloatArray:
    """Return lens places along a whole rail, (k, 3) [m]; one for sticks."""
    length = rig.length_m
    if length == 0.0:
        return rig.shape.origin[None]
    s = _STEPS * (length / (RAIL_SAMPLES - 1))
    s[-1] = length
    return rig.places(s)


def laid_places(rig: Rig, low: float, high: float) -> FloatArray:
    """Return lens places along a rail and what track is laid beyond it, (k, 3) [m].

    Args:
        rig: with its rail; sticks have one place.
        low: near end of the track, as a position along the rail [m].
        high: far end [m].
    """
    length = rig.length_m
    low, high = min(low, 0.0), max(high, length)
    if length == 0.0 or high - low - length < ALMOST_M:
        return rail_places(rig)
    count = int(np.ceil((RAIL_SAMPLES - 1) * (high - low) / length)) + 1
    return rig.places(np.linspace(low, high, min(count, MOST_SAMPLES)))


@kernel
def rail_samples(rig):
    """Return lens places along a whole rail, (RAIL_SAMPLES, 3) [m]; one for sticks."""
    n = RAIL_SAMPLES if rig.length > 0.0 else 1
    places = np.empty((n, 3))
    for k in range(n):
        s = rig.length if 0 < k == n - 1 else k * (rig.length / (RAIL_SAMPLES - 1))
        places[k, 0], places[k, 1], places[k, 2] = rig_place(rig, s)
    return places


@kernel
def rail_gap(rig, bodies):
    """Return the least distance on the ground of a rail from where anyone walks [m].

    `bodies` are feet and crowns, (n_subjects, 2, n, 3) [m]; every fourth foot is read.
    """
    rail = rail_samples(rig)
    least = np.inf
    for k in range(max(rail.shape[0] - 1, 1)):
        x, z = rail[k, 0], rail[k, 2]
        end = min(k + 1, rail.shape[0] - 1)
        along_x, along_z = rail[end, 0] - x, rail[end, 2] - z
        square = max(along_x * along_x + along_z * along_z, 1e-12)
        for i in range(bodies.shape[0]):
            for j in range(0, bodies.shape[2], WALKED_EVERY):
                dx, dz = bodies[i, 0, j, 0] - x, bodies[i, 0, j, 2] - z
                share = (dx * along_x + dz * along_z) / square
                share = min(max(share, 0.0), 1.0)
                off_x, off_z = dx - share * along_x, dz - share * along_z
                least = min(least, off_x * off_x + off_z * off_z)
    return np.sqrt(least)
