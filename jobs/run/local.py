"""Solves a job on this machine, in this process or in a pool of them.

A shot is solved the same way wherever it runs, so takes have the same bytes whatever
the number of workers, the shard or the selection of shots.
"""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path

from ..errors import CancelledError, Fault, JobError
from ..job.load import MAX_BYTES, LoadedJob, load_job
from ..job.shot import ShotSpec
from ..places.place import Place
from ..processes.interrupts import noticed
from ..processes.pool import Run, n_processors, runner, start_early
from ..processes.threads import use_one_thread
from ..takes.judgement import Judgement
from ..takes.sequence_table import ShotRow
from ..takes.store import Store
from .asked import choose_shots
from .check import data_faults, given_faults
from .executor import LOST, InProcesses
from .lock import with_locked_setups
from .phases import Result, merge, n_samples, phases_of
from .run import actions_of_shots, names_of, report, run_phases
from .solve_shot import Work
from .understood import doubts
from .warm import WARMED, WARMED_TO_CHOOSE, is_warm, warm_up

Progress = Callable[[ShotRow | Judgement, int], None]
"""Called with what came of each step that is done, and how many there are in all."""

Reporting = Callable[[object, int], None]
"""Called with how many pages of the review are written, and how many there are."""

_WORTH_A_POOL = 10_000  # samples; fewer are done before the processes have started
_LARGE_BYTES = 24_000  # of a job file; one this large is worth a pool by its shots


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """What came of a run.

    Attributes:
        sequence: its name.
        folder: where its takes lie.
        rows: of the shots that were asked for, in the order of the job.
        review: its index; None where nothing came of the run.
        notes: what seems to be wrong with units, axes and rates of shots that are new.
        actions: names of those whose cameras were asked for.
    """

    sequence: str
    folder: Place
    rows: tuple[ShotRow, ...]
    review: Place | None = None
    notes: tuple[str, ...] = ()
    actions: tuple[str, ...] = ()

    @property
    def failed(self) -> tuple[ShotRow, ...]:
        """Rows of the shots that have no take: faulty data, or no setup."""
        return tuple(r for r in self.rows if r.status in ("failed", "no_setup"))


def solve_job(
    source: Path | LoadedJob,
    out: Place,
    *,
    shots: Sequence[str] | None = None,
    shard: tuple[int, int] | None = None,
    workers: int | None = None,
    strict: bool = False,
    progress: Progress | None = None,
    reporting: Reporting | None = None,
) -> Outcome:
    """Solve the shots of a job and write their takes and the review.

    A shot whose data is faulty, or whose take cannot be written, is recorded as failed
    and the others are solved; an earlier take of it stays where it is. A shot that its
    take still answers is left alone.

    Args:
        source: the job file, from where it lies subject files are found; or a job that
            was checked.
        out: folder, or prefix of an object store, in which the sequence gets its own.
        shots: names of the shots to solve; None for all.
        shard: (k, n) takes the k-th, 1 to n, of n equal parts of those shots.
        workers: processes, >= 1; one is this process. None for as many as are worth
            starting, see `workers_for`.
        strict: refuse the job, before anything is written, if a shot's data is faulty.
        progress: called in this process as each shot is done.
        reporting: called in this process as each page of the review is written.

    Raises:
        InputError: the job file cannot be read.
        JobError: the job is refused.
        CancelledError: stopped by an interrupt; takes that were done are whole.
        OSError: the sequence's own files could not be written; takes that were done
            are whole.
    """
    if isinstance(source, LoadedJob):
        job, folder = source.job, source.folder
    else:
        use_one_thread()
        _foresee(source, workers)
        job, folder = load_job(source), source.parent
    store = Store(folder=out / job.sequence)
    job = with_locked_setups(job, store)
    chosen = choose_shots(job, shots=shots, shard=shard)
    asked = tuple(job.place_of(spec.name) for spec in chosen)
    work = Work(job=job, folder=folder, store=store)
    if any(job.shots[k].stage.set is not None for k in asked):
        work = _with_sets(work, asked)
    rows: dict[int, ShotRow] = {}
    merged: tuple[ShotRow, ...] = ()
    with processes(work, chosen, workers) as executor:
        if strict:
            _refuse_faulty(executor.run, work, chosen)
        store.tidy()
        n_steps = sum(len(one.shots(job, asked)) for one in phases_of(job, asked))

        def told(place: int, result: Result) -> None:
            if isinstance(result, ShotRow):
                rows[place] = result
            if progress is not None:
                progress(result, n_steps)

        try:
            run_phases(work, asked, executor, told)
        except KeyboardInterrupt as error:
            message = f"stopped with {len(rows)} of {len(chosen)} shots done"
            raise CancelledError(message) from error
        finally:
            if rows:
                merged = merge(work, rows)
        done_now = names_of(work, rows)
        review = None
        if merged:
            review = _report(executor, store.folder, done_now, reporting)
    return Outcome(
        sequence=job.sequence,
        folder=store.folder,
        rows=tuple(row for row in merged if row.shot in done_now),
        review=review,
        notes=doubts(job, _new(chosen, rows.values()), folder, read=work.read),
        actions=actions_of_shots(job, done_now),
    )


