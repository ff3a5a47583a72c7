"""A small search on the judged take, and the candidates of a shot that come of it."""

from collections.abc import Callable, Sequence

import numpy as np

from ..arrays import FloatArray
from ..lens import Lens
from .action import Action
from .constrained import breaks_stage_only, within_limits
from .layout import Layout, at_height, build, lens_height, moved
from .propose import (
    distance_of,
    propose_rails,
    propose_sticks,
    suitable,
    unnatural,
)
from .score import LEAST_PRICE, Judged, judged
from .setup import KINDS, Ask, Setup
from .trial import Rehearsal

EVALUATIONS = 25
WORTH_LAYING = 1.0  # points that the stage must cost before limits are laid within
RAIL_LENSES = 2  # for which rails are laid; all, where nothing holds
AWAY_M, ACROSS_M, TURN_RAD, GROW = 0.12, 0.12, 0.14, 0.35  # first steps; metres a metre
BROKEN = 1e4  # added to a score for each unit by which a must is broken


def candidates(
    ask: Ask, rehearsal: Rehearsal | None = None, *, refine: bool = True
) -> list[Judged]:
    """Return every setup that was tried for a shot, best first.

    Proposes, lets the crew work each proposal, judges it, and then moves the best
    layout of each kind of rig that could still win a little, as long as the judged
    take gets better.
    """
    stage = rehearsal or Rehearsal(ask)
    action = stage.action
    if ask.rig is not None:
        found = [
            judged(ask, action, stage.tried(setup)) for setup in _fixed_rig(ask, action)
        ]
        return sorted(found, key=_order)
    eyes = float(action.eyes[:, 1].mean())
    tried: list[tuple[Layout, Judged]] = []

    def work(layouts: Sequence[Layout]) -> None:
        for layout in layouts:
            setup = build(layout, ask, eyes_m=eyes)
            if setup is not None:
                tried.append((layout, judged(ask, action, stage.tried(setup))))

    work(propose_sticks(ask, action))
    lenses = _rail_lenses(ask, action, tried)
    work(propose_rails(ask, action, lenses[:RAIL_LENSES]))
    if not any(verdict.holds for _, verdict in tried):
        work(propose_rails(ask, action, lenses[RAIL_LENSES:]))
    found = [verdict for _, verdict in tried]
    if refine:
        for kind in KINDS:
            if _may_win(ask, kind, found):
                best = _best_of(kind, tried)
                found += [_refined(stage, *pair, eyes) for pair in best]
        laid = len(tried)
        work(_into_limits(ask, action, tried))
        found += [_refined(stage, *pair, eyes) for pair in tried[laid:]]
    return sorted(found, key=_order)


def something_holds(ask: Ask, action: Action) -> bool:
    """Tell whether a proposal holds the shot; the first that does ends the trying."""
    stage = Rehearsal(ask, action)
    if ask.rig is not None:
        setups = _fixed_rig(ask, action)
        return any(judged(ask, action, stage.tried(each)).holds for each in setups)
    eyes = float(action.eyes[:, 1].mean())
    sticks = propose_sticks(ask, action)
    lenses = sorted(suitable(ask, action), key=lambda lens: unnatural(ask, lens))
    rails = propose_rails(ask, action, lenses[:RAIL_LENSES])
    for layout in (*sticks, *rails):
        setup = build(layout, ask, eyes_m=eyes)
        if setup is not None and judged(ask, action, stage.tried(setup)).holds:
            return True
    return False


def _may_win(ask: Ask, kind: str, found: Sequence[Judged]) -> bool:
    """Tell whether a kind of rig could beat all that holds, at its least price.

    No part of a score is below zero, so what the rig costs is the least it comes to.
    """
    holding = [verdict.score for verdict in found if verdict.holds]
    return min(holding, default=np.inf) > ask.rig_price * LEAST_PRICE[kind]


def _best_of(
    kind: str, tried: Sequence[tuple[Layout, Judged]]
) -> list[tuple[Layout, Judged]]:
    """Return the best trial of a kind of rig, none where there is none."""
    own = [pair for pair in tried if pair[0].kind == kind]
    return [min(own, key=lambda pair: _order(pair[1]))] if own else []


def _into_limits(
    ask: Ask, action: Action, tried: Sequence[tuple[Layout, Judged]]
) -> list[Layout]:
    """Return layouts that the stage spoils, moved to where it allows them.

    Only sticks and track that would beat all that holds, the best of each kind.
    """
    holding = [verdict.score for _, verdict in tried if verdict.holds]
    to_beat = min(holding, default=np.inf) - WORTH_LAYING
    found = []
    for kind in ("sticks", "track"):
        spoilt = [
            (verdict.score, k)
            for k, (layout, verdict) in enumerate(tried)
            if layout.kind == kind
            and layout.hold == "abreast"
            and verdict.score < to_beat
            and breaks_stage_only(verdict.broken)
        ]
        if spoilt:
            layout = within_limits(ask, action, tried[min(spoilt)[1]][0])
            if layout is not None:
                found.append(layout)
    return found


