"""Where the units of a run are done: in this process, or in several.

The farm is the third place: there the same phases go round by messages, and the records
of the batch stand for what an executor holds (`worker/farm/units.py`, `joins.py`).
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

from ..job.shot import ShotSpec
from ..processes.pool import Run
from ..takes.why_no_take import SOLVE_AGAIN
from .attempt import attempt
from .phases import Given, Phase, Result, phase_named, plain_result
from .solve_shot import Work

if TYPE_CHECKING:
    from ..review.write import PageTask, WrittenPage

_AT_ONCE = 8  # pages; takes are told of one by one, so that a stop loses none

LOST = f"its process was killed, perhaps for want of memory; {SOLVE_AGAIN}"


class Unit(NamedTuple):
    """One shot of a phase, and what the join before gave for it."""

    phase: str
    spec: ShotSpec
    given: Given | None


class Executor(Protocol):
    """Does the units of a phase."""

    def units(
        self, work: Work, phase: Phase, units: Sequence[Unit]
    ) -> Iterator[tuple[int, Result]]:
        """Yield what became of each unit, by place of its shot, in any order."""


@dataclass(frozen=True, kw_only=True, slots=True)
class InProcesses:
    """Does units, and writes pages, in an open pool; one of its kinds is this process.

    Attributes:
        run: of `processes.pool.runner`, opened with the same `Work`.
    """

    run: Run

    def units(
        self, work: Work, phase: Phase, units: Sequence[Unit]
    ) -> Iterator[tuple[int, Result]]:
        """Yield what became of each unit; one lost with its process has failed."""
        for result in self.run(do_unit, units, lost=lost_unit):
            yield work.job.place_of(result.shot), result

    def pages(self, tasks: "Sequence[PageTask]") -> "Iterator[WrittenPage]":
        """Write pages of a review."""
        from ..review.write import write_page

        return self.run(write_page, tasks, lost=write_page, at_once=_AT_ONCE)


@dataclass(frozen=True, kw_only=True, slots=True)
class Recorded:
    """An executor whose results lie in the batch's records: none is done twice.

    A run that was killed goes on where it was, whoever takes it up.
    """

    inner: Executor

    def units(
        self, work: Work, phase: Phase, units: Sequence[Unit]
    ) -> Iterator[tuple[int, Result]]:
        """Yield the results that are there, then those that had to be made."""
        assert work.records is not None
        spool, batch = work.records.spool, work.records.batch
        places = [work.job.place_of(unit.spec.name) for unit in units]
        known = spool.outcomes(batch, phase.name, places)
        left = []
        for place, unit in zip(places, units, strict=True):
            outcome = known[place]
            if outcome is None:
                left.append(unit)
            else:
                yield place, phase.read(outcome["row"])
        for place, result in self.inner.units(work, phase, left):
            outcome = {"status": result.status, "row": plain_result(result)}
            spool.set_outcome(batch, phase.name, place, outcome)
            yield place, result


def do_unit(work: Work, unit: Unit) -> Result:
    """Do one unit in whatever process this is."""
    return attempt(work, _phase(unit), unit.spec, unit.given)


def lost_unit(work: Work, unit: Unit) -> Result:
    """Return the result of a unit whose process was killed."""
    path = work.job.path_of(unit.spec.name)
    return _phase(unit).lost(work, unit.spec, f"{path}: {LOST}")


def units_of(
    work: Work, phase: Phase, asked: Iterable[int], given: dict[int, Given]
) -> list[Unit]:
    """Return the units of a phase, in the order of the job."""
    places = phase.shots(work.job, tuple(asked))
    return [Unit(phase.name, work.job.shots[k], given.get(k)) for k in places]


def _phase(unit: Unit) -> Phase:
    found = phase_named(unit.phase)
    assert found is not None
    return found
