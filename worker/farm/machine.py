"""What a worker process works with: the farm's files, state and queue.

Made anew in each process, so that none shares a connection with another.
"""

import os
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from celery import Celery

from ...jobs.errors import InputError
from ...jobs.job.shot import ShotSpec
from ...jobs.places.place import place_of
from ...jobs.run.phases import Given, Phase, phases_of, read_given
from ...jobs.run.record import Record
from ...jobs.run.solve_shot import Work
from ...jobs.run.spool import BatchRecords, RecordError, Spool
from ...jobs.takes.store import Store
from .app import send_join, send_units
from .broker import patient_client
from .inputs import reader_of
from .places import output_below, place_below
from .settings import FarmSettings
from .state import FarmState

_BATCHES_HELD = 4

Row = dict[str, Any]


@dataclass(frozen=True, kw_only=True, slots=True)
class BatchWork:
    """A batch as a worker holds it.

    Attributes:
        record: what was submitted.
        work: the job, its real folder, its store.
        phases: those that have anything to do.
        shots: places of the shots of each phase, by its name.
        known: the same as sets.
    """

    record: Record
    work: Work
    phases: tuple[Phase, ...]
    shots: Mapping[str, tuple[int, ...]]
    known: Mapping[str, frozenset[int]]

    def after(self, phase: Phase) -> Phase | None:
        """Return the phase that follows; None after the last."""
        place = self.phases.index(phase) + 1
        return self.phases[place] if place < len(self.phases) else None

    def spec(self, shot: int) -> ShotSpec:
        """Return the shot at a place of the job."""
        return self.work.job.shots[shot]


@dataclass(kw_only=True, slots=True)
class Machine:
    """The farm as one process of a worker sees it."""

    settings: FarmSettings
    app: Celery
    state: FarmState
    spool: Spool
    worker: str = "worker"
    _held: "OrderedDict[str, BatchWork]" = field(default_factory=OrderedDict)
    _given: dict[str, tuple[tuple[str, str], Row]] = field(default_factory=dict)

    def batch(self, name: str) -> BatchWork:
        """Return a batch, read once.

        Raises:
            RecordError: there is none, or it leads out of the farm's folders.
        """
        if name not in self._held:
            self._held[name] = self._read(name)
            while len(self._held) > _BATCHES_HELD:
                old, _ = self._held.popitem(last=False)
                self._given.pop(old, None)
        self._held.move_to_end(name)
        return self._held[name]

    def given(self, batch: BatchWork, phase: Phase, shot: int) -> Given | None:
        """Return what the phase before gave for a shot; None where it is silent.

        Raises:
            RecordError: that phase has not been joined.
        """
        phases = batch.phases
        place = phases.index(phase)
        if place == 0:
            return None
        name, before = batch.record.batch, phases[place - 1].name
        stamp = self.spool.given_stamp(name, before)
        held = self._given.get(name)
        if held is None or held[0] != (before, stamp):
            values = self.spool.given(name, before)
            if values is None:
                raise RecordError(name, f"has not been through its {before} join")
            held = ((before, stamp), values)
            self._given[name] = held
        plain = held[1].get(str(shot))
        return None if plain is None else read_given(plain)

    def send_join(self, batch: str, phase: Phase) -> None:
        """Ask for the join of a phase."""
        send_join(self.app, batch, phase.name)

    def send_single(self, batch: str, phase: Phase, shots: list[int]) -> None:
        """Queue shots again, each in a message of its own."""
        send_units(self.app, batch, phase.name, [(shot,) for shot in shots])

    def _read(self, name: str) -> BatchWork:
        record = self.spool.read(name)
        try:
            folder = place_below(self.settings.roots, Path(record.folder))
            out = output_below(self.settings.outputs, place_of(record.out, "out"))
        except InputError as error:
            raise RecordError(name, str(error)) from error
        store = Store(folder=out / record.job.sequence)
        work = Work(
            job=record.job,
            folder=folder,
            store=store,
            read=reader_of(record, self.settings.roots),
            records=BatchRecords(spool=self.spool, batch=name),
        )
        phases = phases_of(record.job, record.shots)
        shots = {one.name: one.shots(record.job, record.shots) for one in phases}
        known = {name: frozenset(places) for name, places in shots.items()}
        return BatchWork(
            record=record, work=work, phases=phases, shots=shots, known=known
        )


def make_machine(settings: FarmSettings, app: Celery, worker: str) -> Machine:
    """Return the farm as this process sees it."""
    state = FarmState(
        redis=patient_client(settings), lifetime_s=int(settings.lifetime_s)
    )
    spool = Spool(folder=settings.spool)
    return Machine(settings=settings, app=app, state=state, spool=spool, worker=worker)


_made: dict[int, Machine] = {}


def machine_of(settings: FarmSettings, app: Celery, worker: str) -> Machine:
    """Return this process's own, made on first use."""
    pid = os.getpid()
    if pid not in _made:
        _made.clear()
        _made[pid] = make_machine(settings, app, worker)
    return _made[pid]
