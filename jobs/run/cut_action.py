"""The cut of an action, made or given, with all that it is faulted for."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from ...solver.action.claim import Claim
from ...solver.coverage.cut import (
    ChosenCut,
    CutAsk,
    HeldPicture,
    NoCut,
    OtherCut,
    choose_cut,
)
from ...solver.coverage.given import (
    FIRST,
    LAST,
    LONGEST,
    SETTLED,
    SHORTEST,
    GivenPicture,
    judge_cut,
)
from ...solver.coverage.lengths import Lengths
from ...solver.coverage.part import part_of
from ...solver.coverage.pictures import Pictures
from ...solver.coverage.worth import Beat, PictureCosts, Speech
from ...solver.cuts.continuity import CutShot, cut_findings, cut_news
from ...solver.cuts.end import shot_ends
from ...solver.cuts.findings import OF_CUT, THIS_TOOL, Finding
from ...solver.take import Take
from ..coverage.given import given_cut
from ..errors import Fault, JobError
from ..job.action import ActionSpec, BeatSpec, CutSpec
from ..job.shot import ShotSpec
from ..takes.actions import CUT, NO_CUT, CoveredAction, CutPicture
from ..takes.continuity import PlainFinding, entry_of, plain_finding
from .choose import cut_costs
from .shots import seed_of
from .solve_shot import Work

HELPS = {
    "settled": "cutting into pans that have not settled",
    "first": "another first camera",
    "last": "another last camera",
    "shortest": "a smaller shortest_s",
    "longest": "a larger longest_s",
}


class ActionCamera(NamedTuple):
    """A camera of an action with its take."""

    name: str
    spec: ShotSpec
    take_key: str
    take: Take
    pictures: Pictures


def with_cut(
    work: Work,
    action: ActionSpec,
    cameras: Sequence[ActionCamera],
    found: CoveredAction,
) -> CoveredAction:
    """Return an action with its cut."""
    assert action.cut is not None
    ask = cut_ask(work, action.cut, action)
    shown = [one.pictures for one in cameras]
    given: Sequence[GivenPicture] = ()
    if action.cut.file is None:
        chosen = choose_cut(shown, ask)
        if isinstance(chosen, NoCut):
            helps = [HELPS[name] for name in chosen.helps]
            numbers = {"action": action.name, "helps": "; or ".join(helps)}
            return _without_cut(work, cameras, found, "no_cut", numbers, helps)
    else:
        try:
            given = _given(work, action, cameras)
        except JobError as error:
            words = [str(fault) for fault in error.faults]
            numbers = {"action": action.name, "faults": "; ".join(words)}
            given_found = replace(found, given=action.cut.file)
            return _without_cut(
                work, cameras, given_found, "cut_not_read", numbers, words
            )
        start = action.frames[0]
        free = [(a - start, b - start) for a, b in action.cut.improve]
        chosen = judge_cut(shown, ask, given, free)
    pictures = _judged(work, action, {one.name: one for one in cameras}, chosen)
    ends = [*(one.first for one in given[1:]), cameras[0].pictures.n_frames]
    kept = {
        (one.camera, one.first, end - 1) for one, end in zip(given, ends, strict=False)
    }
    return replace(
        found,
        status=CUT,
        pictures=tuple(
            replace(one, kept=(held.camera, held.first, held.last) in kept)
            for one, held in zip(pictures, chosen.pictures, strict=True)
        ),
        points=chosen.points,
        given=action.cut.file or "",
        best_points=chosen.best_points,
    )


def _given(
    work: Work, action: ActionSpec, cameras: Sequence[ActionCamera]
) -> tuple[GivenPicture, ...]:
    """Return the cut that an action names.

    Raises:
        JobError: it cannot be used, or a camera that it is on has no take.
    """
    path = f"actions[{work.job.actions.index(action)}]"
    given = given_cut(action, work.job.rate, work.folder, path, work.read)
    there = {one.name for one in cameras}
    faults = tuple(
        Fault(path=f"{path}.cut.file", message=f"camera {name} has no take")
        for name in dict.fromkeys(one.camera for one in given)
        if name not in there
    )
    if faults:
        raise JobError(faults)
    return given


def _without_cut(
    work: Work,
    cameras: Sequence[ActionCamera],
    found: CoveredAction,
    name: str,
    numbers: Mapping[str, str],
    helps: Sequence[str],
) -> CoveredAction:
    """Return an action that has no cut, with a finding that says why.

    Args:
        work: the run.
        cameras: of the action; the first has the finding.
        found: the action.
        name: of the finding.
        numbers: what it says.
        helps: what would give a cut, or what is wrong with the one that was given.
    """
    first = cameras[0].spec
    finding = _of_cut(name, "fault", **numbers)
    plain = plain_finding(finding, entry_of(work.job, first))
    findings = dict(found.findings)
    findings[first.name] = [*findings.get(first.name, ()), plain]
    return replace(found, status=NO_CUT, helps=helps, findings=findings)


def _of_cut(name: str, severity: str, **numbers: float | str) -> Finding:
    return Finding(
        name=name,
        severity=severity,
        subject_of=OF_CUT,
        numbers=numbers,
        source=THIS_TOOL,
    )


def cut_ask(work: Work, cut: CutSpec, action: ActionSpec) -> CutAsk:
    """Return how an action is to be cut, as the solver reads it."""
    start = action.frames[0]
    own = cut.weights.model_dump(exclude_none=True)
    costs = replace(
        cut_costs(work.job), **cut.cut_weights.model_dump(exclude_none=True)
    )
    return CutAsk(
        lengths=Lengths(
            median_s=cut.median_s,
            spread=cut.spread,
            shortest_s=cut.shortest_s,
            longest_s=cut.longest_s,
            varied=cut.varied,
            seed=seed_of(work.job, f"{action.name}/cut"),
        ),
        beats=tuple(_beat(beat, start) for beat in cut.beats),
        speeches=tuple(
            Speech(who=one.who, first=one.frames[0] - start, last=one.frames[1] - start)
            for one in cut.speaks
        ),
        first=cut.first or "",
        last=cut.last or "",
        pictures=replace(PictureCosts(), **own),
        cuts=costs,
    )


def _beat(beat: BeatSpec, start: int) -> Beat:
    """Return a beat of an action that starts at a frame."""
    claim = beat.tells
    return Beat(
        first=beat.frames[0] - start,
        last=beat.frames[1] - start,
        on=beat.on or ((beat.alone,) if beat.alone is not None else ()),
        alone=beat.alone is not None,
        camera=beat.camera or "",
        claim=None
        if claim is None
        else Claim(
            verb=claim.verb, who=claim.named, over=claim.over, given=claim.given
        ),
    )


def _judged(
    work: Work, action: ActionSpec, cameras: Mapping[str, ActionCamera], cut: ChosenCut
) -> tuple[CutPicture, ...]:
    """Return the pictures of a cut, judged by the rules for cuts between shots."""
    start, scene = action.frames[0], ""
    shots = []
    for one in cut.pictures:
        camera = cameras[one.camera]
        first, last = start + one.first, start + one.last
        scene = camera.spec.scene.lower()
        table = camera.pictures.table.between(first, last)
        ends = shot_ends(part_of(camera.take, first, last), table)
        name = f"{camera.spec.name} ({first}-{last})"
        shots.append(CutShot(name=name, scene=scene, elapsed=False, ends=ends))
    found = []
    for k, (one, shot, faulted) in enumerate(
        zip(cut.pictures, shots, cut_findings(shots), strict=True)
    ):
        camera = cameras[one.camera]
        own = [
            each
            for each in faulted
            # Cameras that match are on one lens: that is no run of it.
            if each.subject_of == OF_CUT and each.name != "lens_run"
        ]
        if one.missed:
            own.append(_of_cut("beat_missed", "fault", missed=one.missed))
        own += [_rule_broken(rule, one, work, action.cut) for rule in one.broken]
        entry = replace(entry_of(work.job, camera.spec), shot=shot.name)
        news = cut_news(shots[k - 1], shot) if k else ()
        plain: list[PlainFinding] = [plain_finding(each, entry) for each in own]
        found.append(
            CutPicture(
                shot=camera.spec.name,
                camera=one.camera,
                frames=(start + one.first, start + one.last),
                parts=one.parts,
                liked_s=one.liked / float(work.job.rate),
                cut=one.cut,
                brings=[each._asdict() for each in news],
                other_time=_other(one.other_time, start),
                other_camera=_other(one.other_camera, start),
                findings=plain,
            )
        )
    return tuple(found)


def _rule_broken(
    rule: str, one: HeldPicture, work: Work, cut: CutSpec | None
) -> Finding:
    """Return what a picture of a given cut is faulted for, with what was asked."""
    assert cut is not None
    held_s = (one.last - one.first + 1) / float(work.job.rate)
    asked: dict[str, float | str] = {
        FIRST: cut.first or "",
        LAST: cut.last or "",
        SHORTEST: cut.shortest_s,
        LONGEST: cut.longest_s,
        SETTLED: "",
    }
    return _of_cut(
        "breaks_cut_rule", "warning", rule=rule, asked=asked[rule], held_s=held_s
    )


def _other(other: OtherCut | None, start: int) -> dict[str, Any] | None:
    if other is None:
        return None
    return {"frame": start + other.frame, "camera": other.camera, "more": other.more}
