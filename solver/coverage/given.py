"""A cut that was given: what it costs, and the best cut that keeps most of it.

It is judged by the same costs as a chosen one. What a chosen cut may not do costs as
much as a missed beat here, so a cut that breaks a rule can be judged too. Where frames
are free it is cut anew, exactly, by the same programme: all other frames keep their
cameras. Lengths are judged by the prior alone, without a drawn rhythm.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, IntArray
from ..cuts.cost import MICRO
from .cut import (
    ActionCuts,
    ChosenCut,
    CutAsk,
    OtherCut,
    OtherCuts,
    action_cuts,
    frames_apart,
    problem_of,
    told,
)
from .cutting import NEVER, CutTable
from .lengths import MUST, LengthCosts
from .pictures import Pictures
from .programme import CutProblem, Cutting, solve_cut

FIRST, LAST, SHORTEST, LONGEST, SETTLED = (
    "first",
    "last",
    "shortest",
    "longest",
    "settled",
)
RULES = (FIRST, LAST, SHORTEST, LONGEST, SETTLED)
"""Rules for cuts that a given one may break; `settled`: into a pan under way."""

_BROKEN = np.int64(MUST * MICRO)
_KEPT = np.int64(1) << 50  # beyond all that a cut can cost, 4096 times under `NEVER`
MOST_PICTURES = 1024
"""Most pictures of a given cut, and most stretches of it that are free."""


class GivenPicture(NamedTuple):
    """A picture of a given cut: its camera's name and its first frame, from 0."""

    camera: str
    first: int


def judge_cut(
    cameras: Sequence[Pictures],
    ask: CutAsk,
    given: Sequence[GivenPicture],
    free: Sequence[tuple[int, int]] = (),
) -> ChosenCut:
    """Return a given cut with what it costs; where frames are free, cut anew there.

    Args:
        cameras: what each shows, over the same frames.
        ask: how the action is to be cut.
        given: pictures in their order, the first at frame 0; `MOST_PICTURES` at most.
        free: first and last frames of stretches that may be cut anew.
    """
    plain = replace(ask, lengths=replace(ask.lengths, varied=0.0))
    action = action_cuts(cameras, plain)
    strict = problem_of(action)
    on = _cameras_on(action, given)
    soft = _softened(action, strict, on)
    found = solve_cut(_keeping(soft, on, _marked(free, action.n_frames)))
    assert found is not None  # the given cut is one
    best = solve_cut(strict)
    cut = told(action, _prior(action), found, lambda k: _others(action, soft, found, k))
    return replace(
        cut,
        pictures=tuple(
            replace(one, broken=rules)
            for one, rules in zip(cut.pictures, _broken(action, found), strict=True)
        ),
        best_points=None if best is None else best.total / MICRO,
    )


def _prior(action: ActionCuts) -> LengthCosts:
    """Return what pictures cost by their lengths, allowed or not."""
    lengths, weight = action.ask.lengths, action.ask.pictures.lengths
    points = lengths.prior(action.n_frames, action.rate, weight)
    return lengths.even(points, action.rate)


def _cameras_on(action: ActionCuts, given: Sequence[GivenPicture]) -> IntArray:
    """Return which camera is on at each frame, (n,)."""
    names = [one.name for one in action.cameras]
    on = np.zeros(action.n_frames, dtype=np.int64)
    for one in given:
        on[one.first :] = names.index(one.camera)
    return on


def _marked(spans: Sequence[tuple[int, int]], n: int) -> BoolArray:
    """Return the frames that lie in any of some spans, (n,)."""
    marked = np.zeros(n, dtype=np.bool_)
    for first, last in spans:
        marked[first : last + 1] = True
    return marked


def _softened(action: ActionCuts, strict: CutProblem, on: IntArray) -> CutProblem:
    """Return a problem in which a broken rule costs as much as a missed beat.

    Args:
        action: that is cut.
        strict: as a cut is chosen.
        on: camera that is on, (n,).
    """
    n, rate = action.n_frames, action.rate
    starts = _starts(on)
    held = np.diff([*starts.tolist(), n])
    allowed = action.ask.lengths.allowed(n, rate, alone=len(action.cameras) == 1)
    known = [*np.flatnonzero(allowed).tolist(), *held.tolist()]
    prior = _prior(action)
    points = np.where(allowed, prior.points, prior.points + _BROKEN)
    frames = np.arange(n + 1)
    within = (frames >= min(known)) & (frames <= max(known))
    return CutProblem(
        frames=strict.frames,
        cuts=_all_cuts(action.table),
        lengths=replace(prior, points=np.where(within, points, NEVER)),
        first=np.minimum(strict.first, _BROKEN),
        last=np.minimum(strict.last, _BROKEN),
    )


