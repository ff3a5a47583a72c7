"""Solves a job in this process, and hands back what came of it."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ..errors import JobError, ShotDataError
from ..takes.memory_store import MemoryStore
from .given import JobLike, read_given
from .results import SequenceResult, ShotResult, TakeResult, shot_result

if TYPE_CHECKING:
    from ..job.load import LoadedJob
    from ..job.shot import ShotSpec
    from ..run.executor import Executor
    from ..run.phases import Result


@dataclass(frozen=True, kw_only=True, slots=True)
class StepDone:
    """One step of a solve that is done.

    Attributes:
        shot: its name.
        phase: `judge` (which setups it can have) or `take`.
        status: what became of it.
        done: steps that are done.
        total: steps that there are.
    """

    shot: str
    phase: str
    status: str
    done: int
    total: int


Told = Callable[[StepDone], None]
"""Called in the caller's thread as each step is done."""


def solve(
    job: JobLike,
    out: str | os.PathLike[str] | None = None,
    *,
    shots: Sequence[str] | None = None,
    executor: "Executor | None" = None,
    workers: int = 1,
    progress: Told | None = None,
) -> SequenceResult:
    """Solve the shots of a job.

    Without `out` nothing is written and no process is started: takes are in memory.
    With it takes, table and review are written as by `carrellata solve`. Takes have
    the same bytes either way, and as by command, farm and HTTP.

    Args:
        job: path of a job file, or its tables: a dict, or a value of `JobTable`.
            Subjects may have `samples` in memory: see `carrellata.samples`. Lengths are
            scene units unless a name ends in a unit; frames are whole numbers.
        out: folder, `s3://` or `gs://`, in which the sequence gets its own; None
            writes nothing.
        shots: names of the shots to solve; None for all.
        executor: does the units of a run without `out`; None for this process.
        workers: processes with `out`, >= 1; one is this process.
        progress: called as each step is done.

    Returns:
        A result a shot: `take.table` is an Arrow table, a row a sample, n rows of
        float64 columns such as `cam_x` [scene units] and `pan_deg`. A shot whose data
        cannot be used, or that no setup holds, has no take and says why; `notes` say
        where a unit, an axis or a rate seems to be wrong.

    Raises:
        InputError: a file cannot be read.
        JobError: the job is refused; `faults` has every fault with its path.
        CancelledError: stopped by an interrupt; takes that were written are whole.
        OSError: with `out`, the sequence's own files could not be written.

    Example:
        >>> import carrellata, numpy as np
        >>> walk = np.zeros((48, 3))
        >>> walk[:, 0] = 1.3 * np.arange(48) / 24          # along X at 1.3 m/s
        >>> job = {
        ...     "schema": "carrellata.job/1", "sequence": "first", "rate": "24",
        ...     "world": {"up": "y", "metres_per_unit": 1},
        ...     "camera": {"film_back": "super35-4perf", "lens_kit_mm": [35, 50]},
        ...     "shots": [{
        ...         "name": "010", "frames": [1001, 1048],
        ...         "subjects": [{
        ...             "name": "walker", "at": "floor", "height_m": 1.75,
        ...             "samples": carrellata.samples(walk, first_frame=1001),
        ...         }],
        ...         "framing": {"size": "full"}, "lens_mm": 50,
        ...         "rig": {"kind": "sticks", "at": [1.3, 1.5, 8.0]},
        ...     }],
        ... }
        >>> result = carrellata.solve(job)
        >>> take = result["010"].need()
        >>> take.table.num_rows, take.measures.frames
        (48, 48)
        >>> bool(take.measures.head_in_frame > 0.9)
        True
    """
    from ..run.asked import choose_shots
    from ..run.understood import doubts

    given = read_given(job)
    if out is None:
        result = _in_memory(given, shots, executor, progress)
        chosen = choose_shots(given.job, shots=shots, flag="shots")
        return replace(result, notes=doubts(given.job, chosen, given.folder))
    if executor is not None:
        message = "executor is for a solve without out; give workers"
        raise ValueError(message)
    return _written(given, out, shots, workers, progress)


