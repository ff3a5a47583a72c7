"""Chooses a setup for every shot of a job across its cuts: the join after judging."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise
from math import radians

from ...solver.cuts.cost import MICRO, CutCosts, with_habits
from ...solver.cuts.end import CutEnd, EndView
from ...solver.cuts.open_shot import OpenShot, State, keeping_gains
from ...solver.cuts.sequence import choose_sequence
from ...solver.setups.score import TIE
from ...solver.setups.setup import view_family
from ..job.letters import SHARED_FIELDS
from ..job.setup import SetupSpec
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..takes.judgement import Candidate, Judgement
from ..takes.keys import digest
from ..takes.runner_up import RunnerUp
from ..takes.why_no_take import HELPS
from .chosen import Chosen

MOST_PAIRS = 3  # of shots without a setup in common that are named


def choose_setups(
    job: JobFile, judgements: Mapping[str, Judgement]
) -> dict[str, Chosen]:
    """Return the setups of all shots that have one, by name of the shot.

    Args:
        job: the checked job.
        judgements: by name of the shot; those without candidates are left out of the
            choice, as are shots that are not there, and the shots of a letter that
            have no setup in common.
    """
    cameras = job.cameras
    judged = [
        spec
        for spec in job.shots
        if spec.name in judgements
        and judgements[spec.name].candidates
        and spec.name not in cameras
    ]
    apart = _apart(judged, judgements)
    specs = [spec for spec in judged if spec.name not in apart]
    if not specs:
        return {}
    there = {spec.name for spec in specs}
    after_gap = {two.name for one, two in pairwise(job.shots) if one.name not in there}
    shots = [
        open_shot(spec, judgements[spec.name], gap=spec.name in after_gap)
        for spec in specs
    ]
    letters = {spec.name: spec.setup.lower() for spec in specs if spec.setup}
    choice = choose_sequence(shots, shared=letters, costs=cut_costs(job))
    found = {}
    for k, spec in enumerate(specs):
        judgement = judgements[spec.name]
        index, other = choice.chosen[k], choice.runner_up[k]
        runner_up = None
        if other is not None:
            more = choice.runner_up_costs(k)
            gains = keeping_gains(shots[k])
            fee = int(gains[index] - gains[other]) / MICRO
            runner_up = runner_up_of(judgement.candidates[other], more, fee)
        found[spec.name] = chosen_of(
            judgement, index, cut=choice.cuts[k], runner_up=runner_up
        )
    return found


def chosen_of(
    judgement: Judgement,
    index: int,
    *,
    cut: Mapping[str, float],
    runner_up: RunnerUp | None,
) -> Chosen:
    """Return the choice of one of a shot's candidates.

    Args:
        judgement: of the shot.
        index: of the candidate.
        cut: parts of what it costs among others [points].
        runner_up: the next best.
    """
    candidate = judgement.candidates[index]
    why = {
        "score": candidate.score,
        "parts": candidate.parts,
        "cut": cut,
        "numbers": candidate.numbers,
        "tried": judgement.n_tried,
        "candidates": len(judgement.candidates),
        "kept": judgement.kept == index,
    }
    return Chosen(
        shot=judgement.shot, setup=candidate.setup, why=why, runner_up=runner_up
    )


def letter_words(
    job: JobFile, judgements: Mapping[str, Judgement], spec: ShotSpec
) -> str:
    """Return why a shot's letter has no setup in common, and what would help.

    Args:
        job: the checked job.
        judgements: by name of the shot, of all shots of the letter.
        spec: one of them, which has setups by itself.
    """
    setups = {
        other.name: {_shared(each) for each in judgements[other.name].candidates}
        for other in job.shots
        if other.name in judgements
        and (other.setup or "").lower() == (spec.setup or "").lower()
        and other.scene.lower() == spec.scene.lower()
        and judgements[other.name].candidates
    }
    held = ", ".join(f"{len(each)} hold {name}" for name, each in setups.items())
    words = f'no setup holds all shots of setup "{spec.setup}" in {spec.scene}: {held}'
    freed = []
    for name in setups:
        rest = [each for other, each in setups.items() if other != name]
        common = len(set.intersection(*rest)) if len(rest) > 1 else 0
        if common:
            freed.append(f"{name} without the letter ({common} hold all others)")
    if not freed:
        apart = [
            f"{one} and {two}"
            for one, two in combinations(setups, 2)
            if not setups[one] & setups[two]
        ]
        freed = [f"another letter for one of {pair}" for pair in apart[:MOST_PAIRS]]
    helps = "; ".join(freed) or "another letter for some of them"
    return f"{words}{HELPS}{helps}"


def _apart(specs: Sequence[ShotSpec], judgements: Mapping[str, Judgement]) -> set[str]:
    """Return the shots whose letter has no setup that holds all its shots."""
    common: dict[tuple[str, str], set[str]] = {}
    members: dict[tuple[str, str], set[str]] = {}
    for spec in specs:
        if spec.setup is None:
            continue
        letter = spec.scene.lower(), spec.setup.lower()
        own = {_shared(each) for each in judgements[spec.name].candidates}
        common[letter] = common.get(letter, own) & own
        members.setdefault(letter, set()).add(spec.name)
    return {name for key, names in members.items() if not common[key] for name in names}


def _shared(candidate: Candidate) -> str:
    """Return a name for what shots of one letter share of a setup."""
    setup = candidate.setup.plain()
    return digest({name: setup[name] for name in SHARED_FIELDS})


def family_of(setup: SetupSpec) -> str:
    """Return the family of a setup's view, "" where its rig is fixed."""
    view = setup.view
    if view is None:
        return ""
    return view if isinstance(view, str) else view_family(radians(view))


