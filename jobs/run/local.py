"""Solves a job on this machine, in this process or in a pool of them.

A shot is solved the same way wherever it runs, so takes have the same bytes whatever
the number of workers, the shard or the selection of shots.
"""

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from ..errors import CancelledError, Fault, JobError
from ..job.load import load_job
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..places.place import Place, failure_words
from ..processes.pool import Run, n_processors, runner
from ..processes.threads import use_one_thread
from ..subjects import SubjectReader, read_subject
from ..takes.judgement import Judgement
from ..takes.sequence_table import ShotRow, merge_sequence
from ..takes.store import Store
from ..takes.why_no_take import SOLVE_AGAIN
from .check import data_faults
from .lock import with_locked_setups
from .solve_shot import Work, failed_row, solve_shot, unchosen_row
from .warm import WARMED, WARMED_TO_CHOOSE, is_warm, warm_up

if TYPE_CHECKING:
    from .choose import Chosen

Progress = Callable[[ShotRow | Judgement, int], None]
"""Called with what came of each step that is done, and how many there are in all."""

Reporting = Callable[[object, int], None]
"""Called with how many pages of the review are written, and how many there are."""

_WORTH_A_POOL = 10_000  # samples; fewer are done before the processes have started

_AT_ONCE = 8  # pages; takes are told of one by one, so that a stop loses none

