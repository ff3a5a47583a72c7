"""Reads a subject: from its entry in a job file to its track."""

from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np

from ...solver.arrays import BoolArray, FloatArray, frozen
from ..errors import Fault
from .bvh import samples_of_bvh
from .checks import (
    check_cover,
    check_order,
    check_speed,
    check_values,
)
from .columns import OUR_TITLES, titles_of
from .faults import refuse_any
from .gaps import cover, fill_gaps, n_missing, n_uncovered, uncovered_spans
from .holds import new_samples
from .place import floor_and_eyes
from .reference import SubjectReference
from .request import SubjectRequest
from .samples import SubjectSamples, samples_of_table
from .source import MAX_ROWS, Source, source_of_file, source_of_samples
from .suspected import unit_words
from .table import read_table
from .track import SubjectTrack
from .usd import usd_samples


class SubjectReader(Protocol):
    """Reads the trajectory of a subject: `read_subject`, or one with more rules."""

    def __call__(
        self, reference: SubjectReference, request: SubjectRequest
    ) -> SubjectTrack:
        """Read as `read_subject` does, and refuse as it does."""


def read_subject(reference: SubjectReference, request: SubjectRequest) -> SubjectTrack:
    """Read the trajectory of a subject, once, and check it.

    Only samples in the frames asked for are kept; where samples are not frames of
    the shot, so is the nearest one outside each end.

    Args:
        reference: the subject's entry in the job file.
        request: where it is found, for which frames, and how it is read.

    Raises:
        SubjectError: the data cannot be used. It names all faults of the first of
            these that has one: the file, its columns, their order and extent, the
            values.
    """
    if reference.prim is not None:
        # Opened by its name: a scene is more than the bytes of one file.
        scene, samples = usd_samples(reference, request)
        return _checked_track(samples, scene, reference, request)
    return track_of_source(
        source_of(reference, request.folder, request.path), reference, request
    )


def track_of_source(
    source: Source, reference: SubjectReference, request: SubjectRequest
) -> SubjectTrack:
    """Return the track that a subject's bytes hold; see `read_subject`.

    Raises:
        SubjectError: the data cannot be used.
    """
    inline = source.kind in ("inline", "held")
    titles = OUR_TITLES if inline else titles_of(reference.columns)
    if source.kind == "bvh":
        samples = samples_of_bvh(
            source, reference, job_rate=request.rate, path=request.path
        )
    else:
        samples = samples_of_table(
            read_table(source, titles),
            source,
            job_rate=request.rate,
            rate=reference.rate,
            first_sample_at=reference.first_sample_at,
            up=request.up,
            metres_per_unit=request.metres_per_unit,
        )
    return _checked_track(samples, source, reference, request)


def _checked_track(
    samples: SubjectSamples,
    source: Source,
    reference: SubjectReference,
    request: SubjectRequest,
) -> SubjectTrack:
    first_frame, last_frame = request.first_frame, request.last_frame
    refuse_any(check_order(samples, source))
    refuse_any(check_cover(samples, request, source))
    samples = _kept(samples, first_frame, last_frame)
    refuse_any(_bad_values(samples, request, source))
    full = cover(fill_gaps(samples), first_frame, last_frame)
    uncovered = uncovered_spans(samples, first_frame, last_frame)
    track = _track(reference, _kept(full, first_frame, last_frame), request, source)
    return replace(track, uncovered=uncovered)


def source_of(reference: SubjectReference, folder: Path, path: str) -> Source:
    """Return the bytes of a subject that is no scene.

    Raises:
        SubjectError: its file cannot be read.
    """
    if reference.file is not None:
        return source_of_file(reference.file, folder=folder, path=path)
    return source_of_samples(reference.samples, path=path)


def _kept(samples: SubjectSamples, first_frame: int, last_frame: int) -> SubjectSamples:
    frames = samples.frames
    start = int(np.searchsorted(frames, first_frame, side="right")) - 1
    stop = int(np.searchsorted(frames, last_frame, side="left")) + 1
    if samples.locked:
        stop = int(np.searchsorted(frames, last_frame, side="right"))
    if start <= 0 and stop >= len(frames):
        return samples
    return samples.take(slice(max(start, 0), stop))


def _bad_values(
    samples: SubjectSamples, request: SubjectRequest, source: Source
) -> list[Fault]:
    faults = list(check_values(samples, source))
    lacks = n_missing(samples)
    lacks += n_uncovered(samples, request.first_frame, request.last_frame)
    if lacks > MAX_ROWS:
        message = f"{source.label} has gaps of {lacks} samples"
        faults.append(Fault(path=source.path, message=f"{message}, limit {MAX_ROWS}"))
    return faults


def _track(
    reference: SubjectReference,
    full: SubjectSamples,
    request: SubjectRequest,
    source: Source,
) -> SubjectTrack:
    rate = request.rate
    times_s = full.frames * rate.denominator / rate.numerator
    new = _new(reference, full, times_s)
    refuse_any(
        check_speed(
            full.frames,
            full.points,
            new,
            full.visible,
            limit_m_s=reference.limit_m_s,
            rate=rate,
            source=source,
            meant=lambda speed: unit_words(
                speed, request, own_units=source.kind in ("bvh", "usd")
            ),
        )
    )
    floor, eyes = floor_and_eyes(
        full.points, full.head, at=reference.at, height_m=reference.height_m
    )
    return SubjectTrack(
        name=reference.name,
        times_s=frozen(times_s),
        frames=frozen(full.frames),
        floor=frozen(floor),
        eyes=frozen(eyes),
        facing_rad=frozen(full.facing_rad),
        new=frozen(new, np.bool_),
        visible=frozen(full.visible, np.bool_),
        height_m=reference.height_m,
        digest=source.digest,
    )


def _new(
    reference: SubjectReference, full: SubjectSamples, times_s: FloatArray
) -> BoolArray:
    if reference.holds == "keep":
        return full.visible
    moves = [full.points] if full.head is None else [full.points, full.head]
    return new_samples(times_s, np.hstack(moves), full.visible)