def _kind(candidate: Candidate) -> str:
    """Return what a runner-up has to differ in: rig, view, lens or size."""
    setup = candidate.setup
    family, size = family_of(candidate.setup), setup.size or ""
    return f"{setup.rig.kind} {family} {setup.lens_mm:g} {size}"


def runner_up_of(candidate: Candidate, more: float | None, fee: float) -> RunnerUp:
    """Return a candidate as the next best.

    Args:
        candidate: of a shot.
        more: points that it costs more than the chosen one.
        fee: the part of them for changing last night's setup.
    """
    return RunnerUp(
        setup=candidate.setup,
        score=candidate.score,
        parts=candidate.parts,
        costs_more=more,
        tie=more is not None and more - fee < TIE,
        fee=fee,
    )


def _state(k: int, candidate: Candidate, *, lettered: bool, size_open: bool) -> State:
    """Return a candidate as the choice sees it; the first of a shot with whole ends."""
    end = EndView.from_plain if k else CutEnd.from_plain
    ends = candidate.ends
    return State(
        score=candidate.score,
        first=end(ends["first"]),
        last=end(ends["last"]),
        order=k,
        setup=_shared(candidate) if lettered else "",
        kind=_kind(candidate),
        view=family_of(candidate.setup),
        size=candidate.setup.size or "" if size_open else "",
    )


def open_shot(spec: ShotSpec, judgement: Judgement, *, gap: bool) -> OpenShot:
    """Return a shot with its candidates, as a choice sees it.

    Args:
        spec: the shot.
        judgement: of it, with candidates.
        gap: whether the shot before has none.
    """
    states = [
        _state(
            k,
            candidate,
            lettered=spec.setup is not None,
            size_open=bool(spec.framing.open_sizes),
        )
        for k, candidate in enumerate(judgement.candidates)
    ]
    return OpenShot(
        name=spec.name,
        scene=spec.scene.lower(),
        states=tuple(states),
        elapsed=spec.cut == "elapsed",
        kept=judgement.kept,
        unchanged=judgement.unchanged,
        gap=gap,
        margin=spec.keep_setup.margin,
    )


def cut_costs(job: JobFile) -> CutCosts:
    """Return what cuts cost, with the job's own weights."""
    asked = job.habits.cut_weights.model_dump(exclude_none=True)
    lens_use = {float(mm): share for mm, share in job.habits.lens_use.items()}
    costs, habits = replace(CutCosts(), **asked), job.habits
    size_use = {str(name): share for name, share in habits.size_use.items()}
    return with_habits(costs, habits.variety, lens_use, size_use)
