"""Solves one shot and writes its take, the unit of work wherever it is done."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pyarrow as pa

from ...solver.cuts.end import ShotEnds, shot_ends
from ...solver.errors import SolverError
from ...solver.frame.measure import Measures, measure
from ...solver.take import operate
from ..errors import ShotDataError
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..subjects import SubjectReader, read_subject
from ..takes.continuity import plain_finding
from ..takes.judgement import Judgement
from ..takes.keys import Keys, canonical, judge_key, setup_of, take_key
from ..takes.sequence_table import ShotRow
from ..takes.store import Store
from ..takes.table import take_metadata, take_rows
from .lock import keep_locked
from .shots import Prepared, prepare

if TYPE_CHECKING:
    from .choose import Chosen


@dataclass(frozen=True, kw_only=True, slots=True)
class Work:
    """What every shot of a run needs.

    Attributes:
        job: the checked job.
        folder: where the job file lies; subject files are found from there.
        store: where takes go.
        read: how subjects are read.
    """

    job: JobFile
    folder: Path
    store: Store
    read: SubjectReader = read_subject


def solve_shot(work: Work, spec: ShotSpec, chosen: "Chosen | None" = None) -> ShotRow:
    """Solve a shot, unless a take that answers it is there, and return its row.

    A locked take is kept to the byte and measured against the action as it is now.

    Args:
        work: the run.
        spec: one of the job's shots.
        chosen: the setup of a shot that leaves it open.

    Raises:
        OSError: the take could not be written; the current one is as it was.
    """
    if spec.lock is not None:
        return _keep_locked(work, spec)
    closed = spec if chosen is None else spec.with_setup(chosen.setup)
    try:
        prepared = prepare(work.job, closed, work.folder, read=work.read)
    except ShotDataError as error:
        return failed_row(work, spec, "\n".join(map(str, error.faults)))
    judge = judge_key(work.job, spec, prepared.inputs)
    keys = Keys(judge=judge, take=take_key(judge, setup_of(closed)))
    kept = work.store.find(spec.name, keys)
    if kept is not None:
        metadata = take_metadata(kept)
        status, measures, ends = "kept", metadata["measures"], metadata["ends"]
    else:
        try:
            solved = solve_whole(work.job, prepared, keys)
        except SolverError as error:
            return failed_row(work, spec, str(error))
        del prepared  # the arrays of a long shot, beside which its take is written
        work.store.put(spec.name, keys.take, solved.rows)
        status, measures, ends = "solved", solved.measures, solved.ends.plain()
    reasons: dict[str, Any] = {}
    if chosen is not None:
        other = chosen.runner_up
        reasons["why"] = canonical(chosen.why)
        reasons["runner_up"] = canonical(other) if other else None
    return _row(
        work,
        closed,
        status=status,
        take_key=keys.take,
        judge_key=keys.judge,
        measures=measures,
        ends=canonical(ends),
        **reasons,
    )


def _keep_locked(work: Work, spec: ShotSpec) -> ShotRow:
    try:
        kept = keep_locked(
            work.job, spec, folder=work.folder, store=work.store, read=work.read
        )
    except ShotDataError as error:
        return failed_row(work, spec, "\n".join(map(str, error.faults)))
    metadata = take_metadata(kept.table)
    return _row(
        work,
        spec.with_setup(metadata["setup"]),
        status="locked",
        take_key=metadata["keys"]["take"],
        judge_key=kept.judge_key,
        error="\n".join(kept.words) or None,
        measures=kept.measures,
        ends=canonical(metadata["ends"]) if "ends" in metadata else None,
        findings=canonical([plain_finding(one, spec) for one in kept.findings]),
    )


class Solved(NamedTuple):
    """A take as it is written, to be read once, and what stands in its row too."""

    rows: pa.RecordBatchReader
    measures: Measures
    ends: ShotEnds


def solve_whole(job: JobFile, prepared: Prepared, keys: Keys) -> Solved:
    """Return a shot's take; nothing is read or written.

    Raises:
        SolverError: the solver cannot work with the shot's data.
    """
    take = operate(prepared.shot)
    measures, ends = measure(take), shot_ends(take)
    rows = take_rows(
        take,
        job=job,
        spec=prepared.spec,
        keys=keys,
        measures=measures,
        ends=ends,
        status="solved",
    )
    return Solved(rows, measures, ends)


def solve_prepared(job: JobFile, prepared: Prepared, keys: Keys) -> pa.Table:
    """Return the table of a shot's take; see `solve_whole`."""
    return solve_whole(job, prepared, keys).rows.read_all()


def failed_row(work: Work, spec: ShotSpec, error: str) -> ShotRow:
    """Return the row of a shot that could not be solved."""
    return _row(work, spec, status="failed", error=error)


def unchosen_row(work: Work, spec: ShotSpec, judgement: Judgement) -> ShotRow:
    """Return the row of a shot for which there is no setup."""
    status, error = judgement.status, judgement.error
    if judgement.candidates:
        status = "no_setup"
        error = f'no setup holds all shots of setup "{spec.setup}" in {spec.scene}'
    return _row(work, spec, status=status, judge_key=judgement.judge_key, error=error)


def _row(work: Work, spec: ShotSpec, **result: Any) -> ShotRow:
    """Return a row with what the job says of the shot filled in."""
    return ShotRow(
        sequence=work.job.sequence,
        scene=spec.scene,
        shot=spec.name,
        setup=canonical({"label": spec.setup, **setup_of(spec)}),
        crew=spec.crew.name,
        purpose=spec.purpose,
        **result,
    )
