"""One run of a job: judge, choose, take. The report follows, see `report`."""

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..places.place import Place
from ..takes.merge import note_reported
from ..takes.sequence_table import ShotRow
from .executor import Executor, units_of
from .phases import PHASES, Given, Result, phases_of
from .solve_shot import Work

if TYPE_CHECKING:
    from ..review.write import Progress, WritePages

Told = Callable[[int, Result], None]
"""Called with what became of each unit, and the place of its shot."""


def run_phases(
    work: Work,
    asked: Sequence[int],
    executor: Executor,
    told: Told = lambda _place, _result: None,
) -> dict[int, ShotRow]:
    """Judge what has to be judged, choose setups, and take the shots asked for.

    Args:
        work: the run.
        asked: places of the shots to take, rising.
        executor: does the units.
        told: called in this process as each unit is done.

    Returns:
        The rows by place of the shot. They are not yet in the sequence's table: the
        join of the last phase puts them there, see `phases.merge`.
    """
    given: dict[int, Given] = {}
    results: dict[int, Result] = {}
    for phase in phases_of(work.job, asked):
        results = {}
        for place, result in executor.units(
            work, phase, units_of(work, phase, asked, given)
        ):
            results[place] = result
            told(place, result)
        if phase is not PHASES[-1]:
            given = phase.join(work, results)
    return {k: row for k, row in results.items() if isinstance(row, ShotRow)}


def take_alone(work: Work, spec: ShotSpec) -> ShotRow:
    """Choose a setup for a shot by itself, where it is open, and take it, here.

    The sequence's table stays as it is.

    Args:
        work: of a job that has no other shot.
        spec: its shot.

    Raises:
        ShotDataError: the data of its subjects cannot be used.
        SolverError: the solver cannot work with it.
        OSError: what came of it could not be written.
    """
    given: Given | None = None
    result: Result | None = None
    place = work.job.place_of(spec.name)
    for phase in phases_of(work.job, (place,)):
        result = phase.unit(work, spec, given)
        if phase is not PHASES[-1]:
            given = phase.join(work, {place: result}).get(place)
    assert isinstance(result, ShotRow)
    return result


def report(
    folder: Place,
    shots: Collection[str],
    *,
    again: bool = False,
    progress: "Progress | None" = None,
    write: "WritePages | None" = None,
) -> Place:
    """Write the review after a run, with what changed since the one before.

    Args:
        folder: of the sequence, whose table has the rows of the run.
        shots: names of the shots that were solved in the run.
        again: whether an earlier try may have got part of the way.
        progress: called as each page is written.
        write: how pages are written, absent: one by one; their bytes are the same.

    Returns:
        Where the index lies.

    Raises:
        InputError: the sequence's rows cannot be read.
        OSError: a file could not be written.
    """
    # Imported here: checking a job writes no pages.
    from ..review.write import write_review

    note_reported(folder, shots, again=again)
    return write_review(folder, progress=progress, write=write)


def names_of(work: Work, rows: Mapping[int, object]) -> set[str]:
    """Return the names of the shots that have these rows."""
    return {work.job.shots[place].name for place in rows}


def actions_of_shots(job: JobFile, shots: Collection[str]) -> tuple[str, ...]:
    """Return the names of the actions of which any of some shots is a camera."""
    return tuple(
        one.name
        for one in job.actions
        if any(one.shot_of(camera) in shots for camera in one.cameras)
    )
