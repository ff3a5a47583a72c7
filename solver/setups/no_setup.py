"""Why no setup holds a shot, and the least change of what was asked that would help.

Nothing is guessed: each change is tried with the same proposals, crew and judge, one
at a time, and only what then holds is named.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..arrays import FloatArray
from ..lens import Lens
from .action import action_of
from .score import Judged
from .search import something_holds
from .setup import KINDS, SIDES, VIEWS_RAD, Ask, View
from .stage import Stage, floor_rows
from .trial import IN, SIZED

GROWTHS_M = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
SHORTER = (0.84, 0.71, 0.5, 0.35)
LONGER = (1.19, 1.41, 2.0, 2.83)
SPEED_STEPS = (1.5, 2.0, 3.0)
CLOSER = (0.75, 0.5, 0.25)


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
        in_frame, size_kept: shares of its frames; NaN where nothing could be tried.
        changes: that help, each alone, in the order of `limit`s tried.
    """

    limit: str
    broken: dict[str, float]
    in_frame: float
    size_kept: float
    changes: tuple[Change, ...]


def why_none(ask: Ask, tried: Sequence[Judged]) -> NoSetup:
    """Say why no setup holds, from the trials and by trying changes of the ask.

    Args:
        ask: the shot and what its setup may be.
        tried: every trial; none of them holds. May be empty.
    """
    changes = tuple(_helping(ask))
    best = min(tried, key=lambda each: each.rank, default=None)
    broken = {} if best is None else dict(best.broken)
    worst = max(broken, key=lambda name: broken[name], default="size")
    return NoSetup(
        limit=changes[0].limit if changes else worst,
        broken=broken,
        in_frame=float("nan") if best is None else float(best.trial.numbers[IN]),
        size_kept=float("nan") if best is None else float(best.trial.numbers[SIZED]),
        changes=changes,
    )


def _holds(ask: Ask) -> bool:
    return something_holds(ask, action_of(ask.shot))


def _least(
    ask: Ask, amounts: Sequence[float], changed: Callable[[float], Ask]
) -> float | None:
    """Return the first amount with which something holds.

    Amounts ascend in what they allow: where the last does not help, none does.
    """
    if not _holds(changed(amounts[-1])):
        return None
    return next((each for each in amounts[:-1] if _holds(changed(each))), amounts[-1])


def _helping(ask: Ask) -> Iterator[Change]:
    """Yield changes that help, those of the place first."""
    stage = ask.stage
    if stage.floor is not None and ask.rig is None:
        grown = _least(
            ask, GROWTHS_M, lambda by: replace(ask, stage=grown_floor(stage, by))
        )
        if grown is not None:
            yield Change(limit="floor", amount=grown, unit="m")
    for k, name in enumerate(stage.names):
        if _holds(replace(ask, stage=_without(stage, k))):
            yield Change(limit=f"keep_out:{name}", amount=1.0, unit="removed")
    if len(stage.names) > 1 and _holds(replace(ask, stage=_without(stage, None))):
        count = float(len(stage.names))
        yield Change(limit="keep_outs", amount=count, unit="removed")
    if np.isfinite(stage.heights).any() and ask.rig is None:
        free = replace(stage, heights=(-np.inf, np.inf))
        if _holds(replace(ask, stage=free)):
            yield Change(limit="height", amount=1.0, unit="open")
    least = stage.min_distance_m
    near = _least(
        ask,
        [least * share for share in CLOSER],
        lambda to: replace(ask, stage=replace(stage, min_distance_m=to)),
    )
    if near is not None:
        yield Change(limit="min_distance", amount=near, unit="m")
    yield from _of_kit(ask)
    fewer = ask.rig is None and set(ask.kinds) != set(KINDS)
    if fewer and _holds(replace(ask, kinds=KINDS)):
        yield Change(limit="rig.kinds", amount=1.0, unit="open")
    if ask.rig is None and len(ask.views) < len(SIDES):
        views = tuple(
            View(name=name, angle_rad=angle, side=side)
            for name, angle in VIEWS_RAD.items()
            for side in SIDES
        )
        if _holds(replace(ask, views=views)):
            yield Change(limit="view", amount=1.0, unit="open")


def _of_kit(ask: Ask) -> Iterator[Change]:
    """Yield a lens, and a speed of the dolly, with which something holds."""
    short, long = ask.lenses[0], ask.lenses[-1]

    def with_lens(step: float) -> Ask:
        return replace(ask, lenses=(_scaled(short if step < 1 else long, step),))

    for steps in (SHORTER, LONGER):
        # A lens that is much longer may need more room than there is.
        step = next((each for each in steps if _holds(with_lens(each))), None)
        if step is None:
            continue
        focal = (short if step < 1 else long).focal_mm * step
        yield Change(limit="lens", amount=round(focal), unit="mm")
    if set(ask.kinds) != {"sticks"} and (ask.rig is None or ask.rig.length_m > 0):
        grip = ask.shot.crew.grip

        def with_speed(times: float) -> Ask:
            faster = replace(
                grip,
                max_speed=grip.max_speed * times,
                max_accel=grip.max_accel * times,
                max_jerk=grip.max_jerk * times,
            )
            crew = replace(ask.shot.crew, grip=faster)
            return replace(ask, shot=replace(ask.shot, crew=crew))

        times = _least(ask, SPEED_STEPS, with_speed)
        if times is not None:
            speed = grip.max_speed * times
            yield Change(limit="dolly_speed", amount=speed, unit="m/s")


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
