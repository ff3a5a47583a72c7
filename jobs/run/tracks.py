"""The tracks of a shot's subjects, each with its entry in the job."""

from pathlib import Path

from ..errors import Fault, ShotDataError
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.subject import SubjectSpec
from ..subjects import SubjectReader
from ..subjects.faults import SubjectError
from ..subjects.request import SubjectRequest
from ..subjects.track import SubjectTrack


def seen_tracks(
    job: JobFile, spec: ShotSpec, folder: Path, path: str, read: SubjectReader
) -> list[tuple[SubjectTrack, SubjectSpec]]:
    """Return the tracks that are seen in some frame, each with its entry in the job.

    Who is never seen and never framed is left out of the shot.

    Args:
        job: the checked job.
        spec: one of its shots.
        folder: where the job file lies.
        path: the shot's place in the job, `shots[2]`.
        read: how subjects are read.

    Raises:
        ShotDataError: a subject can't be read, or who is framed is never seen.
    """
    tracks = _read_tracks(job, spec, folder, path, read)
    framed = {cue.subject for cue in spec.cues}
    entries, faults = [], []
    for k, (one, asked) in enumerate(zip(tracks, spec.subjects, strict=True)):
        if one.new.any():
            entries.append((one, asked))
        elif asked.share > 0 or asked.name in framed:
            first, last = spec.read_from, spec.solved_frames[1]
            message = (
                f"{one.name} is seen in no frame of {first}-{last}: give the subject "
                "share 0, or correct its column 'visible'"
            )
            faults.append(Fault(path=f"{path}.subjects[{k}]", message=message))
    if faults:
        raise ShotDataError(spec.name, tuple(faults))
    return entries


def _read_tracks(
    job: JobFile, spec: ShotSpec, folder: Path, path: str, read: SubjectReader
) -> list[SubjectTrack]:
    tracks: list[SubjectTrack] = []
    faults: list[Fault] = []
    for k, reference in enumerate(spec.subjects):
        request = SubjectRequest(
            folder=folder,
            rate=job.rate,
            first_frame=spec.read_from,
            last_frame=spec.solved_frames[1],
            up=job.world.up,
            metres_per_unit=job.world.metres_per_unit,
            path=f"{path}.subjects[{k}]",
        )
        try:
            one = read(reference, request)
        except SubjectError as error:
            faults.extend(error.faults)
        else:
            tracks.append(one)
    if faults:
        raise ShotDataError(spec.name, tuple(faults))
    return tracks
