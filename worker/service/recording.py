"""Writes the record of a batch, in a solving process: the event loop stays free.

The job is checked here against the token's limits, and against names of files that need
no look at the disk. Subjects are read by the run.
"""

import hashlib
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ...jobs.errors import Fault, InputError
from ...jobs.job.spec import JobFile
from ...jobs.places.place import place_of
from ...jobs.run.lock import with_locked_setups
from ...jobs.run.record import About, Confines, Record
from ...jobs.run.spool import Spool
from ...jobs.subjects import SubjectError
from ...jobs.subjects.confined import ConfinedReader, faults_of_name
from ...jobs.takes.store import Store
from ..farm.inputs import given_cuts
from .limits import batch_faults
from .problems import Refusal, refusal
from .rules import Rules
from .solving import job_of

NO_STORAGE = "no_storage"


@dataclass(frozen=True, kw_only=True, slots=True)
class Desk:
    """Where batches of a project are written down.

    Attributes:
        spool: where their records lie.
        out: where their takes lie.
        folder: that subjects are found from where the project has none of its own.
        farm: whether others do the work: then what a file is now is what is solved,
            and a locked take lies where all see it.
        key: Idempotency-Key of the submission, or None.
    """

    spool: Spool
    out: str
    folder: Path
    farm: bool
    key: str | None = None


def record_batch(body: bytes, rules: Rules, desk: Desk, name: str) -> About | Refusal:
    """Write down what a batch would solve, or return why it is refused.

    Args:
        body: a job, JSON.
        rules: of the token.
        desk: where it is written.
        name: of the batch.
    """
    limits = rules.limits
    job = job_of(
        body,
        lambda job: (*batch_faults(job, limits), *_names(job, rules)),
        limits,
        most_shots=limits.batch_shots,
    )
    if isinstance(job, Refusal):
        return job
    confines = Confines(
        root=None if rules.root is None else str(rules.root),
        file_bytes=limits.file_bytes,
        samples=limits.samples,
    )
    inputs: dict[str, str] = {}
    try:
        if desk.farm:
            store = Store(folder=place_of(desk.out, "out") / job.sequence)
            job = with_locked_setups(job, store)
            inputs = _digests(job, confines.reader())
        record = Record(
            batch=name,
            digest=name,  # a batch of its own, whatever others do
            folder=str(desk.folder if rules.root is None else rules.root),
            out=desk.out,
            shots=tuple(range(len(job.shots))),
            inputs=inputs,
            job=job,
            submitted_s=time.time(),
            project=rules.project,
            confines=confines,
            key=desk.key,
            body=digest_of_body(body),
        )
        desk.spool.write(record)
    except (OSError, InputError):
        return refusal(503, NO_STORAGE, "the batch cannot be written down")
    return record.about


def digest_of_body(body: bytes) -> str:
    """Return what a body is known by."""
    return hashlib.sha256(body).hexdigest()


def _digests(job: JobFile, reader: ConfinedReader) -> dict[str, str]:
    """Return the SHA-256 of files of subjects and cuts that may be read."""
    found: dict[str, str] = {}
    for spec in job.shots:
        for subject in spec.subjects:
            if subject.file is None or subject.file in found:
                continue
            try:
                found[subject.file] = reader.source(subject, path="subject").digest
            except SubjectError:
                found[subject.file] = ""
    for path, file in given_cuts(job, range(len(job.shots))):
        try:
            data = reader.file_bytes(file, folder=Path(), path=path)
            found[file] = hashlib.sha256(data).hexdigest()
        except SubjectError:
            found[file] = ""
    return {name: digest for name, digest in sorted(found.items()) if digest}


def _names(job: JobFile, rules: Rules) -> Iterable[Fault]:
    """Yield the faults in names of files that need no look at the disk."""
    for k, spec in enumerate(job.shots):
        for n, subject in enumerate(spec.subjects):
            if subject.file is not None:
                path = f"shots[{k}].subjects[{n}]"
                yield from faults_of_name(rules.root, subject.file, path=path)
    for path, file in given_cuts(job, range(len(job.shots))):
        yield from faults_of_name(rules.root, file, path=path)
