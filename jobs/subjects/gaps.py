"""Gaps: where a subject was not measured, the samples that stand for it."""

import numpy as np
from numpy.typing import NDArray

from ...solver.arrays import BoolArray, FloatArray
from .samples import LATE_STEPS, Samples
from .source import MAX_ROWS


def n_missing(samples: Samples) -> int:
    """Return how many samples `fill_gaps` would add."""
    return int(_missing(samples).sum())


def fill_gaps(samples: Samples) -> Samples:
    """Return samples without a gap or NaN point; what was filled is not visible.

    Points are interpolated linearly over a gap, and held after the last one known.
    Facing stays unknown there.
    """
    missing = _missing(samples)
    if not missing.any() and _is_known(samples):
        return samples
    frames = samples.frames
    starts = np.repeat(np.arange(len(missing)), missing)
    place = np.arange(len(starts)) - np.repeat(np.cumsum(missing) - missing, missing)
    share = (place + 1.0) / (missing[starts] + 1.0)
    added = frames[starts] + share * (frames[starts + 1] - frames[starts])
    if samples.locked:
        added = np.rint(added)
    full = np.concatenate([frames, added])
    order = np.argsort(full, kind="stable")
    full = full[order]
    hidden = np.zeros(len(added), dtype=np.bool_)
    unknown = np.full(len(added), np.nan)
    return Samples(
        frames=full,
        points=_filled(full, frames, samples.points),
        head=None if samples.head is None else _filled(full, frames, samples.head),
        facing_rad=np.concatenate([samples.facing_rad, unknown])[order],
        visible=np.concatenate([samples.visible, hidden])[order],
        step_frames=samples.step_frames,
        locked=samples.locked,
    )


def _is_known(samples: Samples) -> bool:
    """Tell whether every sample has its points."""
    head = samples.head
    known = np.isfinite(samples.points).all()
    return bool(known and (head is None or np.isfinite(head).all()))


def _missing(samples: Samples) -> NDArray[np.int64]:
    """Samples missing after each sample but the last."""
    steps = np.diff(samples.frames) / samples.step_frames
    late = steps > LATE_STEPS
    if not late.any():
        return np.zeros(len(steps), dtype=np.int64)
    counts = np.where(late, np.rint(steps) - 1.0, 0.0)
    return np.minimum(counts, 2.0 * MAX_ROWS).astype(np.int64)


def _filled(full: FloatArray, frames: FloatArray, points: FloatArray) -> FloatArray:
    known: BoolArray = np.all(np.isfinite(points), axis=1)
    columns = [np.interp(full, frames[known], column[known]) for column in points.T]
    return np.column_stack(columns)
