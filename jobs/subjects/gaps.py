"""Gaps: where a subject was not measured, the samples that stand for it."""

import numpy as np
from numpy.typing import NDArray

from ...solver.arrays import BoolArray, FloatArray
from .samples import LATE_STEPS, SubjectSamples
from .source import MAX_ROWS

EDGE_STEPS = 0.5  # of a step; nearer to the frames asked for a sample serves for them


def n_missing(samples: SubjectSamples) -> int:
    """Return how many samples `fill_gaps` would add."""
    return int(_missing(samples).sum())


def fill_gaps(samples: SubjectSamples) -> SubjectSamples:
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
    return SubjectSamples(
        frames=full,
        points=_filled(full, frames, samples.points),
        head=None if samples.head is None else _filled(full, frames, samples.head),
        facing_rad=np.concatenate([samples.facing_rad, unknown])[order],
        visible=np.concatenate([samples.visible, hidden])[order],
        step_frames=samples.step_frames,
        locked=samples.locked,
    )


def cover(samples: SubjectSamples, first_frame: int, last_frame: int) -> SubjectSamples:
    """Return samples that reach both ends of the frames asked for.

    Before the first sample and after the last the subject stays where it was, and
    nobody sees it. Samples that reach as far are returned as they are.
    """
    frames, step = samples.frames, samples.step_frames
    before = int(np.ceil((frames[0] - first_frame) / step - EDGE_STEPS))
    after = int(np.ceil((last_frame - frames[-1]) / step - EDGE_STEPS))
    before, after = max(before, 0), max(after, 0)
    if before == after == 0:
        return samples

    def held(points: FloatArray) -> FloatArray:
        return np.pad(points, ((before, after), (0, 0)), mode="edge")

    start = frames[0] - step * np.arange(before, 0, -1)
    end = frames[-1] + step * np.arange(1, after + 1)
    return SubjectSamples(
        frames=np.concatenate([start, frames, end]),
        points=held(samples.points),
        head=None if samples.head is None else held(samples.head),
        facing_rad=np.pad(samples.facing_rad, (before, after), constant_values=np.nan),
        visible=np.pad(samples.visible, (before, after), constant_values=False),
        step_frames=step,
        locked=samples.locked,
    )


def uncovered_spans(
    samples: SubjectSamples, first_frame: int, last_frame: int
) -> tuple[tuple[int, int], ...]:
    """Return first and last whole frame of each stretch that no sample reaches."""
    reach = EDGE_STEPS * samples.step_frames
    starts = int(np.ceil(samples.frames[0] - reach)) - 1
    ends = int(np.floor(samples.frames[-1] + reach)) + 1
    spans = ((first_frame, starts), (ends, last_frame))
    return tuple((start, end) for start, end in spans if start <= end)


def n_uncovered(samples: SubjectSamples, first_frame: int, last_frame: int) -> int:
    """Return how many samples `cover` would add, at most."""
    step = samples.step_frames
    before = max((samples.frames[0] - first_frame) / step, 0.0)
    after = max((last_frame - samples.frames[-1]) / step, 0.0)
    return int(min(np.ceil(before) + np.ceil(after), 2.0 * MAX_ROWS))


def _is_known(samples: SubjectSamples) -> bool:
    """Tell whether every sample has its points."""
    head = samples.head
    known = np.isfinite(samples.points).all()
    return bool(known and (head is None or np.isfinite(head).all()))


def _missing(samples: SubjectSamples) -> NDArray[np.int64]:
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
