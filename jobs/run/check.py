"""Reads a job and all its data and says what is wrong; solves and writes nothing.

Apart from the modules that solve, so that a check loads none of them.
"""

from pathlib import Path
from typing import NamedTuple

from ..errors import Fault, JobError
from ..job.load import LoadedJob, load_job
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..processes.boundary import guarded
from ..subjects import SubjectReader, read_subject
from ..takes.continuity import unseen_finding
from ..takes.findings_words import sentence
from .shots import Prepared, prepare
from .understood import ShotUnderstood, noting, stage_notes, understood


class Checked(NamedTuple):
    """A job that was read, with its data.

    Attributes:
        job: the job.
        faults: all that is wrong with the data of its shots.
        notes: what is worth knowing of the others: frames that a table does not reach,
            numbers that suggest a wrong unit, axis or rate.
        shots: what was understood of those that have no fault.
    """

    job: JobFile
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    shots: tuple[ShotUnderstood, ...]


def check_job(job_path: Path) -> Checked:
    """Read a job and the data of all its shots.

    Raises:
        InputError: the job file cannot be read.
        JobError: the job is refused.
    """
    return check_loaded(LoadedJob(job=load_job(job_path), folder=job_path.parent))


def check_loaded(loaded: LoadedJob) -> Checked:
    """Read the data of all shots of a job."""
    job = loaded.job
    faults: list[Fault] = []
    notes = list(stage_notes(job))
    shots: list[ShotUnderstood] = []
    for spec in job.shots:
        doubts: list[str] = []
        read = noting(read_subject, doubts.append)
        found = _read_guarded(job, spec, loaded.folder, read)
        if isinstance(found, tuple):
            faults += found
            continue
        notes += [f"{spec.name}: {words}" for words in doubts]
        notes += [
            sentence(unseen_finding(name, first, last), spec.name)
            for name, spans in found.uncovered.items()
            for first, last in spans
        ]
        shots.append(understood(spec, float(job.rate), found.shot.subjects))
    faults += given_faults(loaded)
    return Checked(job, tuple(faults), tuple(notes), tuple(shots))


def given_faults(loaded: LoadedJob) -> list[Fault]:
    """Read the cuts that actions were given and return all that is wrong with them."""
    job = loaded.job
    faults: list[Fault] = []
    for k, action in enumerate(job.actions):
        if action.cut is None or action.cut.file is None:
            continue
        # Imported here: few jobs have one, and a timeline needs a package.
        from ..coverage.given import given_cut

        try:
            given_cut(action, job.rate, loaded.folder, f"actions[{k}]", read_subject)
        except JobError as error:
            faults += error.faults
    return faults


def data_faults(
    job: JobFile, spec: ShotSpec, folder: Path, *, read: SubjectReader = read_subject
) -> tuple[Fault, ...]:
    """Read the data of a shot and return all that is wrong with it.

    Args:
        job: the checked job.
        spec: one of its shots.
        folder: where the job file lies; subject files are found from there.
        read: how subjects are read.
    """
    found = _read_guarded(job, spec, folder, read)
    return found if isinstance(found, tuple) else ()


def _read_guarded(
    job: JobFile, spec: ShotSpec, folder: Path, read: SubjectReader
) -> Prepared | tuple[Fault, ...]:
    """Return a shot as it was read, or why it cannot be used."""
    place = job.path_of(spec.name)
    return guarded(lambda: _read(job, spec, folder, read), place)


def _read(job: JobFile, spec: ShotSpec, folder: Path, read: SubjectReader) -> Prepared:
    """Read the data of a shot.

    Raises:
        ShotDataError: the shot's data can't be used.
    """
    if not spec.is_open:
        return prepare(job, spec, folder, read=read)
    from .asks import ask_of

    return ask_of(job, spec, folder, read=read)[1]
