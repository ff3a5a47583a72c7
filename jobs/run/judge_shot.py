"""Judges the setups that one shot can have; what lies in a store is not looked at."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from math import degrees, radians
from typing import TYPE_CHECKING, Any

from ...solver.cuts.at_cut import CutAction, cut_action
from ...solver.cuts.end import trial_ends
from ...solver.optics.lens import Lens
from ...solver.setups.judge import (
    CLOSEST,
    DRIFT,
    HEAD_HELD,
    IN,
    RAIL_HIGH,
    RAIL_LOW,
    SIZED,
    TURN,
    VIEWED,
)
from ...solver.setups.no_setup import why_none
from ...solver.setups.score import Judged, judged
from ...solver.setups.setup import Ask, Setup, View
from ...solver.setups.trial import Rehearsal, Trial
from ..job.setup import SETUP_FIELDS, SetupSpec
from ..job.shot import ShotSpec
from ..job.world import WorldSpec
from ..takes.judgement import Candidate, Judgement
from ..takes.why_no_take import no_setup_words
from .asks import setup_in_scene
from .rehearsed_once import rehearsed_once
from .searched import searched, searched_once
from .shots import VIEWS_DEG, Prepared, rig_fields

if TYPE_CHECKING:
    pass

MOST_CANDIDATES = 24  # kept for the choice; the best of each view and side always
SHARED_EACH = 8  # setups that each shot of a letter brings to the others

_NUMBERS = {
    "in_frame": IN,
    "head_in_frame": HEAD_HELD,
    "size_kept": SIZED,
    "view_kept": VIEWED,
    "drift_max": DRIFT,
    "closest_m": CLOSEST,
}


Member = tuple[ShotSpec, Ask, Prepared]
"""A shot, what its setup may be, and the shot as it was read."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LastNight:
    """What the current take of a shot says of the night that made it."""

    setup: SetupSpec
    judge_key: str


def judge_group(
    world: WorldSpec,
    group: Sequence[Member],
    *,
    judges: Sequence[str],
    key: str,
    camera: bool = False,
) -> Judgement:
    """Return the setups that the first shot of a group can have, best first.

    Args:
        world: axes and units of the scene.
        group: the shot, and the others that share its setup by letter; each of them
            brings its best setups.
        judges: judge key of each of them.
        key: digest of all that the judgement depends on.
        camera: whether it is a camera of an action, which others are of too.
    """
    spec, ask, _ = group[0]
    judge, alone = judges[0], len(group) == 1
    if alone:
        own = searched(ask, rehearsed_once(ask.shot) if camera else None)
    else:
        own = searched_once(judge, ask)
    tried, n_brought = list(own.tried), 0
    if not alone:
        stage = Rehearsal(ask)
        for (_, other, _), theirs in zip(group[1:], judges[1:], strict=True):
            brought = searched_once(theirs, other).tried[:SHARED_EACH]
            tried += [judged(ask, stage.tried(each.setup)) for each in brought]
        n_brought = stage.n_trials
    n_tried = own.n_trials + n_brought
    fixed = not spec.is_open
    holding = [each for each in tried if each.holds or fixed]
    if not holding:
        reason = why_none(Rehearsal(ask), tried)
        return Judgement(
            shot=spec.name,
            key=key,
            judge_key=judge,
            n_tried=n_tried,
            status="no_setup",
            error=no_setup_words(reason),
            relax=asdict(reason),
        )
    actions: dict[str, CutAction] = {}
    found: dict[SetupSpec, Candidate] = {}
    limit = MOST_CANDIDATES if alone else len(holding)
    for each in _picked(holding, limit):
        asked, size = _in_job(each.setup, spec, world), each.setup.size
        if size not in actions:
            actions[size] = cut_action(ask.of_size(size).shot)
        found.setdefault(asked, _candidate(ask, actions[size], each, asked))
    return Judgement(
        shot=spec.name,
        key=key,
        judge_key=judge,
        candidates=tuple(found.values()),
        n_tried=n_tried,
    )