def solve_shot(job: JobLike, shot: str | None = None) -> TakeResult:
    """Solve one shot in this process and return its take; nothing is written.

    Args:
        job: as `solve` takes it.
        shot: its name; may be left out of a job that has one shot.

    Returns:
        The take: an Arrow table, a row a sample, with typed measures.

    Raises:
        InputError: a file cannot be read.
        JobError: the job is refused, or does not have this shot.
        ShotDataError: the shot's data cannot be used, or no setup holds it.

    Example:
        >>> import carrellata
        >>> frames = list(range(1, 25))
        >>> walker = {
        ...     "name": "walker", "at": "floor", "height_m": 1.75,
        ...     "samples": {"frame": frames, "x": [0.05 * k for k in frames],
        ...                 "y": [0.0] * 24, "z": [0.0] * 24},
        ... }
        >>> take = carrellata.solve_shot({
        ...     "schema": "carrellata.job/1", "sequence": "one", "rate": "24",
        ...     "world": {"up": "y", "metres_per_unit": 1},
        ...     "camera": {"film_back": "super35-4perf", "lens_kit_mm": [50]},
        ...     "shots": [{
        ...         "name": "010", "frames": [1, 24], "subjects": [walker],
        ...         "framing": {"size": "full"}, "lens_mm": 50,
        ...         "rig": {"kind": "sticks", "at": [0.6, 1.5, 8.0]},
        ...     }],
        ... })
        >>> take.to_numpy()["pan_deg"].shape
        (24,)
    """
    from ..run.asked import choose_shots

    given = read_given(job)
    named = [spec.name for spec in given.job.shots] if shot is None else [shot]
    if len(named) > 1:
        from ..errors import Fault

        message = f"must name one of the job's shots ({', '.join(named)})"
        raise JobError((Fault(path="shot", message=message),))
    spec = choose_shots(given.job, shots=named, flag="shots")[0]
    if spec.is_open or spec.lock is not None or len(spec.take_numbers) > 1:
        return _in_memory(given, named, None, None).shots[0].need()
    return _taken(given, spec)


def _taken(given: "LoadedJob", spec: "ShotSpec") -> TakeResult:
    """Return the take of a shot whose setup is given: nothing to choose, or to keep."""
    from ..processes.boundary import guarded
    from ..run.solve_shot import Work, solve_shot

    store = MemoryStore()
    work = Work(job=given.job, folder=given.folder, store=store)
    place = given.job.path_of(spec.name)
    row = guarded(lambda: solve_shot(work, spec), place)
    if isinstance(row, tuple):
        raise ShotDataError(spec.name, row)
    return shot_result(row, store.takes[spec.name]).need()


def _in_memory(
    given: "LoadedJob",
    shots: Sequence[str] | None,
    executor: "Executor | None",
    progress: Told | None,
) -> SequenceResult:
    from ..processes.pool import runner
    from ..run.asked import choose_shots
    from ..run.executor import InProcesses, units_of
    from ..run.lock import with_locked_setups
    from ..run.phases import PHASES, Given, Result, phases_of
    from ..run.solve_shot import Work
    from ..takes.continuity import entry_of
    from ..takes.sequence_table import ShotRow, with_findings

    store = MemoryStore()
    job = with_locked_setups(given.job, store)
    chosen = choose_shots(job, shots=shots, flag="shots")
    asked = tuple(job.place_of(spec.name) for spec in chosen)
    work = Work(job=job, folder=given.folder, store=store)
    rounds = phases_of(job, asked)
    total = sum(len(one.shots(job, asked)) for one in rounds)
    done = 0
    before: dict[int, Given] = {}
    results: dict[int, Result] = {}
    with runner(work, 1) as run:
        does = executor or InProcesses(run=run)
        for phase in rounds:
            results = {}
            units = units_of(work, phase, asked, before)
            for place, result in does.units(work, phase, units):
                results[place] = result
                done += 1
                _tell(progress, result, phase.name, done, total)
            if phase is not PHASES[-1]:
                before = phase.join(work, results)
    rows = [results[place] for place in asked]
    entries = [entry_of(job, spec) for spec in job.shots]
    judged = with_findings(entries, [one for one in rows if isinstance(one, ShotRow)])
    return SequenceResult(
        name=job.sequence,
        shots=tuple(shot_result(row, store.takes.get(row.shot)) for row in judged),
    )


def _written(
    given: "LoadedJob",
    out: str | os.PathLike[str],
    shots: Sequence[str] | None,
    workers: int,
    progress: Told | None,
) -> SequenceResult:
    from ..places.place import place_of
    from ..run.local import solve_job
    from ..takes.sequence_table import ShotRow
    from ..takes.store import Store

    count = 0

    def told(result: "Result", total: int) -> None:
        nonlocal count
        count += 1
        phase = "take" if isinstance(result, ShotRow) else "judge"
        _tell(progress, result, phase, count, total)

    outcome = solve_job(
        given,
        place_of(os.fspath(out), "out"),
        shots=shots,
        workers=workers,
        progress=told,
    )
    store = Store(folder=outcome.folder)
    results: list[ShotResult] = []
    for row in outcome.rows:
        kept = None if row.take_key is None else store.whole(row.shot, row.take_key)
        results.append(shot_result(row, kept))
    return SequenceResult(
        name=outcome.sequence,
        shots=tuple(results),
        folder=str(outcome.folder),
        review=None if outcome.review is None else str(outcome.review),
        notes=outcome.notes,
    )


def _tell(
    progress: Told | None, result: "Result", phase: str, done: int, total: int
) -> None:
    if progress is not None:
        progress(
            StepDone(
                shot=result.shot,
                phase=phase,
                status=result.status,
                done=done,
                total=total,
            )
        )
