"""What a job is understood to say: who moves how, on which rig, through which lens."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...solver.action.subject import Subject
from ..errors import ShotDataError
from ..job.rig import RIGS
from ..job.rig_choice import ChooseRig
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..subjects import SubjectReader, SubjectReference, SubjectTrack
from ..subjects.columns import OUR_TITLES, titles_of
from ..subjects.read import read_subject, source_of
from ..subjects.request import SubjectRequest
from ..subjects.samples import SubjectSamples, samples_of_table
from ..subjects.suspected import motion_of, suspected_mistakes
from ..subjects.table import read_table
from .tracks import seen_tracks

LEAST_FLOOR_M = 0.5  # a dolly does not fit on less
MOST_DOUBTED = 100  # shots that a solve looks at once more
TABLES = (".parquet", ".arrow", ".csv", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class SubjectUnderstood:
    """How a subject of a shot moves, on the frames that are read.

    Attributes:
        name: of the subject.
        height_m: its stature.
        travels_m: length of its way, up and down included.
        top_m_s: its speed, but for one step in twenty.
        rises_m: between its lowest and its highest place.
    """

    name: str
    height_m: float
    travels_m: float
    top_m_s: float
    rises_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotUnderstood:
    """One shot as it was understood.

    Attributes:
        shot: its name.
        frames: first and last of the cut.
        seconds: length of the cut.
        size: name or fill of the framing.
        lens: the focal length, or which may be chosen.
        rig: the rig, or which may be chosen.
        subjects: those that are seen.
    """

    shot: str
    frames: tuple[int, int]
    seconds: float
    size: str
    lens: str
    rig: str
    subjects: tuple[SubjectUnderstood, ...]


def understood(
    spec: ShotSpec, rate: float, subjects: tuple[Subject, ...]
) -> ShotUnderstood:
    """Return a shot as it is understood.

    Args:
        spec: the shot.
        rate: frames a second.
        subjects: as they were read.
    """
    return ShotUnderstood(
        shot=spec.name,
        frames=spec.frames,
        seconds=spec.n_frames / rate,
        size=_size(spec),
        lens=_lens(spec),
        rig=_rig(spec),
        subjects=tuple(map(_subject, subjects)),
    )


def _subject(one: Subject) -> SubjectUnderstood:
    motion = motion_of(one.floor, one.times_s, one.fresh)
    return SubjectUnderstood(
        name=one.name,
        height_m=one.height_m,
        travels_m=motion.path_m,
        top_m_s=motion.top_m_s,
        rises_m=float(np.ptp(one.floor[:, 1])),
    )


def _size(spec: ShotSpec) -> str:
    if spec.framing.open_sizes:
        return "choose"
    asked = spec.framing.asked_size
    return asked if isinstance(asked, str) else f"fill {asked:g}"


def _lens(spec: ShotSpec) -> str:
    if isinstance(spec.lens_mm, str):
        return "/".join(f"{one.mm:g}" for one in spec.lenses) + " mm"
    return f"{spec.lens_mm:g} mm"


def _rig(spec: ShotSpec) -> str:
    if isinstance(spec.rig, ChooseRig):
        return f"choose: {', '.join(spec.rig.kinds)}"
    return RIGS[spec.rig.kind].words


def stage_notes(job: JobFile) -> Iterator[str]:
    """Yield what seems to be wrong with the size of floors, a sentence each."""
    said = set()
    for spec in job.shots:
        if spec.stage.floor is None:
            continue
        extent = np.ptp(np.array(spec.stage.floor), axis=0)
        widest = job.world.metres(float(extent.max()))
        if widest >= LEAST_FLOOR_M or widest in said:
            continue
        said.add(widest)
        metres = job.world.metres_per_unit
        yield (
            f"{spec.name}: stage.floor is {widest:.2g} m across; with metres_per_unit "
            f"= {100 * metres:g} in place of {metres:g} it is {100 * widest:.2g} m"
        )


def doubts(
    job: JobFile,
    shots: Sequence[ShotSpec],
    folder: Path,
    *,
    read: SubjectReader = read_subject,
) -> tuple[str, ...]:
    """Return what seems to be wrong with units, axes and rates, a sentence each.

    Of many shots the first `MOST_DOUBTED` are read: such a mistake is seldom that of
    one shot. What cannot be read is passed over.

    Args:
        job: the checked job.
        shots: some of its shots.
        folder: where the job file lies.
        read: how subjects are read.
    """
    notes = list(stage_notes(job)) if shots else []
    for spec in shots[:MOST_DOUBTED]:
        found: list[str] = []
        try:
            seen_tracks(
                job, spec, folder, job.path_of(spec.name), noting(read, found.append)
            )
        except ShotDataError:
            continue
        notes += [f"{spec.name}: {words}" for words in found]
    return tuple(notes)


def noting(read: SubjectReader, note: Callable[[str], None]) -> SubjectReader:
    """Return a reader that also notes what seems to be wrong with each subject.

    Args:
        read: reads.
        note: is told a sentence.
    """

    def reading(reference: SubjectReference, request: SubjectRequest) -> SubjectTrack:
        track = read(reference, request)
        samples = _samples(reference, request)
        for sentence in suspected_mistakes(reference, request, track, samples):
            note(sentence)
        return track

    return reading


def _samples(
    reference: SubjectReference, request: SubjectRequest
) -> SubjectSamples | None:
    """Return the samples of a table that has been read before, None for others."""
    file = reference.file
    if reference.prim is not None or (
        file is not None and Path(file).suffix.lower() not in TABLES
    ):
        return None
    source = source_of(reference, request.folder, request.path)
    titles = OUR_TITLES if file is None else titles_of(reference.columns)
    return samples_of_table(
        read_table(source, titles),
        source,
        job_rate=request.rate,
        rate=reference.rate,
        first_sample_at=reference.first_sample_at,
        up=request.up,
        metres_per_unit=request.metres_per_unit,
    )
