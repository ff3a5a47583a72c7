"""Reads a job and all its data and says what is wrong; solves and writes nothing.

Apart from the modules that solve, so that a check loads none of them.
"""

from pathlib import Path

from ..errors import Fault
from ..job.load import load_job
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..processes.boundary import guarded
from ..subjects import SubjectReader, read_subject
from .shots import prepare


def check_job(job_path: Path) -> tuple[JobFile, tuple[Fault, ...]]:
    """Read a job and the data of all its shots.

    Returns:
        The job, and all that is wrong with the data of its shots.

    Raises:
        InputError: the job file cannot be read.
        JobError: the job is refused.
    """
    job = load_job(job_path)
    folder = job_path.parent
    faults = [fault for spec in job.shots for fault in data_faults(job, spec, folder)]
    return job, tuple(faults)


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

    def read_shot() -> tuple[Fault, ...]:
        if spec.is_open:
            from .asks import ask_of

            ask_of(job, spec, folder, read=read)
        else:
            prepare(job, spec, folder, read=read)
        return ()

    return guarded(read_shot, f"shots[{job.place_of(spec.name)}]")
