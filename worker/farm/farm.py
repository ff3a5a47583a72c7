"""A farm as those who use it see it: how far a batch is, and stopping one."""

import json
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from celery import Celery

from ...jobs.places.place import Place, place_of
from ...jobs.run.phases import PHASES
from ...jobs.run.record import Record
from ...jobs.run.spool import Outcome, Spool
from .app import make_app, send_join
from .broker import answering, quick_client
from .settings import FarmSettings
from .state import CLOSED, RUNNING, FarmState

GOOD = ("solved", "kept")
"""Statuses of shots that have a take."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Farm:
    """A farm as those who use it see it; threads may share one."""

    settings: FarmSettings
    app: Celery
    state: FarmState
    spool: Spool


@dataclass(frozen=True, kw_only=True, slots=True)
class BatchStatus:
    """How far a batch is.

    Attributes:
        batch: its name.
        sequence: name of the sequence.
        state: `running`, `cancelling`, `cancelled`, `done`, or `failed` where a join
            could not be done.
        phase: the one it is in, or ended in.
        total: its shots.
        done: shots that the phase is done with.
        counts: shots by status, of that phase.
        submitted_s: Unix time.
        finished_s: Unix time; None while it is open.
        folder: where its sequence lies.
        project: whose it is.
        error: why it failed; empty otherwise.
    """

    batch: str
    sequence: str
    state: str
    phase: str
    total: int
    done: int
    counts: Mapping[str, int]
    submitted_s: float
    finished_s: float | None
    folder: str
    project: str
    error: str = ""

    @property
    def closed(self) -> bool:
        """Whether it has ended."""
        return self.state in CLOSED

    @property
    def n_bad(self) -> int:
        """Shots that have no take."""
        return sum(n for status, n in self.counts.items() if status not in GOOD)


def connect(settings: FarmSettings) -> Farm:
    """Return a farm; its connections are made when they are needed."""
    return Farm(
        settings=settings,
        app=make_app(settings, client=True),
        state=FarmState(
            redis=quick_client(settings), lifetime_s=int(settings.lifetime_s)
        ),
        spool=Spool(folder=settings.spool),
    )


def status(farm: Farm, batch: str) -> BatchStatus:
    """Return how far a batch is.

    Raises:
        RecordError: there is no such batch.
        ServiceError: Redis is not reachable.
    """
    with answering(farm.settings):
        found = farm.state.batch(batch)
        if found is None:
            return _status_on_disk(farm, batch)
        if found["state"] in CLOSED:
            counts = json.loads(found.get("counts", "{}"))
        else:
            counts = Counter(farm.state.ends(batch, found["phase"]).values())
    return BatchStatus(
        batch=batch,
        sequence=found["sequence"],
        state=found["state"],
        phase=found["phase"],
        total=int(found["total"]),
        done=sum(counts.values()),
        counts=dict(sorted(counts.items())),
        submitted_s=float(found["submitted_s"]),
        finished_s=float(found["finished_s"]) if "finished_s" in found else None,
        folder=found["folder"],
        project=found["project"],
        error=found.get("error", ""),
    )


def open_batches(farm: Farm) -> list[BatchStatus]:
    """Return how far each batch is that has not ended, oldest first.

    Raises:
        ServiceError: Redis is not reachable.
    """
    with answering(farm.settings):
        names = farm.state.open_batches()
    return [status(farm, name) for name in names]


def watch(farm: Farm, batch: str, every_s: float = 1.0) -> Iterator[BatchStatus]:
    """Yield how far a batch is until it has ended; the last one says how.

    Raises:
        RecordError: there is no such batch.
        ServiceError: Redis is not reachable.
    """
    while True:
        now = status(farm, batch)
        yield now
        if now.closed:
            return
        time.sleep(every_s)


def outcomes(farm: Farm, batch: str) -> list[Outcome]:
    """Return what is known of a batch's shots, in the order of the job.

    Raises:
        RecordError: there is no such batch.
    """
    record = farm.spool.read(batch)
    found = farm.spool.outcomes(batch, PHASES[-1].name, record.shots)
    return [one for one in found.values() if one is not None]


def cancel(farm: Farm, batch: str) -> BatchStatus:
    """Stop a batch: shots in hand are finished, no other is begun.

    Raises:
        RecordError: there is no such batch.
        ServiceError: Redis is not reachable.
    """
    now = status(farm, batch)
    if not now.closed:
        with answering(farm.settings):
            farm.state.cancel(batch)
            send_join(farm.app, batch, now.phase)
        now = status(farm, batch)
    return now


def where(record: Record) -> Place:
    """Return where a batch's sequence lies."""
    return place_of(record.out, "out") / record.job.sequence


def _status_on_disk(farm: Farm, batch: str) -> BatchStatus:
    """Return how far a batch is that Redis does not know, any more or yet."""
    record, end = farm.spool.read(batch), farm.spool.closed(batch)
    phase = PHASES[-1].name
    if end is not None:
        counts = Counter(end["counts"])
    else:
        found = farm.spool.outcomes(batch, phase, record.shots).values()
        counts = Counter(each["status"] for each in found if each is not None)
    return BatchStatus(
        batch=batch,
        sequence=record.job.sequence,
        state=RUNNING if end is None else end["state"],
        phase=phase,
        total=len(record.shots),
        done=sum(counts.values()),
        counts=dict(sorted(counts.items())),
        submitted_s=record.submitted_s,
        finished_s=None if end is None else end["finished_s"],
        folder=str(where(record)),
        project=record.project,
        error="" if end is None else end["error"],
    )
