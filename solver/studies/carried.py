"""A camera that its subject carries: its place is the body's, gait included.

A dolly beside a subject keeps its place too, but on its rail: whoever carries a camera
takes it off every rail, by the step and in every turn.
"""

import numpy as np

from ..arrays import FloatArray
from .camera import CameraMove, smoothed
from .path import StudiedPath

LEAST_TRAVEL_M = 0.5  # of the subject; beside one who stands, nothing is carried
KEPT_M = 0.05  # r.m.s. by which the offset may change
SHARE = 0.25  # of what a line leaves of the path
SMOOTH_S = 0.5


def carried(camera: CameraMove, path: StudiedPath, points: FloatArray) -> float | None:
    """Return by how much a camera's offset from its subject changes, r.m.s. [m].

    Args:
        camera: what was moved.
        path: of its lens.
        points: of the body, at its samples, (n, 3) [m].

    Returns:
        None where the subject does not carry it, or hardly moves.
    """
    if float(np.ptp(points, axis=0).max()) < LEAST_TRAVEL_M:
        return None
    kept = _rms(camera.place - points)
    smooth = smoothed(camera.place.T, SMOOTH_S * camera.rate_hz).T
    off_line = np.hypot(path.left["line"], _rms(camera.place - smooth))
    if path.kind == "point" or kept > min(KEPT_M, SHARE * off_line):
        return None
    return kept


def _rms(offsets: FloatArray) -> float:
    off = offsets - offsets.mean(axis=0)
    return float(np.sqrt((off**2).sum(axis=1).mean()))
