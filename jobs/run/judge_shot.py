"""Judges the setups that one shot can have: the unit of work before the choice."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from math import degrees, radians
from typing import Any

from ...solver.action.at_cut import CutAction, cut_action
from ...solver.cuts.end import trial_ends
from ...solver.optics.lens import Lens
from ...solver.setups.judge import (
    CLOSEST,
    DRIFT,
    IN,
    RAIL_HIGH,
    RAIL_LOW,
    SAFE_IN,
    SIZED,
    TURN,
    VIEWED,
)
from ...solver.setups.no_setup import why_none
from ...solver.setups.score import Judged, judged
from ...solver.setups.search import candidates
from ...solver.setups.setup import SIDES, Ask, Setup, View
from ...solver.setups.trial import Rehearsal, Trial
from ..errors import InputError, ShotDataError
from ..job.shot import ShotSpec
from ..job.spec import WorldSpec
from ..takes.judgement import Candidate, Judgement, read_judgement
from ..takes.keys import digest, judge_key, setup_of
from ..takes.table import read_take, take_metadata
from ..takes.why_no_take import no_setup_words
from .asks import ask_of, setup_values
from .shots import VIEWS_DEG, Prepared, rig_fields
from .solve_shot import Work

MOST_CANDIDATES = 24  # kept for the choice; the best of each view and side always
SHARED_EACH = 8  # setups that each shot of a letter brings to the others

_NUMBERS = {
    "in_frame": IN,
    "in_safe": SAFE_IN,
    "size_kept": SIZED,
    "view_kept": VIEWED,
    "drift_max": DRIFT,
    "closest_m": CLOSEST,
}


def judge_shot(work: Work, spec: ShotSpec) -> Judgement:
    """Return the setups that a shot can have, judged as the crew works them.

    A judgement that lies in the store for the same inputs is used again. Of a shot
    that shares its setup by letter, the setups of all shots of the letter are judged.

    Raises:
        OSError: the judgement could not be written.
    """
    try:
        group = _group(work, spec)
    except ShotDataError as error:
        return Judgement(
            shot=spec.name,
            key="",
            status="failed",
            error="\n".join(map(str, error.faults)),
        )
    own, _, prepared = group[0]
    judge = judge_key(work.job, own, prepared.inputs)
    last = _last_night(work, spec)
    members = sorted(judge_key(work.job, one, read.inputs) for one, _, read in group)
    key = digest({"own": judge, "group": members, "last": last})
    path = work.store.candidates(spec.name)
    known = read_judgement(path)
    if known is not None and known.key == key:
        return known
    found = _judged(work, spec, group, judge, key, last)
    found.write(path)
    return found


def judge_alone(work: Work, spec: ShotSpec) -> Judgement:
    """Return the setups that a shot can have by itself; nothing is read or written.

    For a job of one shot: there is no last night, and nobody shares its setup.

    Raises:
        ShotDataError: its data cannot be used.
    """
    member = (spec, *ask_of(work.job, spec, work.folder, read=work.read))
    judge = judge_key(work.job, spec, member[2].inputs)
    return _judged(work, spec, [member], judge, judge, None)


Member = tuple[ShotSpec, Ask, Prepared]


def _group(work: Work, spec: ShotSpec) -> list[Member]:
    """Return the shot and the others that share its setup, the shot first."""
    specs = [spec]
    if spec.setup is not None and spec.is_open:
        specs += [
            other
            for other in work.job.shots
            if other.name != spec.name
            and other.setup is not None
            and other.setup.lower() == spec.setup.lower()
            and other.scene.lower() == spec.scene.lower()
        ]
    return [(one, *ask_of(work.job, one, work.folder, read=work.read)) for one in specs]


def _judged(
    work: Work,
    spec: ShotSpec,
    group: Sequence[Member],
    judge: str,
    key: str,
    last: dict[str, Any] | None,
) -> Judgement:
    world = work.job.world
    _, ask, _ = group[0]
    stage = Rehearsal(ask)
    tried = candidates(ask, stage)
    for _, other, _ in group[1:]:
        brought = candidates(other)[:SHARED_EACH]
        tried += [judged(ask, stage.tried(each.setup)) for each in brought]
    kept_setup = None if last is None else _setup(spec, last["setup"], world)
    if kept_setup is not None:
        kept_judged = judged(ask, stage.tried(kept_setup))
        tried.append(kept_judged)
    fixed = not spec.is_open
    holding = [each for each in tried if each.holds or fixed]
    if not holding:
        reason = why_none(stage, tried)
        return Judgement(
            shot=spec.name,
            key=key,
            judge_key=judge,
            n_tried=stage.n_trials,
            status="no_setup",
            error=no_setup_words(reason),
            relax=asdict(reason),
        )
    action = cut_action(ask.shot)
    plain = _Plain(spec, world)
    found: dict[str, Candidate] = {}
    limit = MOST_CANDIDATES if len(group) == 1 else len(holding)
    for each in _picked(holding, limit):
        values = plain.values(each.setup)
        found.setdefault(digest(values), _candidate(ask, action, each, values))
    kept = None
    if kept_setup is not None and (kept_judged.holds or fixed):
        values = plain.values(kept_setup)
        name = digest(values)
        found.setdefault(name, _candidate(ask, action, kept_judged, values))
        kept = list(found).index(name)
    return Judgement(
        shot=spec.name,
        key=key,
        judge_key=judge,
        candidates=tuple(found.values()),
        kept=kept,
        unchanged=last is not None and last["judge_key"] == judge,
        n_tried=stage.n_trials,
    )


def _picked(holding: list[Judged], limit: int) -> Iterator[Judged]:
    """Yield the best, first of each view and side, then of each lens on it."""
    ranked = sorted(holding, key=lambda each: each.rank)
    seen: set[Any] = set()
    later = []
    for each in ranked:
        view = each.setup.view
        stands = None if view is None else (view.name, view.side)
        if stands not in seen:
            seen.add(stands)
            limit -= 1
            yield each
        else:
            later.append(each)
    lenses: set[Any] = set()
    again = []
    for each in later:
        view = each.setup.view
        stands = None if view is None else (view.name, view.side)
        if (stands, each.setup.lens.focal_mm) in lenses:
            again.append(each)
            continue
        lenses.add((stands, each.setup.lens.focal_mm))
        if limit > 0:
            limit -= 1
            yield each
    yield from again[: max(limit, 0)]


def _candidate(
    ask: Ask, action: CutAction, each: Judged, values: dict[str, Any]
) -> Candidate:
    trial = each.trial
    lens = each.setup.lens
    ends = trial_ends(ask.shot, lens, action, trial.cams, trial.screen)
    return Candidate(
        setup=values,
        score=each.score,
        parts=each.parts,
        numbers=_numbers(trial),
        ends=ends.plain(),
    )


class _Plain:
    """Setups of a shot as plain values in scene units, as they stand in the job."""

    def __init__(self, spec: ShotSpec, world: WorldSpec) -> None:
        opened, asked = spec.open_fields, setup_of(spec)
        self.world = world
        self.only_height = "height" in opened and "rig" not in opened
        self.fixed = {name: asked[name] for name in asked if name not in opened}

    def values(self, setup: Setup) -> dict[str, Any]:
        """Return a setup, with what the job fixes as the job has it."""
        values = setup_values(setup, self.world)
        if self.only_height:
            height = float(setup.rig.shape.origin[1])
            values["height"] = height / self.world.metres_per_unit
        return values | self.fixed


def _numbers(trial: Trial) -> dict[str, float]:
    numbers = {name: float(trial.numbers[k]) for name, k in _NUMBERS.items()}
    return numbers | {
        "pan_max_speed_deg_s": degrees(float(trial.numbers[TURN])),
        "pan_decisions_per_s": trial.pan_rate,
        "dolly_decisions_per_s": trial.dolly_rate,
        "dolly_m": float(trial.numbers[RAIL_HIGH] - trial.numbers[RAIL_LOW]),
        "rail_m": trial.setup.rig.length_m,
        "hidden": trial.hidden,
    }


def _last_night(work: Work, spec: ShotSpec) -> dict[str, Any] | None:
    """Return setup and judge key of the current take, where it counts."""
    if spec.keep_setup.from_ == "none" or not spec.is_open:
        return None
    try:
        metadata = take_metadata(read_take(work.store.take(spec.name)))
    except InputError:
        return None
    return {"setup": metadata["setup"], "judge_key": metadata["keys"]["judge"]}


def _setup(spec: ShotSpec, values: dict[str, Any], world: WorldSpec) -> Setup | None:
    """Return the setup of an earlier take, or None where the shot can't have it."""
    lenses = {lens.mm: lens for lens in spec.lenses}
    fixed = _Plain(spec, world).fixed
    if values["lens_mm"] not in lenses or any(values[k] != fixed[k] for k in fixed):
        return None
    lens = lenses[values["lens_mm"]]
    view = _view(values)
    rigged = rig_fields(spec.with_setup(values), world)
    return Setup(
        lens=Lens(lens.mm, lens.close_focus_m, lens.widest_stop),
        rig=rigged["rig"],
        view=view,
        hold=rigged.get("hold", "abreast"),
        view_rad=0.0 if view is None else view.bearing_rad,
        offset=rigged.get("side_offset", (0.0, 0.0, 0.0)),
        follow=rigged.get("follow", 1.0),
    )


def _view(values: dict[str, Any]) -> View | None:
    view, side = values["view"], values["side"]
    if view is None or side not in SIDES:
        return None
    angle = VIEWS_DEG[view] if isinstance(view, str) else float(view)
    name = view if isinstance(view, str) else f"{angle:g} deg"
    return View(name=name, angle_rad=radians(angle), side=side)
