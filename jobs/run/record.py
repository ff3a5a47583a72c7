"""What was submitted: the record that a run works from, wherever it goes on."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..job.spec import JobFile
from ..subjects.confined import ConfinedReader


@dataclass(frozen=True, kw_only=True, slots=True)
class Confines:
    """What may be read for a batch that came over HTTP.

    Attributes:
        root: folder of its subject files; no link out of it is followed. None: only
            samples in the job are read.
        file_bytes: most bytes of one file, packed and unpacked.
        samples: most samples of one subject.
    """

    root: str | None
    file_bytes: int
    samples: int

    def reader(self) -> ConfinedReader:
        """Return what reads within these confines."""
        return ConfinedReader(
            root=None if self.root is None else Path(self.root),
            max_bytes=self.file_bytes,
            max_rows=self.samples,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class About:
    """What lists of batches need to know of one.

    Attributes:
        batch: its name.
        sequence: name of its sequence.
        names: of the shots to solve, in the order of the job.
        shots: their places in the job, rising.
        out: folder or address in which the sequence gets its own.
        submitted_s: time of submission, Unix.
        project: whose it is; empty for the command line's.
        key: Idempotency-Key of the submission, or None.
        body: digest of the job as it was sent; empty where no request brought it.
    """

    batch: str
    sequence: str
    names: tuple[str, ...]
    shots: tuple[int, ...]
    out: str
    submitted_s: float
    project: str = ""
    key: str | None = None
    body: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """What was submitted.

    Attributes:
        batch: its name.
        digest: of everything that the result depends on.
        folder: where the job file lies; subjects are found from there.
        out: folder or address in which the sequence gets its own.
        shots: places in the job of the shots to solve, rising.
        inputs: SHA-256 of each subject's file, by its name in the job; empty where
            the batch follows changes.
        job: the resolved job.
        submitted_s: time of submission, Unix.
        project: whose it is; empty for the command line's.
        confines: what may be read; None: whatever the process may read.
        key: Idempotency-Key of the submission, or None.
        body: digest of the job as it was sent; empty where no request brought it.
    """

    batch: str
    digest: str
    folder: str
    out: str
    shots: tuple[int, ...]
    inputs: dict[str, str] = field(default_factory=dict)
    job: JobFile
    submitted_s: float
    project: str = ""
    confines: Confines | None = None
    key: str | None = None
    body: str = ""

    @property
    def about(self) -> About:
        """What lists need."""
        return About(
            batch=self.batch,
            sequence=self.job.sequence,
            names=tuple(self.job.shots[k].name for k in self.shots),
            shots=self.shots,
            out=self.out,
            submitted_s=self.submitted_s,
            project=self.project,
            key=self.key,
            body=self.body,
        )


def dump_job(job: JobFile) -> dict[str, Any]:
    """Return a resolved job as plain values; `JobFile` reads them back the same."""
    return job.model_dump(mode="json", by_alias=True)
