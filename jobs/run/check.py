"""Reads a job and all its data and says what is wrong; solves and writes nothing.

Apart from the modules that solve, so that a check loads none of them.
"""

from pathlib import Path
from typing import NamedTuple

from ..errors import Fault
from ..job.load import load_job
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..processes.boundary import guarded
from ..subjects import SubjectReader, read_subject
from ..takes.continuity import unseen_finding
from ..takes.findings_words import sentence
from .shots import Spans, prepare


class Checked(NamedTuple):
    """A job that was read, with its data.

    Attributes:
        job: the job.
        faults: all that is wrong with the data of its shots.
        notes: what is worth knowing of the others: frames that a table does not reach.
    """

    job: JobFile
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]


def check_job(job_path: Path) -> Checked:
    """Read a job and the data of all its shots.

    Raises:
        InputError: the job file cannot be read.
        JobError: the job is refused.
    """
    job = load_job(job_path)
    faults: list[Fault] = []
    notes: list[str] = []
    for spec in job.shots:
        uncovered = _read_guarded(job, spec, job_path.parent, read_subject)
        if isinstance(uncovered, tuple):
            faults += uncovered
            continue
        notes += [
            sentence(unseen_finding(name, first, last), spec.name)
            for name, spans in uncovered.items()
            for first, last in spans
        ]
    return Checked(job, tuple(faults), tuple(notes))


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
) -> dict[str, Spans] | tuple[Fault, ...]:
    """Return what the tables of a shot lack, or why it cannot be used."""
    place = job.path_of(spec.name)
    return guarded(lambda: _read(job, spec, folder, read), place)


def _read(
    job: JobFile, spec: ShotSpec, folder: Path, read: SubjectReader
) -> dict[str, Spans]:
    """Read the data of a shot; return the frames that its subjects' tables lack.

    Raises:
        ShotDataError: the shot's data can't be used.
    """
    if not spec.is_open:
        return prepare(job, spec, folder, read=read).uncovered
    from .asks import ask_of

    return ask_of(job, spec, folder, read=read)[1].uncovered