def with_last_night(
    world: WorldSpec, member: Member, found: Judgement, last: LastNight
) -> Judgement:
    """Return a judgement with last night's setup among its candidates, if it holds.

    Args:
        world: axes and units of the scene.
        member: the shot.
        found: its judgement, which knows of no night before.
        last: of the shot.
    """
    spec, whole, _ = member
    setup = _setup(spec, last.setup, world)
    if setup is None:
        return found
    ask = whole.of_size(setup.size)
    asked = _in_job(setup, spec, world)
    known = [each.setup for each in found.candidates]
    unchanged = last.judge_key == found.judge_key
    if asked in known:
        kept = known.index(asked)
        return replace(found, kept=kept, unchanged=unchanged)
    tried = judged(ask, Rehearsal(ask).tried(setup))
    if not tried.holds:
        return replace(found, unchanged=unchanged, n_tried=found.n_tried + 1)
    candidate = _candidate(ask, cut_action(ask.shot), tried, asked)
    return replace(
        found,
        candidates=(*found.candidates, candidate),
        kept=len(known),
        unchanged=unchanged,
        n_tried=found.n_tried + 1,
        status="judged",
        error=None,
        relax={},
    )


def _picked(holding: list[Judged], limit: int) -> Iterator[Judged]:
    """Yield the best, first of each view, side and size, then of each lens on it."""
    ranked = sorted(holding, key=lambda each: each.rank)
    seen: set[Any] = set()
    later = []
    for each in ranked:
        view = each.setup.view
        stands = (None if view is None else (view.name, view.side), each.setup.size)
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
        stands = (None if view is None else (view.name, view.side), each.setup.size)
        if (stands, each.setup.lens.focal_mm) in lenses:
            again.append(each)
            continue
        lenses.add((stands, each.setup.lens.focal_mm))
        if limit > 0:
            limit -= 1
            yield each
    yield from again[: max(limit, 0)]


def _candidate(
    ask: Ask, action: CutAction, each: Judged, setup: SetupSpec
) -> Candidate:
    trial = each.trial
    lens = each.setup.lens
    ends = trial_ends(ask.shot, lens, action, trial.cams, trial.screen)
    return Candidate(
        setup=setup,
        score=each.score,
        parts=each.parts,
        numbers=_numbers(trial),
        ends=ends.plain(),
    )


def _fixed(spec: ShotSpec) -> dict[str, Any]:
    """Return what the job fixes of a shot's setup, by name."""
    opened = spec.open_fields
    return {name: getattr(spec, name) for name in SETUP_FIELDS if name not in opened}


def _in_job(setup: Setup, spec: ShotSpec, world: WorldSpec) -> SetupSpec:
    """Return a setup in scene units, with what the job fixes as the job has it."""
    given, opened = _fixed(spec), spec.open_fields
    given["size"] = setup.size or spec.framing.named_size
    if "height" in opened and "rig" not in opened:
        given["height"] = world.units(float(setup.rig.shape.origin[1]))
    return setup_in_scene(setup, world).model_copy(update=given)


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


def _setup(spec: ShotSpec, asked: SetupSpec, world: WorldSpec) -> Setup | None:
    """Return the setup of an earlier take, or None where the shot can't have it."""
    lenses = {lens.mm: lens for lens in spec.lenses}
    fixed, sizes = _fixed(spec), spec.framing.open_sizes
    if sizes and asked.size not in sizes:
        return None
    if asked.lens_mm not in lenses or any(
        getattr(asked, name) != fixed[name] for name in fixed
    ):
        return None
    lens = lenses[asked.lens_mm]
    view = _view(asked)
    rigged = rig_fields(spec.with_setup(asked), world)
    return Setup(
        lens=Lens(lens.mm, lens.close_focus_m, lens.widest_stop),
        rig=rigged["rig"],
        view=view,
        hold=rigged.get("hold", "abreast"),
        view_rad=0.0 if view is None else view.bearing_rad,
        offset=rigged.get("side_offset", (0.0, 0.0, 0.0)),
        follow=rigged.get("follow", 1.0),
        size=(asked.size or "") if sizes else "",
    )


def _view(asked: SetupSpec) -> View | None:
    view, side = asked.view, asked.side
    if view is None or side is None:
        return None
    angle = VIEWS_DEG[view] if isinstance(view, str) else view
    name = view if isinstance(view, str) else f"{angle:g} deg"
    return View(name=name, angle_rad=radians(angle), side=side)
