"""Does one shot of a phase; whatever it comes to is a result."""

from dataclasses import dataclass, replace

import pyarrow as pa

from ..job.shot import ShotSpec
from ..processes.boundary import guarded
from ..takes.keys import Keys
from ..takes.store import Store
from .phases import Given, Phase, Result
from .solve_shot import Work
from .spool import BatchRecords


@dataclass(frozen=True, kw_only=True, slots=True)
class MarkingStore(Store):
    """A store that notes, before it is solved, that a take was not there."""

    records: BatchRecords
    phase: str
    place: int

    def find(self, shot: str, keys: Keys) -> pa.Table | None:
        """Return the take of these keys; where there is none, note it first."""
        table = Store.find(self, shot, keys)
        if table is None:
            self.records.mark_begun(self.phase, self.place)
        return table


def attempt(
    work: Work,
    phase: Phase,
    spec: ShotSpec,
    given: Given | None = None,
    *,
    passing: tuple[type[Exception], ...] = (),
    waits: bool = False,
) -> Result:
    """Do a phase's unit on a shot; whatever it comes to is a result.

    Args:
        work: the run.
        phase: the round.
        spec: one of the job's shots.
        given: what the join before gave for it.
        passing: exceptions that are not the shot's and go on to the caller.
        waits: raise where an object store does not answer for now, for a caller who
            can come again.

    Raises:
        StoreError: an object store does not answer, and the caller waits.
    """
    place = work.job.place_of(spec.name)
    result = guarded(
        lambda: phase.unit(_marking(work, phase, place), spec, given),
        work.job.path_of(spec.name),
        passing=passing,
        waits=waits,
    )
    if isinstance(result, tuple):
        return phase.lost(work, spec, "\n".join(map(str, result)))
    records = work.records
    if records is None or result.status != "kept":
        return result
    # An earlier try of this batch may have solved it and been lost before it said so.
    begun = records.has_begun(phase.name, place)
    return replace(result, status="solved") if begun else result


def _marking(work: Work, phase: Phase, place: int) -> Work:
    """Return the run with a store that notes what this batch has to solve."""
    if work.records is None:
        return work
    store = MarkingStore(
        folder=work.store.folder,
        records=work.records,
        phase=phase.name,
        place=place,
    )
    return replace(work, store=store)