def _all_cuts(table: CutTable) -> IntArray:
    """Return what every cut costs, also one that is not made, (c, c, n)."""
    whole = sum(table.parts.values(), np.zeros_like(table.cost))
    costs: IntArray = np.where(table.cost >= NEVER, whole + _BROKEN, table.cost)
    costs[:, :, 0] = NEVER
    costs[range(len(costs)), range(len(costs))] = NEVER
    return costs


def _starts(on: IntArray) -> IntArray:
    """Return the first frames of pictures."""
    return np.flatnonzero(np.diff(on, prepend=-1))


def _keeping(problem: CutProblem, on: IntArray, free: BoolArray) -> CutProblem:
    """Return a problem whose cuts keep the given camera at every frame not free.

    Whoever is on wrongly at a kept frame came from a free one or held over a given
    cut, since no other cut is allowed there: so it is enough to forbid the others at
    the first frame of each kept stretch and of each given picture.

    Args:
        problem: where nothing is kept.
        on: camera that is on, (n,).
        free: frames at which any may be, (n,).
    """
    c = len(problem.frames)
    other = np.arange(c)[:, None] != on
    kept = other & ~free
    gates = np.zeros_like(free)
    gates[_starts(np.where(free, -2, on))] = True
    frames = problem.frames + np.where(kept & gates, _KEPT, 0)
    cuts = problem.cuts.copy()
    barred = kept[None, :, 1:] | kept[:, None, :-1]
    cuts[:, :, 1:][np.broadcast_to(barred, cuts[:, :, 1:].shape)] = NEVER
    return replace(problem, frames=frames, cuts=cuts)


def _broken(action: ActionCuts, found: Cutting) -> list[tuple[str, ...]]:
    """Return which rules each picture of a cut breaks."""
    n, ask = action.n_frames, action.ask
    allowed = ask.lengths.allowed(n, action.rate, alone=len(action.cameras) == 1)
    known = np.flatnonzero(allowed)
    names = [action.cameras[j].name for j in found.cameras]
    stops = (*found.starts[1:], n)
    every = []
    for k, (start, stop) in enumerate(zip(found.starts, stops, strict=True)):
        rules = []
        if k == 0 and ask.first not in ("", names[0]):
            rules.append(FIRST)
        if stop == n and ask.last not in ("", names[-1]):
            rules.append(LAST)
        if len(known) and stop - start < known[0]:
            rules.append(SHORTEST)
        if len(known) and stop - start > known[-1]:
            rules.append(LONGEST)
        if (
            k
            and not action.table.settled[found.cameras[k - 1], found.cameras[k], start]
        ):
            rules.append(SETTLED)
        every.append(tuple(rules))
    return every


def _others(
    action: ActionCuts, problem: CutProblem, found: Cutting, k: int
) -> OtherCuts:
    """Return what the cut into a picture could be instead, with all else as it is."""
    starts = (*found.starts, action.n_frames)
    before, start, stop = starts[k - 1 : k + 2]
    i, j = found.cameras[k - 1 : k + 1]
    sums = np.cumsum(problem.frames, axis=1)
    sums = np.concatenate([np.zeros((len(sums), 1), dtype=np.int64), sums], axis=1)

    def costs(camera: int, at: int) -> int:
        """Return what the two pictures and their cuts cost, cut otherwise."""
        held = problem.lengths.of(before, at) + problem.lengths.of(at, stop)
        whole = int(
            sums[i, at] - sums[i, before] + sums[camera, stop] - sums[camera, at]
        )
        whole += held + int(problem.cuts[i, camera, at])
        if stop == action.n_frames:
            return whole + int(problem.last[camera])
        return whole + int(problem.cuts[camera, found.cameras[k + 1], stop])

    now = costs(j, start)
    times = frames_apart(np.arange(before + 1, stop), start, action.rate).tolist()
    cameras = [c for c in range(len(sums)) if c not in (i, j)]
    return OtherCuts(
        time=_cheapest(action, [(costs(j, at), at, j) for at in times], now),
        camera=_cheapest(action, [(costs(c, start), start, c) for c in cameras], now),
    )


def _cheapest(
    action: ActionCuts, ways: Sequence[tuple[int, int, int]], now: int
) -> OtherCut | None:
    """Return the cheapest of some ways, each its cost, frame and camera."""
    allowed = [one for one in ways if one[0] < NEVER]
    if not allowed:
        return None
    cost, frame, camera = min(allowed)
    name = action.cameras[camera].name
    return OtherCut(frame=frame, camera=name, more=(cost - now) / MICRO)