_LOST = f"its process was killed, perhaps for want of memory; {SOLVE_AGAIN}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """What came of a run.

    Attributes:
        sequence: its name.
        folder: where its takes lie.
        rows: of the shots that were asked for, in the order of the job.
        review: its index; None where nothing came of the run.
    """

    sequence: str
    folder: Place
    rows: tuple[ShotRow, ...]
    review: Place | None = None

    @property
    def failed(self) -> tuple[ShotRow, ...]:
        """Rows of the shots that have no take: faulty data, or no setup."""
        return tuple(r for r in self.rows if r.status in ("failed", "no_setup"))


def solve_job(
    job_path: Path,
    out: Place,
    *,
    shots: Sequence[str] | None = None,
    shard: tuple[int, int] | None = None,
    workers: int | None = None,
    strict: bool = False,
    progress: Progress | None = None,
    reporting: Reporting | None = None,
    folder: Path | None = None,
    read: SubjectReader = read_subject,
) -> Outcome:
    """Solve the shots of a job and write their takes and the review.

    A shot whose data is faulty, or whose take cannot be written, is recorded as failed
    and the others are solved; an earlier take of it stays where it is. A shot that its
    take still answers is left alone.

    Args:
        job_path: the job file.
        out: folder, or prefix of an object store, in which the sequence gets its own.
        shots: names of the shots to solve; None for all.
        shard: (k, n) takes the k-th, 1 to n, of n equal parts of those shots.
        workers: processes, >= 1; one is this process. None for as many as are worth
            starting, see `workers_for`.
        strict: refuse the job, before anything is written, if a shot's data is faulty.
        progress: called in this process as each shot is done.
        reporting: called in this process as each page of the review is written.
        folder: where subject files are found from; None: where the job file lies.
        read: how subjects are read.

    Raises:
        InputError: the job file cannot be read.
        JobError: the job is refused.
        CancelledError: stopped by an interrupt; takes that were done are whole.
        OSError: the sequence's own files could not be written; takes that were done
            are whole.
    """
    use_one_thread()
    job = load_job(job_path)
    store = Store(folder=out / job.sequence)
    job = with_locked_setups(job, store)
    chosen = choose_shots(job, shots=shots, shard=shard)
    work = Work(job=job, folder=folder or job_path.parent, store=store, read=read)
    choosing = any(spec.is_open for spec in chosen)
    if not is_warm(choosing=choosing):
        warm_up(choosing=choosing)
    rows: list[ShotRow] = []
    merged: tuple[ShotRow, ...] = ()
    with runner(
        work,
        workers or workers_for(chosen),
        preload=(WARMED_TO_CHOOSE if choosing else WARMED,),
    ) as run:
        if strict:
            _refuse_faulty(run, chosen)
        store.tidy()
        try:
            judged = shots_to_judge(job, chosen)
            n_steps = len(judged) + len(chosen)

            def done(what: ShotRow | Judgement) -> None:
                if progress is not None:
                    progress(what, n_steps)

            choices, unchosen = _choose(run, work, judged, done)
            asked = [spec for spec in chosen if spec.name not in unchosen]
            rows += [unchosen[s.name] for s in chosen if s.name in unchosen]
            tasks = [Task(spec, choices.get(spec.name)) for spec in asked]
            for row in run(solve_task, tasks, lost=_lost_row):
                rows.append(row)
                done(row)
        except KeyboardInterrupt as error:
            message = f"stopped with {len(rows)} of {len(chosen)} shots done"
            raise CancelledError(message) from error
        finally:
            if rows:
                merged = merge_sequence(store.sequence, job, rows)
        done_now = {row.shot for row in rows}
        review = None
        if merged:
            review = _report(run, store.folder, done_now, reporting)
    return Outcome(
        sequence=job.sequence,
        folder=store.folder,
        rows=tuple(row for row in merged if row.shot in done_now),
        review=review,
    )


def _report(
    run: Run, folder: Place, shots: Collection[str], progress: Reporting | None
) -> Place:
    """Write the review where shots were solved; return its index."""
    # Imported here: checking a job writes no pages.
    from ..review.write import PageTask, WrittenPage, report, write_page

    def write(tasks: Sequence[PageTask]) -> Iterator[WrittenPage]:
        return run(write_page, tasks, lost=write_page, at_once=_AT_ONCE)

    try:
        return report(folder, shots, progress=progress, write=write)
    except KeyboardInterrupt as error:
        message = "stopped while the review was written; all takes are whole"
        raise CancelledError(message) from error


class Task(NamedTuple):
    """A shot to be solved, with the setup chosen for it."""

    spec: ShotSpec
    chosen: "Chosen | None"


def solve_task(work: Work, task: Task) -> ShotRow:
    """Solve one shot in its setup; it has failed where its take cannot be written."""
    try:
        return solve_shot(work, *task)
    except OSError as error:
        return failed_row(work, task.spec, _unwritten(work, task.spec, error))


def judge_task(work: Work, spec: ShotSpec) -> Judgement:
    """Judge the setups of one shot; it has failed where that cannot be written."""
    # Imported here: who solves given setups loads nothing that chooses.
    from .judge_shot import judge_shot

    try:
        return judge_shot(work, spec)
    except OSError as error:
        message = _unwritten(work, spec, error)
        return Judgement(shot=spec.name, key="", status="failed", error=message)


def _unwritten(work: Work, spec: ShotSpec, error: OSError) -> str:
    return f"shots[{work.job.place_of(spec.name)}]: {failure_words(error)}"


def shots_to_judge(job: JobFile, asked: Sequence[ShotSpec]) -> tuple[ShotSpec, ...]:
    """Return the shots that the setups of the asked ones depend on, across cuts.

    These are all shots of a scene in which an asked one leaves its setup open.
    """
    scenes = {spec.scene.lower() for spec in asked if spec.is_open}
    return tuple(spec for spec in job.shots if spec.scene.lower() in scenes)


def _choose(
    run: Run,
    work: Work,
    shots: Sequence[ShotSpec],
    done: Callable[[Judgement], None],
) -> tuple[dict[str, "Chosen"], dict[str, ShotRow]]:
    """Judge shots and choose their setups; return the choices and rows without one."""
    if not shots:
        return {}, {}
    from .choose import choose_setups

    judgements: dict[str, Judgement] = {}
    for judgement in run(judge_task, shots, lost=_lost_judgement):
        judgements[judgement.shot] = judgement
        done(judgement)
    choices = choose_setups(work.job, judgements)
    open_ones = {spec.name: spec for spec in shots if spec.is_open}
    unchosen = {
        name: unchosen_row(work, spec, judgements[name])
        for name, spec in open_ones.items()
        if name not in choices
    }
    return {name: choices[name] for name in open_ones if name in choices}, unchosen


def choose_shots(
    job: JobFile,
    *,
    shots: Sequence[str] | None = None,
    shard: tuple[int, int] | None = None,
    flag: str = "--shots",
) -> tuple[ShotSpec, ...]:
    """Return the shots asked for, in the order of the job.

    Args:
        job: the checked job.
        shots: names, in any case of letters; None for all.
        shard: (k, n): every n-th of them from the k-th on, 1 <= k <= n.
        flag: option that the names came from, for what a fault says.

    Raises:
        JobError: a name is not in the job, or there is no such shard.
    """
    chosen = job.shots
    if shots is not None:
        known = {spec.name.lower() for spec in job.shots}
        names = ", ".join(spec.name for spec in job.shots)
        faults = tuple(
            Fault(path=flag, message=f'"{name}" is not a shot ({names})')
            for name in shots
            if name.lower() not in known
        )
        if faults:
            raise JobError(faults)
        asked = {name.lower() for name in shots}
        chosen = tuple(spec for spec in job.shots if spec.name.lower() in asked)
    if shard is not None:
        number, count = shard
        if not 1 <= number <= count:
            message = f"must be k/n with 1 <= k <= n, got {number}/{count}"
            raise JobError((Fault(path="--shard", message=message),))
        chosen = chosen[number - 1 :: count]
    return chosen


def workers_for(chosen: Sequence[ShotSpec]) -> int:
    """Return how many processes are worth starting for some shots.

    Somewhat more than there are processors, since a process that writes takes waits for
    the disk a third of the time; but not where there is only one.
    """
    n_samples = 0
    for spec in chosen:
        first, last = spec.solved_frames
        n_samples += (last - first + 1) * spec.samples_per_frame
    n = n_processors()
    if n_samples < _WORTH_A_POOL or n == 1:
        return 1
    return n + ceil(n / 4)


def _refuse_faulty(run: Run, chosen: Sequence[ShotSpec]) -> None:
    found = [
        fault for each in run(_faults_of_shot, chosen, lost=_lost) for fault in each
    ]
    if found:
        raise JobError(tuple(sorted(found, key=_place)))


def _faults_of_shot(work: Work, spec: ShotSpec) -> tuple[Fault, ...]:
    return data_faults(work.job, spec, work.folder, read=work.read)


def _place(fault: Fault) -> list[str | int]:
    """Return a key that sorts `shots[9]` before `shots[10]`."""
    parts = re.split(r"([0-9]+)", fault.path)
    return [int(part) if part.isdigit() else part for part in parts]


def _lost(work: Work, spec: ShotSpec) -> tuple[Fault, ...]:
    place = f"shots[{work.job.place_of(spec.name)}]"
    return (Fault(path=place, message=_LOST),)


def _lost_row(work: Work, task: Task) -> ShotRow:
    return failed_row(work, task.spec, str(_lost(work, task.spec)[0]))


def _lost_judgement(work: Work, spec: ShotSpec) -> Judgement:
    message = str(_lost(work, spec)[0])
    return Judgement(shot=spec.name, key="", status="failed", error=message)
