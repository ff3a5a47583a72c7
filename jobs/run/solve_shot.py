"""Solves one shot and writes its take, the unit of work wherever it is done."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from ...solver.cuts.end import ShotEnds
from ...solver.measures.on_stage import Measures
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..subjects import SubjectReader, read_subject
from ..takes.continuity import entry_of, plain_finding, unseen_finding
from ..takes.judgement import Judgement
from ..takes.keys import Keys, canonical, judge_key, setup_of, take_key
from ..takes.made_takes import best_of, made_take, plain_takes
from ..takes.metadata import take_metadata
from ..takes.sequence_table import ShotRow
from ..takes.store import Store
from .chosen import Chosen
from .lock import keep_locked
from .make_take import solve_whole
from .shots import prepare
from .spool import BatchRecords


@dataclass(frozen=True, kw_only=True, slots=True)
class Work:
    """What every shot of a run needs.

    Attributes:
        job: the checked job.
        folder: where the job file lies; subject files are found from there.
        store: where takes go.
        read: how subjects are read.
        records: of the batch that this is, where it is kept in files.
    """

    job: JobFile
    folder: Path
    store: Store
    read: SubjectReader = read_subject
    records: BatchRecords | None = None

    def __reduce__(self) -> tuple[object, ...]:
        """Hand other processes a job whose shots are unpacked one by one."""
        job = self.job.packed()
        return _work, (job, self.folder, self.store, self.read, self.records)


def _work(
    job: JobFile,
    folder: Path,
    store: Store,
    read: SubjectReader,
    records: BatchRecords | None,
) -> Work:
    return Work(job=job, folder=folder, store=store, read=read, records=records)


class _Made(NamedTuple):
    """A take of a shot, and what stands in its row."""

    keys: Keys
    status: str
    measures: Measures
    ends: ShotEnds
    claims: tuple[dict[str, Any], ...]


def solve_shot(work: Work, spec: ShotSpec, chosen: Chosen | None = None) -> ShotRow:
    """Solve a shot, unless a take that answers it is there, and return its row.

    Where the job asks for several takes all are made, and the one that it names, or
    the best, is the current one.

    A locked take is kept to the byte and measured against the action as it is now.

    Args:
        work: the run.
        spec: one of the job's shots.
        chosen: the setup of a shot that leaves it open.

    Raises:
        ShotDataError: the data of its subjects cannot be used.
        SolverError: the solver cannot work with it.
        OSError: the take could not be written; the current one is as it was.
    """
    if spec.lock is not None:
        return _keep_locked(work, spec)
    closed = spec if chosen is None else spec.with_setup(chosen.setup)
    prepared = prepare(work.job, closed, work.folder, read=work.read)
    judge, setup = judge_key(work.job, spec, prepared.inputs), setup_of(closed)
    entry = entry_of(work.job, spec)
    unseen = [
        plain_finding(unseen_finding(name, first, last), entry)
        for name, spans in prepared.uncovered.items()
        for first, last in spans
    ]
    numbers = spec.take_numbers
    made: dict[int, _Made] = {}
    for number in numbers:
        keys = Keys(judge=judge, take=take_key(judge, setup, number))
        kept = work.store.find(spec.name, keys)
        if kept is not None:
            metadata = take_metadata(kept)
            told = metadata.measures, metadata.ends, metadata.claims
            made[number] = _Made(keys, "kept", *told)
            continue
        performed = prepared.of_take(work.job, number)
        if number == numbers[-1]:
            del prepared  # the arrays of a long shot, beside which its take is written
        solved = solve_whole(work.job, performed, keys)
        del performed
        work.store.put(spec.name, keys, solved.rows)
        claims = tuple(each.plain() for each in solved.outcomes)
        made[number] = _Made(keys, "solved", solved.measures, solved.ends, claims)
    used, side_by_side = _used(spec, made)
    if used.keys != keys:
        work.store.make_current(spec.name, used.keys.take)
    reasons: dict[str, Any] = {}
    if chosen is not None:
        other = chosen.runner_up
        reasons["why"] = canonical(chosen.why)
        reasons["runner_up"] = None if other is None else canonical(other.plain())
    return _row(
        work,
        closed,
        status=used.status,
        findings=canonical(unseen),
        take_key=used.keys.take,
        judge_key=judge,
        measures=used.measures,
        ends=canonical(used.ends.plain()),
        claims=canonical(used.claims),
        takes=canonical(side_by_side),
        **reasons,
    )


def _used(
    spec: ShotSpec, made: Mapping[int, _Made]
) -> tuple[_Made, list[dict[str, Any]]]:
    """Return the take that is used, and what the row says of all where several are."""
    if len(made) == 1:
        return next(iter(made.values())), []
    takes = [
        made_take(number, one.keys.take, one.measures, one.claims)
        for number, one in made.items()
    ]
    number = best_of(takes).take if spec.take is None else spec.take
    return made[number], plain_takes(takes, number)


def _keep_locked(work: Work, spec: ShotSpec) -> ShotRow:
    kept = keep_locked(
        work.job, spec, folder=work.folder, store=work.store, read=work.read
    )
    metadata = take_metadata(kept.table)
    entry = entry_of(work.job, spec)
    return _row(
        work,
        spec.with_setup(metadata.setup),
        status="locked",
        take_key=metadata.keys.take,
        judge_key=kept.judge_key,
        error="\n".join(kept.words) or None,
        measures=kept.measures,
        ends=canonical(metadata.ends.plain()),
        claims=canonical([each.plain() for each in kept.outcomes]),
        findings=canonical([plain_finding(one, entry) for one in kept.findings]),
    )


def failed_row(work: Work, spec: ShotSpec, error: str) -> ShotRow:
    """Return the row of a shot that could not be solved."""
    return _row(work, spec, status="failed", error=error)


def unchosen_row(work: Work, spec: ShotSpec, judgement: Judgement) -> ShotRow:
    """Return the row of a shot for which there is no setup."""
    return _row(
        work,
        spec,
        # One that has setups by itself lacks one with the shots of its letter.
        status="no_setup" if judgement.candidates else judgement.status,
        judge_key=judgement.judge_key,
        error=judgement.error,
    )


def _row(work: Work, spec: ShotSpec, **result: Any) -> ShotRow:
    """Return a row with what the job says of the shot filled in."""
    return ShotRow(
        sequence=work.job.sequence,
        scene=spec.scene,
        shot=spec.name,
        setup=canonical({"label": spec.setup, **spec.asked_setup()}),
        crew=spec.crew.name,
        purpose=spec.purpose,
        **result,
    )
