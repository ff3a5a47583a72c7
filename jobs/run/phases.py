"""What a run goes through: each phase works on shots, each for itself, then joins.

A phase's unit does one shot, given what the join before gave for it; its join takes
what became of all of them and gives for shots of the next phase. The phases and their
order are the same wherever the units are done: in this process, in several, on a farm.

    judge   which setups can each shot have?      join: choose across the cuts
    take    solve each shot in its setup          join: put the rows into the table
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..takes.judgement import Judgement
from ..takes.merge import merge_sequence
from ..takes.sequence_table import ShotRow
from .chosen import Chosen
from .solve_shot import Work, failed_row, solve_shot, unchosen_row

Result = ShotRow | Judgement
"""What a unit makes of a shot."""

Given = Chosen | ShotRow
"""What a join gives for a shot: its setup, or the row that it ends in without one."""

# As seen on one core: a take of 120 frames is 6 ms, judging it some 60.
_MS_A_SHOT, _MS_A_SAMPLE = 4.0, 0.02
_JUDGE_MS_A_SAMPLE = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Phase:
    """One round over shots of a job.

    Attributes:
        name: lower case, in messages and names of files.
        shots: places of the shots it works on, given those that were asked for. Where
            there are none, the phase is left out, and its join too.
        unit: does a shot, given what the phase before gave for it. Raises
            ShotDataError, SolverError or OSError; see `attempt`.
        lost: the result of a shot that could not be done, with the reason.
        join: ends the round, given the results by place.
        stop: ends the round of a run that is stopped, given the results there are.
        read: a result back from the plain values of its fields.
        cost_ms: what a shot is thought to take.
    """

    name: str
    shots: Callable[[JobFile, Sequence[int]], tuple[int, ...]]
    unit: Callable[[Work, ShotSpec, Given | None], Result]
    lost: Callable[[Work, ShotSpec, str], Result]
    join: Callable[[Work, Mapping[int, Any]], dict[int, Given]]
    stop: Callable[[Work, Mapping[int, Any]], None]
    read: Callable[[Mapping[str, Any]], Result]
    cost_ms: Callable[[ShotSpec], float]


def n_samples(spec: ShotSpec) -> int:
    """Return how many samples of a shot are solved."""
    first, last = spec.solved_frames
    return (last - first + 1) * spec.samples_per_frame


def _shots_to_judge(job: JobFile, asked: Sequence[int]) -> tuple[int, ...]:
    """Return all shots that are chosen for with an asked one that is open.

    Those of its scene; for a camera, all cameras of its action.
    """
    cameras = job.cameras

    def among(spec: ShotSpec) -> tuple[bool, str]:
        action = cameras.get(spec.name)
        return (False, spec.scene.lower()) if action is None else (True, action.name)

    groups = {among(job.shots[k]) for k in asked if job.shots[k].is_open}
    return tuple(k for k, spec in enumerate(job.shots) if among(spec) in groups)


def _judge(work: Work, spec: ShotSpec, given: Given | None) -> Judgement:
    # Imported here: who solves given setups loads nothing that chooses.
    from .judge_once import judge_shot

    return judge_shot(work, spec)


def _not_judged(work: Work, spec: ShotSpec, reason: str) -> Judgement:
    return Judgement(shot=spec.name, key="", status="failed", error=reason)


def _choose(work: Work, judged: Mapping[int, Judgement]) -> dict[int, Given]:
    from .choose import choose_setups, letter_words

    found = {each.shot: each for each in judged.values()}
    choices = choose_setups(work.job, found)
    if work.job.actions:
        from .choose_cameras import choose_cameras

        choices |= choose_cameras(work, found)
    given: dict[int, Given] = {}
    for k in judged:
        spec = work.job.shots[k]
        if spec.is_open and spec.name in choices:
            given[k] = choices[spec.name]
        elif spec.is_open:
            own = found[spec.name]
            words = letter_words(work.job, found, spec) if own.candidates else own.error
            given[k] = unchosen_row(work, spec, replace(own, error=words))
    return given


def _asked_shots(job: JobFile, asked: Sequence[int]) -> tuple[int, ...]:
    return tuple(asked)


def _take(work: Work, spec: ShotSpec, given: Given | None) -> ShotRow:
    return given if isinstance(given, ShotRow) else solve_shot(work, spec, given)


def merge(work: Work, rows: Mapping[int, ShotRow]) -> tuple[ShotRow, ...]:
    """Put rows into the sequence's table; return all rows that it has then.

    Raises:
        OSError: the table could not be written; it is as it was.
    """
    if work.job.actions:
        # Imported here: who solves shots loads nothing that cuts.
        from .cover import cover_actions

        cover_actions(work, {row.shot for row in rows.values()})
    return merge_sequence(work.store.sequence, work.job, rows.values())


def _merge_all(work: Work, rows: Mapping[int, ShotRow]) -> dict[int, Given]:
    _merge_some(work, rows)
    return {}


def _merge_some(work: Work, rows: Mapping[int, ShotRow]) -> None:
    work.store.tidy()
    if rows:
        merge(work, rows)


def _leave(work: Work, judged: Mapping[int, Judgement]) -> None:
    """End a round that leaves nothing to those who stop it."""


def _judge_ms(spec: ShotSpec) -> float:
    return _MS_A_SHOT + _JUDGE_MS_A_SAMPLE * n_samples(spec)


def _take_ms(spec: ShotSpec) -> float:
    return _MS_A_SHOT + _MS_A_SAMPLE * n_samples(spec)


JUDGE = Phase(
    name="judge",
    shots=_shots_to_judge,
    unit=_judge,
    lost=_not_judged,
    join=_choose,
    stop=_leave,
    read=Judgement.from_plain,
    cost_ms=_judge_ms,
)
TAKE = Phase(
    name="take",
    shots=_asked_shots,
    unit=_take,
    lost=failed_row,
    join=_merge_all,
    stop=_merge_some,
    read=lambda row: ShotRow(**row),
    cost_ms=_take_ms,
)

PHASES: tuple[Phase, ...] = (JUDGE, TAKE)


def phase_named(name: str) -> Phase | None:
    """Return the phase of this name; None where there is none."""
    return next((phase for phase in PHASES if phase.name == name), None)


def phases_of(job: JobFile, asked: Sequence[int]) -> tuple[Phase, ...]:
    """Return the phases that have anything to do; always the last one.

    Args:
        job: the checked job.
        asked: places of the shots to solve.
    """
    return tuple(
        phase for phase in PHASES if phase is PHASES[-1] or phase.shots(job, asked)
    )


def plain_result(result: Result) -> dict[str, Any]:
    """Return what a unit gives for a shot as plain values; see `Phase.read`."""
    return result.plain() if isinstance(result, Judgement) else asdict(result)


def plain_given(given: Given) -> dict[str, Any]:
    """Return what a join gives for a shot as plain values; see `read_given`."""
    if isinstance(given, ShotRow):
        return {"row": asdict(given)}
    return {"chosen": given.plain()}


def read_given(plain: Mapping[str, Any]) -> Given:
    """Return what a join gave for a shot, from plain values."""
    return (
        ShotRow(**plain["row"])
        if "row" in plain
        else Chosen.from_plain(plain["chosen"])
    )