def _new(chosen: Sequence[ShotSpec], rows: Iterable[ShotRow]) -> list[ShotSpec]:
    """Return the shots whose inputs are new: what a solve has told of is not again."""
    new = {row.shot for row in rows if row.status == "solved"}
    return [spec for spec in chosen if spec.name in new]


def _with_sets(work: Work, asked: Sequence[int]) -> Work:
    """Return a run whose sets are baked, so that no process of it opens a scene."""
    from ..scene.kept import with_sets_baked

    kept = work.store.folder / "sets"
    read = with_sets_baked(work.job, asked, work.folder, kept)
    return work if read is None else replace(work, read=read)


@contextmanager
def processes(
    work: Work, chosen: Sequence[ShotSpec], n_workers: int | None
) -> Iterator[InProcesses]:
    """Give an executor for some shots of a run on this machine, warmed up.

    Args:
        work: the run.
        chosen: the shots asked for.
        n_workers: processes, >= 1; one is this process. None for `workers_for`.
    """
    choosing = any(spec.is_open for spec in chosen)
    if not is_warm(choosing=choosing):
        warm_up(choosing=choosing)
    preload = (WARMED_TO_CHOOSE if choosing else WARMED,)
    count = n_workers or workers_for(chosen)
    with noticed(), runner(work, count, preload=preload) as run:
        yield InProcesses(run=run)


def _foresee(job_path: Path, n_workers: int | None) -> None:
    """Have the process that workers come from import while the job is checked.

    The file is only looked at for a guess: a wrong one costs some time, nothing else.
    """
    few = n_workers == 1 or (n_workers is None and n_processors() == 1)
    try:
        raw = b"" if few else job_path.read_bytes()[:MAX_BYTES]
    except OSError:  # who reads it in earnest says so
        return
    if len(raw) < (_LARGE_BYTES if n_workers is None else 1):
        return
    choosing = b"choose" in raw
    if is_warm(choosing=choosing):
        start_early((WARMED_TO_CHOOSE if choosing else WARMED,))


def _report(
    executor: InProcesses,
    folder: Place,
    shots: Collection[str],
    progress: Reporting | None,
) -> Place:
    """Write the review where shots were solved; return its index."""
    try:
        return report(folder, shots, progress=progress, write=executor.pages)
    except KeyboardInterrupt as error:
        message = "stopped while the review was written; all takes are whole"
        raise CancelledError(message) from error


def workers_for(chosen: Sequence[ShotSpec]) -> int:
    """Return how many processes are worth starting for some shots.

    Somewhat more than there are processors, since a process that writes takes waits for
    the disk a third of the time; but not where there is only one.
    """
    n = n_processors()
    if sum(map(n_samples, chosen)) < _WORTH_A_POOL or n == 1:
        return 1
    return n + ceil(n / 4)


def _refuse_faulty(run: Run, work: Work, chosen: Sequence[ShotSpec]) -> None:
    found = [
        fault for each in run(_faults_of_shot, chosen, lost=_lost) for fault in each
    ]
    found += given_faults(LoadedJob(job=work.job, folder=work.folder))
    if found:
        raise JobError(tuple(sorted(found, key=_place)))


def _faults_of_shot(work: Work, spec: ShotSpec) -> tuple[Fault, ...]:
    return data_faults(work.job, spec, work.folder, read=work.read)


def _place(fault: Fault) -> list[str | int]:
    """Return a key that sorts `shots[9]` before `shots[10]`."""
    parts = re.split(r"([0-9]+)", fault.path)
    return [int(part) if part.isdigit() else part for part in parts]


def _lost(work: Work, spec: ShotSpec) -> tuple[Fault, ...]:
    place = work.job.path_of(spec.name)
    return (Fault(path=place, message=LOST),)
