"""Why no setup holds a shot, and the least change of what was asked that would help.

Nothing is guessed: each change is tried with the same proposals, crew and judge, one
at a time, and only what then holds is named. A limit of the stage is not tried where
every trial breaks another must too, and no lens was kept away: without it the same
setups would be tried, and none would hold.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..action.rehearsed import Action
from ..arrays import FloatArray
from ..optics.lens import Lens
from ..rigs.kinds import KINDS
from ..stage.stage import Stage, floor_rows
from .judge import HEAD_HELD, SIZED
from .proposal import lens_height
from .propose import distance_of, suitable
from .score import Judged, claim_name
from .search import something_holds
from .setup import SIDES, VIEWS_RAD, Ask, View
from .trial import Rehearsal

GROWTHS_M = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
SHORTER = (0.71, 0.5, 0.35)  # the steps of a kit
LONGER = (1.41, 2.0, 2.83)
LENSES_MM = (10.0, 300.0)  # that can be had; common practice, no source
SPEED_STEPS = (1.5, 2.0, 3.0)
CLOSER = (0.75, 0.5, 0.25)
LOOSER = (1.25, 1.6, 2.0)
MOST_PARTS = 4  # of a set that are tried taken out
HEIGHTS_M = (0.6, 1.2, 1.8, 2.4)  # of a lens over the ground


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """A change that would give a setup: of what, and by how much in which unit."""

    limit: str
    amount: float
    unit: str


@dataclass(frozen=True, kw_only=True, slots=True)
class NoSetup:
    """Why nothing holds.

    Attributes:
        limit: the tightest limit: what it takes least to relax, else what the best
            trial breaks most.
        broken: what the best trial breaks, with how far it is off.
        head_in_frame, size_kept: shares of its frames; NaN where nothing was tried.
        changes: that help, each alone, in the order of `limit`s tried.
    """

    limit: str
    broken: dict[str, float]
    head_in_frame: float
    size_kept: float
    changes: tuple[Change, ...]


def why_none(stage: Rehearsal, tried: Sequence[Judged]) -> NoSetup:
    """Say why no setup holds, from the trials and by trying changes of the ask.

    Args:
        stage: the rehearsal of the shot.
        tried: every trial; none of them holds. May be empty.
    """
    changes = (
        *_of_lens(stage),
        *_of_place(stage, tried),
        *_of_kit(stage),
        *_of_ask(stage),
    )
    best = min(tried, key=lambda each: each.rank, default=None)
    broken = {} if best is None else dict(best.broken)
    if best is not None and "sight" in broken and best.trial.in_set is not None:
        hiders = best.trial.in_set.hiders
        if hiders:
            broken[f"sight:{hiders[0]}"] = broken.pop("sight")
    worst = max(broken, key=lambda name: broken[name], default="size")
    return NoSetup(
        limit=changes[0].limit if changes else worst,
        broken=broken,
        head_in_frame=_number(best, HEAD_HELD),
        size_kept=_number(best, SIZED),
        changes=changes,
    )


def _number(best: Judged | None, name: int) -> float:
    return float("nan") if best is None else float(best.trial.numbers[name])


def _least(amounts: Sequence[float], holds: Callable[[float], bool]) -> float | None:
    """Return the first amount with which something holds.

    Amounts ascend in what they allow: where the last does not help, none does.
    """
    if not holds(amounts[-1]):
        return None
    return next((each for each in amounts[:-1] if holds(each)), amounts[-1])


def _of_lens(rehearsal: Rehearsal) -> Iterator[Change]:
    """Yield a lens of the kit with which something holds, the nearest in length."""
    ask = rehearsal.ask
    asked = ask.lenses[0]
    others = sorted(
        (lens for lens in ask.kit if lens not in ask.lenses),
        key=lambda lens: abs(np.log(lens.focal_mm / asked.focal_mm)),
    )
    for lens in others:
        if something_holds(rehearsal.changed(replace(ask, lenses=(lens,)))):
            yield Change(limit="lens_mm", amount=lens.focal_mm, unit="mm")
            return


def _of_place(rehearsal: Rehearsal, tried: Sequence[Judged]) -> Iterator[Change]:
    """Yield changes of the stage that help."""
    ask, action = rehearsal.ask, rehearsal.action
    stage = ask.stage

    def holds(changed: Stage) -> bool:
        return something_holds(rehearsal.changed(replace(ask, stage=changed)))

    def may_help(changed: Stage, *limits: str) -> bool:
        """Tell whether a trial breaks nothing but these, or a lens was kept away."""
        alone = any(each.broken.keys() <= set(limits) for each in tried)
        freed = replace(ask, stage=changed)
        return alone or suitable(freed, action) != suitable(ask, action)

    for k in range(1, len(stage.outline)):
        limit = f"floor_hole:{k - 1}"
        rings = (*stage.outline[:k], *stage.outline[k + 1 :])
        without = replace(stage, outline=rings)
        if may_help(without, limit, "floor") and holds(without):
            yield Change(limit=limit, amount=1.0, unit="removed")
    # A floor with notches or holes is not grown: its hull would be.
    if stage.floor is not None and not stage.outline and ask.rig is None:
        grown = None
        if may_help(grown_floor(stage, GROWTHS_M[-1]), "floor"):
            grown = _least(GROWTHS_M, lambda by: holds(grown_floor(stage, by)))
        if grown is not None:
            yield Change(limit="floor", amount=grown, unit="m")
    boxes = [f"keep_out:{name}" for name in stage.names]
    for k, box in enumerate(boxes):
        without = _without(stage, k)
        if may_help(without, box, "sight") and holds(without):
            yield Change(limit=box, amount=1.0, unit="removed")
    if len(boxes) > 1:
        without = _without(stage, None)
        if may_help(without, *boxes, "sight") and holds(without):
            yield Change(limit="keep_outs", amount=float(len(boxes)), unit="removed")
    yield from _of_set(ask, stage, tried, may_help, holds)
    free = replace(stage, heights=(-np.inf, np.inf))
    if ask.rig is None and _height_is_held(ask, action) and holds(free):
        yield Change(limit="height", amount=1.0, unit="open")
    if stage.set is not None and ask.rig is None:
        for height in HEIGHTS_M:
            over = stage.ground_m + height
            if not stage.heights[0] <= over <= stage.heights[1]:
                continue
            raised = replace(ask, height_m=over)
            if something_holds(rehearsal.changed(raised)):
                yield Change(limit="height_m", amount=height, unit="m")
                break
    least = stage.min_distance_m
    nearer = [least * share for share in CLOSER]
    near = None
    if may_help(replace(stage, min_distance_m=nearer[-1]), "min_distance"):
        near = _least(nearer, lambda to: holds(replace(stage, min_distance_m=to)))
    if near is not None:
        yield Change(limit="min_distance", amount=near, unit="m")


def _of_set(
    ask: Ask,
    stage: Stage,
    tried: Sequence[Judged],
    may_help: Callable[..., bool],
    holds: Callable[[Stage], bool],
) -> Iterator[Change]:
    """Yield parts of the set that could be taken out, one, or all that are in the way.

    Args:
        ask: the shot.
        stage: of it.
        tried: every trial.
        may_help: whether a changed stage may help trials that break these limits.
        holds: whether something holds on a changed stage.
    """
    mesh = stage.set
    if mesh is None:
        return
    names = in_the_way(mesh.names, tried)[:MOST_PARTS]
    parts = [mesh.names.index(name) for name in names]
    limits = [f"set:{name}" for name in names]
    for k, limit in zip(parts, limits, strict=True):
        without = replace(stage, set=mesh.without(k))
        if may_help(without, limit, "sight") and holds(without):
            yield Change(limit=limit, amount=1.0, unit="taken out")
    if len(parts) > 1:
        without = replace(stage, set=mesh.without(*parts))
        if may_help(without, *limits, "sight") and holds(without):
            amount = float(len(parts))
            yield Change(limit="set_parts", amount=amount, unit="taken out")


def in_the_way(names: Sequence[str], tried: Sequence[Judged]) -> list[str]:
    """Return the parts of a set that trials stand in or look through, most first.

    Args:
        names: of the set's parts.
        tried: every trial.
    """
    often: dict[str, int] = {}
    for each in tried:
        met = {name[4:] for name in each.broken if name.startswith("set:")}
        if "sight" in each.broken and each.trial.in_set is not None:
            met |= set(each.trial.in_set.hiders)
        for name in met.intersection(names):
            often[name] = often.get(name, 0) + 1
    return sorted(often, key=lambda name: (-often[name], names.index(name)))


def _height_is_held(ask: Ask, action: Action) -> bool:
    """Tell whether the stage keeps a lens from the height that the angle asks for."""
    free = replace(ask, stage=replace(ask.stage, heights=(-np.inf, np.inf)))
    eyes = float(action.eyes[:, 1].mean())
    return any(
        lens_height(ask, distance_of(ask, lens), eyes)
        != lens_height(free, distance_of(free, lens), eyes)
        for lens in suitable(ask, action)
    )


def _of_kit(rehearsal: Rehearsal) -> Iterator[Change]:
    """Yield a lens, and a speed of the dolly, with which something holds."""
    ask = rehearsal.ask
    short, long = ask.lenses[0], ask.lenses[-1]

    def with_lens(step: float) -> bool:
        lens = _scaled(short if step < 1 else long, step)
        if not LENSES_MM[0] <= lens.focal_mm <= LENSES_MM[1]:
            return False
        return something_holds(rehearsal.changed(replace(ask, lenses=(lens,))))

    for steps in (SHORTER, LONGER):
        # A lens that is much longer may need more room than there is.
        step = next((each for each in steps if with_lens(each)), None)
        if step is None:
            continue
        focal = (short if step < 1 else long).focal_mm * step
        yield Change(limit="lens", amount=round(focal), unit="mm")
    on_rails = tuple(kind for kind in ask.kinds if KINDS[kind].on_rail)
    if on_rails and (ask.rig is None or ask.rig.length_m > 0):
        grip = ask.shot.crew.grip

        def with_speed(times: float) -> bool:
            faster = replace(
                grip,
                max_speed=grip.max_speed * times,
                max_accel=grip.max_accel * times,
                max_jerk=grip.max_jerk * times,
            )
            crew = replace(ask.shot.crew, grip=faster)
            shot = replace(ask.shot, crew=crew)
            faster_ask = replace(ask, shot=shot, kinds=on_rails)
            return something_holds(rehearsal.changed(faster_ask))

        times = _least(SPEED_STEPS, with_speed)
        if times is not None:
            speed = grip.max_speed * times
            yield Change(limit="dolly_speed", amount=speed, unit="m/s")


def _of_ask(rehearsal: Rehearsal) -> Iterator[Change]:
    """Yield kinds of rig, views, and a looser framing, with which something holds."""
    ask = rehearsal.ask
    fewer = ask.rig is None and set(ask.kinds) != set(KINDS)
    if fewer and something_holds(rehearsal.changed(replace(ask, kinds=tuple(KINDS)))):
        yield Change(limit="rig.kinds", amount=1.0, unit="open")
    if ask.rig is None and len({view.name for view in ask.views}) < len(VIEWS_RAD):
        views = tuple(
            View(name=name, angle_rad=angle, side=side)
            for name, angle in VIEWS_RAD.items()
            for side in SIDES
        )
        if something_holds(rehearsal.changed(replace(ask, views=views))):
            yield Change(limit="view", amount=1.0, unit="open")

    shot = ask.shot
    for claim in shot.claims:
        if claim.must:
            rest = tuple(one for one in shot.claims if one is not claim)
            freed = replace(ask, shot=replace(shot, claims=rest))
            if something_holds(rehearsal.changed(freed)):
                yield Change(limit=claim_name(claim), amount=1.0, unit="dropped")

    def with_room(times: float) -> bool:
        framings = tuple(
            replace(framing, distance_m=framing.distance_m * times)
            for framing in ask.shot.framings
        )
        looser = replace(ask, shot=replace(ask.shot, framings=framings))
        return something_holds(rehearsal.changed(looser))

    # A floor may have room for a little looser, and none for much.
    if ask.stage.floor is None:
        times = _least(LOOSER, with_room)
    else:
        times = next((each for each in LOOSER if with_room(each)), None)
    if times is not None:
        yield Change(limit="framing.size", amount=times, unit="times as wide")


def _scaled(lens: Lens, step: float) -> Lens:
    focal = float(round(lens.focal_mm * step))
    return Lens(focal, lens.close_focus_m, lens.widest_stop)


def _without(stage: Stage, index: int | None) -> Stage:
    """Return a stage without one of its boxes, or without any."""
    keep = [k for k in range(len(stage.names)) if index is not None and k != index]
    return replace(
        stage,
        keep_outs=stage.keep_outs[keep],
        names=tuple(stage.names[k] for k in keep),
        sight_forbidden=stage.sight_forbidden[keep],
    )


def grown_floor(stage: Stage, by_m: float) -> Stage:
    """Return a stage with every edge of its floor moved out by a distance [m]."""
    normals, bounds = floor_rows(stage)
    before = np.roll(normals, 1, axis=0), np.roll(bounds, 1)
    corners: FloatArray = np.array(
        [
            np.linalg.solve(np.stack([n0, n1]), np.array([b0 + by_m, b1 + by_m]))
            for n0, b0, n1, b1 in zip(*before, normals, bounds, strict=True)
        ]
    )
    return replace(stage, floor=corners)
