"""Puts a job on the farm, and shots that failed on it again."""

import hashlib
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from celery import Celery

from ...jobs.errors import JobError
from ...jobs.job.spec import JobFile
from ...jobs.places.objects import ObjectPath
from ...jobs.places.place import Place
from ...jobs.run.asked import choose_shots
from ...jobs.run.lock import with_locked_setups
from ...jobs.run.phases import Phase, phases_of
from ...jobs.run.record import Record, dump_job
from ...jobs.run.spool import new_name
from ...jobs.takes.keys import canonical, solver_version
from ...jobs.takes.store import Store
from .app import BATCH
from .broker import FullError, answering
from .bundles import send_shots
from .farm import Farm, where
from .inputs import digests_of, submission_faults
from .places import output_below, place_below
from .settings import FarmSettings
from .state import CLOSED, FarmState
from .units import BAD

_SETTING_UP_S = 30  # that another submission of the same work may take


@dataclass(frozen=True, kw_only=True, slots=True)
class Submitted:
    """A batch that is on the farm, and whether this submission brought it there."""

    batch: str
    is_new: bool
    n_shots: int


def submit(
    farm: Farm,
    job: JobFile,
    *,
    folder: Path,
    out: Place,
    shots: Sequence[str] | None = None,
    follow: bool = False,
    project: str = "",
) -> Submitted:
    """Put a job on the farm, unless the same work is there and not done.

    Args:
        farm: the farm.
        job: a checked job.
        folder: where the job file lies; subjects are found from there.
        out: folder or prefix in which the sequence gets its own.
        shots: names of the shots to solve; None for all.
        follow: take subjects as they are when a shot is solved, whatever they were.
        project: whose it is; work of two projects is never the same.

    Raises:
        JobError: the farm cannot do the job; nothing was written.
        PlaceError: a folder is outside those of the farm.
        FullError: Redis is full or too much is waiting.
        ServiceError: Redis is not reachable.
        OSError: the record could not be written, or there is no place for takes.
    """
    record = _record(farm, job, folder, out, shots, follow=follow, project=project)
    parts = (farm.app, farm.state, farm.settings)
    with answering(farm.settings):
        n_waiting = int(farm.state.redis.llen(BATCH))
        if n_waiting > farm.settings.max_queue:
            limit = farm.settings.max_queue
            message = f"{n_waiting} messages are waiting, limit {limit}; try later"
            raise FullError(message)
        holder = farm.state.claim(record.digest, record.batch)
        is_new = holder == record.batch
        if not is_new:
            found = farm.state.batch(holder)
            if found is not None and found["state"] not in CLOSED:
                if "sent" not in found:
                    record = farm.spool.read(holder)
                    start(*parts, record)
                return Submitted(batch=holder, is_new=False, n_shots=len(record.shots))
            if found is None and farm.state.claim_age_s(record.digest) < _SETTING_UP_S:
                return Submitted(batch=holder, is_new=False, n_shots=len(record.shots))
            farm.state.reclaim(record.digest, record.batch)
        farm.spool.write(record)
        start(*parts, record)
    return Submitted(batch=record.batch, is_new=True, n_shots=len(record.shots))


def retry(farm: Farm, batch: str) -> Submitted:
    """Do those shots of a batch again that have no take, with the same inputs.

    It goes back to the first phase that a shot failed in. A batch that Redis has lost
    is set up again.

    Raises:
        RecordError: there is no such batch.
        ServiceError: Redis is not reachable.
        OSError: the record could not be written.
    """
    record = farm.spool.read(batch)
    with answering(farm.settings):
        phases = phases_of(record.job, record.shots)
        first = next((one for one in phases if _bad(farm, record, one)), None)
        if first is None:
            return Submitted(batch=batch, is_new=False, n_shots=0)
        bad = _bad(farm, record, first)
        later = phases[phases.index(first) + 1 :]
        again = [(one, one.shots(record.job, record.shots)) for one in later]
        for phase, shots in ((first, bad), *again):
            farm.state.forget(batch, phase.name, shots)
            farm.spool.drop_outcomes(batch, phase.name, shots)
            farm.spool.drop_given(batch, phase.name)
        farm.spool.reopen(batch)
        start(farm.app, farm.state, farm.settings, record, first, bad)
    return Submitted(batch=batch, is_new=True, n_shots=len(bad))


def start(
    app: Celery,
    state: FarmState,
    settings: FarmSettings,
    record: Record,
    phase: Phase | None = None,
    shots: Sequence[int] | None = None,
) -> None:
    """Set a batch up in Redis and queue shots of a phase; it is safe to do twice.

    Args:
        app: the queue.
        state: the farm's.
        settings: the farm's.
        record: of the batch.
        phase: to start with; None for the first.
        shots: of that phase; None for all.

    Raises:
        OperationalError, RedisError: Redis is full or away; some may be queued.
    """
    phase = phase or phases_of(record.job, record.shots)[0]
    every = phase.shots(record.job, record.shots)
    fields = {
        "sequence": record.job.sequence,
        "total": str(len(every)),
        "submitted_s": f"{record.submitted_s:.3f}",
        "folder": str(where(record)),
        "project": record.project,
    }
    state.open(record.batch, phase.name, fields)
    send_shots(app, settings, record, phase, every if shots is None else shots)
    state.sent(record.batch)


def _bad(farm: Farm, record: Record, phase: Phase) -> tuple[int, ...]:
    """Return the shots that a phase has no good outcome of."""
    shots = phase.shots(record.job, record.shots)
    found = farm.spool.outcomes(record.batch, phase.name, shots)
    return tuple(
        k for k, each in found.items() if each is None or each["status"] in BAD
    )


def _record(
    farm: Farm,
    job: JobFile,
    folder: Path,
    out: Place,
    shots: Sequence[str] | None,
    *,
    follow: bool,
    project: str,
) -> Record:
    roots = farm.settings.roots
    real = place_below(roots, folder.absolute())
    asked = out.absolute() if isinstance(out, Path) else out
    takes = output_below(farm.settings.outputs, asked)
    if isinstance(takes, ObjectPath):
        takes.need_bucket()
    job = with_locked_setups(job, Store(folder=takes / job.sequence))
    chosen = {spec.name for spec in choose_shots(job, shots=shots)}
    places = tuple(k for k, spec in enumerate(job.shots) if spec.name in chosen)
    read = {k for one in phases_of(job, places) for k in one.shots(job, places)}
    faults = tuple(submission_faults(job, sorted(read), real, roots))
    if faults:
        raise JobError(faults)
    inputs = digests_of(job, sorted(read), real)
    digest = hashlib.sha256(
        canonical(
            {
                "job": dump_job(job),
                "shots": places,
                "inputs": inputs,
                "follow": follow,
                "folder": str(real),
                "out": str(takes),
                "project": project,
                "solver": solver_version(),
            }
        ).encode()
    ).hexdigest()
    return Record(
        batch=new_name(),
        digest=digest,
        folder=str(real),
        out=str(takes),
        shots=places,
        inputs={} if follow else inputs,
        job=job,
        submitted_s=time.time(),
        project=project,
    )
