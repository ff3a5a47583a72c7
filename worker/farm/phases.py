"""What a batch goes through: each phase works on shots, each for itself, then joins.

A phase is one entry of `PHASES`. Its unit takes a shot and what earlier joins gave for
it; its join takes what became of all its shots and returns what that gives for shots of
the next phase. The queue, the counting and the failures are the same for all.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import pyarrow as pa

from ...jobs.job.shot import ShotSpec
from ...jobs.job.spec import JobFile
from ...jobs.run.choose import Chosen, choose_setups
from ...jobs.run.judge_once import judge_shot
from ...jobs.run.local import shots_to_judge
from ...jobs.run.solve_shot import Work, failed_row, solve_shot, unchosen_row
from ...jobs.takes.judgement import Candidate, Judgement
from ...jobs.takes.keys import Keys
from ...jobs.takes.merge import merge_sequence, note_reported
from ...jobs.takes.sequence_table import ShotRow
from ...jobs.takes.store import Store
from .review_pages import write_pages

Row = dict[str, Any]
"""What a phase says of a shot: plain values, among them its `status`."""

Given = dict[str, Any]
"""What a join gives for shots, by place in the job; it may be silent on some."""

Mark = Callable[[], None]
"""Notes that a shot's result was not there yet."""

# As seen on one core: a take of 120 frames is 6 ms, judging it some 60.
_MS_A_SHOT, _MS_A_SAMPLE = 4.0, 0.02
_JUDGE_MS_A_SAMPLE = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Phase:
    """One round over shots of a batch.

    Attributes:
        name: lower case, in messages and names of files.
        shots: places of the shots it works on, given those that were asked for. Where
            there are none, the phase is left out, and its join too.
        unit: does a shot, given what the phase before gave for it (None where that is
            silent) and what to call where its result is not there yet.
        lost: the row of a shot that could not be done, with the reason.
        join: ends the round, given the rows by place, and whether an earlier try may
            have got part of the way.
        stop: ends the round of a batch that was cancelled, given the rows there are.
        cost_ms: what a shot is thought to take, for bundles.
    """

    name: str
    shots: Callable[[JobFile, Sequence[int]], tuple[int, ...]]
    unit: Callable[[Work, ShotSpec, Any, Mark], Row]
    lost: Callable[[Work, ShotSpec, str], Row]
    join: Callable[[Work, Mapping[int, Row], bool], Given]
    stop: Callable[[Work, Mapping[int, Row]], None]
    cost_ms: Callable[[ShotSpec], float]


@dataclass(frozen=True, kw_only=True, slots=True)
class MarkingStore(Store):
    """A store that says when a take has to be solved."""

    mark: Mark

    def find(self, shot: str, keys: Keys) -> pa.Table | None:
        """Return the take of these keys; where there is none, note it first."""
        table = Store.find(self, shot, keys)
        if table is None:
            self.mark()
        return table


def n_samples(spec: ShotSpec) -> int:
    """Return how many samples of a shot are solved."""
    first, last = spec.solved_frames
    return (last - first + 1) * spec.samples_per_frame


def _judged_shots(job: JobFile, asked: Sequence[int]) -> tuple[int, ...]:
    names = {s.name for s in shots_to_judge(job, [job.shots[k] for k in asked])}
    return tuple(k for k, spec in enumerate(job.shots) if spec.name in names)


def _judge(work: Work, spec: ShotSpec, given: Any, mark: Mark) -> Row:
    return asdict(judge_shot(work, spec))


def _judge_lost(work: Work, spec: ShotSpec, reason: str) -> Row:
    error = f"{_place(work.job, spec)}: {reason}"
    return asdict(Judgement(shot=spec.name, key="", status="failed", error=error))


def _choose(work: Work, rows: Mapping[int, Row], again: bool) -> Given:
    found = {work.job.shots[k].name: _judgement(row) for k, row in rows.items()}
    choices = choose_setups(work.job, found)
    given: Given = {}
    for k in rows:
        spec = work.job.shots[k]
        if not spec.is_open:
            continue
        if spec.name in choices:
            given[str(k)] = {"chosen": asdict(choices[spec.name])}
        else:
            row = unchosen_row(work, spec, found[spec.name])
            given[str(k)] = {"row": asdict(row)}
    return given


def _judgement(row: Row) -> Judgement:
    candidates = tuple(Candidate(**each) for each in row["candidates"])
    return Judgement(**{**row, "candidates": candidates})


def _all_shots(job: JobFile, asked: Sequence[int]) -> tuple[int, ...]:
    return tuple(asked)


def _take(work: Work, spec: ShotSpec, given: Any, mark: Mark) -> Row:
    if given is not None and "row" in given:
        row: Row = given["row"]
        return row
    chosen = None if given is None else Chosen(**given["chosen"])
    store = MarkingStore(folder=work.store.folder, mark=mark)
    return asdict(solve_shot(replace(work, store=store), spec, chosen))


def _take_lost(work: Work, spec: ShotSpec, reason: str) -> Row:
    return asdict(failed_row(work, spec, f"{_place(work.job, spec)}: {reason}"))


def _report(work: Work, rows: Mapping[int, Row], again: bool) -> Given:
    _merge(work, rows)
    folder = work.store.folder
    note_reported(folder, {work.job.shots[k].name for k in rows}, again=again)
    write_pages(folder, len(rows))
    return {}


def _merge(work: Work, rows: Mapping[int, Row]) -> None:
    work.store.tidy()
    if rows:
        found = [ShotRow(**row) for row in rows.values()]
        merge_sequence(work.store.sequence, work.job, found)


def _nothing(work: Work, rows: Mapping[int, Row]) -> None:
    """End a round that leaves nothing to those who stop it."""


def _place(job: JobFile, spec: ShotSpec) -> str:
    return f"shots[{job.place_of(spec.name)}]"


def _judge_ms(spec: ShotSpec) -> float:
    return _MS_A_SHOT + _JUDGE_MS_A_SAMPLE * n_samples(spec)


def _take_ms(spec: ShotSpec) -> float:
    return _MS_A_SHOT + _MS_A_SAMPLE * n_samples(spec)


JUDGE = Phase(
    name="judge",
    shots=_judged_shots,
    unit=_judge,
    lost=_judge_lost,
    join=_choose,
    stop=_nothing,
    cost_ms=_judge_ms,
)
TAKE = Phase(
    name="take",
    shots=_all_shots,
    unit=_take,
    lost=_take_lost,
    join=_report,
    stop=_merge,
    cost_ms=_take_ms,
)

PHASES: tuple[Phase, ...] = (JUDGE, TAKE)


def phase_named(name: str) -> Phase | None:
    """Return the phase of this name; None where there is none."""
    return next((phase for phase in PHASES if phase.name == name), None)


def phases_of(job: JobFile, asked: Sequence[int]) -> tuple[Phase, ...]:
    """Return the phases that have anything to do; always the last one."""
    return tuple(
        phase for phase in PHASES if phase is PHASES[-1] or phase.shots(job, asked)
    )