def _rail_lenses(
    ask: Ask, action: Action, tried: Sequence[tuple[Layout, Judged]]
) -> list[Lens]:
    """Return the suitable lenses in the order in which rails are laid for them.

    The most natural first, then the one that does best on sticks, then the others.
    """
    lenses = sorted(suitable(ask, action), key=lambda lens: unnatural(ask, lens))
    if tried:
        best = min((verdict for _, verdict in tried), key=_order).setup.lens
        first = lenses[0]
        lenses.sort(key=lambda lens: (lens is not first, lens is not best))
    return lenses


def _order(verdict: Judged) -> tuple[float, float, int, float]:
    setup = verdict.setup
    return (*verdict.rank, setup.rig.shape.kind, setup.lens.focal_mm)


def _fixed_rig(ask: Ask, action: Action) -> list[Setup]:
    """Return the setups that a fixed rig leaves open: its lenses, and its height."""
    shot, rig = ask.shot, ask.rig
    assert rig is not None
    eyes = float(action.eyes[:, 1].mean())
    return [
        Setup(
            lens=lens,
            rig=(
                at_height(rig, lens_height(ask, distance_of(ask, lens), eyes))
                if ask.height_open
                else rig
            ),
            view=None,
            hold=shot.hold,
            view_rad=shot.view_rad,
            offset=shot.side_offset,
            follow=shot.follow,
        )
        for lens in ask.lenses
    ]


def _refined(stage: Rehearsal, layout: Layout, start: Judged, eyes: float) -> Judged:
    """Return the best of a search round a layout; never worse than the start."""
    best = start
    scale = _first_steps(layout, stage.ask)

    def cost(steps: FloatArray) -> float:
        nonlocal best
        setup = build(moved(layout, steps * scale), stage.ask, eyes_m=eyes)
        if setup is None:
            return np.inf
        verdict = judged(stage.ask, stage.action, stage.tried(setup))
        if verdict.rank < best.rank:
            best = verdict
        broken, score = verdict.rank
        return BROKEN * broken + score

    n = 2 if layout.kind == "sticks" else 3
    broken, score = start.rank
    descend(cost, n, BROKEN * broken + score, EVALUATIONS)
    return best


def _first_steps(layout: Layout, ask: Ask) -> FloatArray:
    distance = layout.distance_m
    if layout.kind == "sticks":
        return np.array([AWAY_M * distance, ACROSS_M * distance, 0.0])
    # The radius of curved track is that of the stock, where there is a stock.
    turn = 0.0 if layout.kind == "arc" and ask.stage.curve_radii_m else TURN_RAD
    return np.array([AWAY_M * distance, turn, GROW])


def descend(
    cost: Callable[[FloatArray], float], n: int, start: float, evaluations: int
) -> None:
    """Go down a cost of (3,) steps, the first n of them free, from zero.

    The simplex of Nelder & Mead 1965 (The Computer Journal 7:308-313) with a fixed
    first simplex, a fixed order and a fixed number of evaluations.
    """
    points = [np.zeros(3)] + [np.eye(3)[k] for k in range(n)]
    values = [start]
    used = 0

    def at(point: FloatArray) -> float:
        nonlocal used
        used += 1
        return cost(point)

    for point in points[1:]:
        values.append(at(point))
    while used < evaluations:
        order = np.argsort(np.array(values), kind="stable")
        points = [points[k] for k in order]
        values = [values[k] for k in order]
        centre = np.mean(points[:-1], axis=0)
        worst = points[-1]
        mirrored = centre + (centre - worst)
        value = at(mirrored)
        if value < values[0] and used < evaluations:
            further = centre + 2 * (centre - worst)
            far = at(further)
            points[-1], values[-1] = (
                (further, far) if far < value else (mirrored, value)
            )
        elif value < values[-2]:
            points[-1], values[-1] = mirrored, value
        elif used < evaluations:
            toward = mirrored if value < values[-1] else worst
            inner = centre + 0.5 * (toward - centre)
            near = at(inner)
            if near < min(value, values[-1]):
                points[-1], values[-1] = inner, near
            else:
                for k in range(1, n + 1):
                    if used >= evaluations:
                        break
                    points[k] = points[0] + 0.5 * (points[k] - points[0])
                    values[k] = at(points[k])
