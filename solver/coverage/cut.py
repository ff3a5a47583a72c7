"""The cut of an action: which camera is on when, and what any other cut would cost."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..cuts.cost import MICRO, CutCosts
from .cutting import NEVER, CutTable, cut_table
from .lengths import LengthCosts, Lengths
from .pictures import Pictures
from .programme import CutProblem, Cutting, solve_cut
from .worth import (
    Beat,
    PictureCosts,
    Speech,
    beats_missed,
    frame_costs,
    picture_costs,
)

APART_S = 0.5  # the next best time is another cut only so far off (our choice)


@dataclass(frozen=True, kw_only=True, slots=True)
class CutAsk:
    """How an action is to be cut; frames count from 0.

    Attributes:
        lengths: of pictures.
        beats: what has to be shown, and when.
        speeches: who speaks when.
        first, last: cameras that the cut begins and ends on; "" for any.
        pictures: what pictures cost.
        cuts: what a cut costs.
    """

    lengths: Lengths = field(default_factory=Lengths)
    beats: tuple[Beat, ...] = ()
    speeches: tuple[Speech, ...] = ()
    first: str = ""
    last: str = ""
    pictures: PictureCosts = field(default_factory=PictureCosts)
    cuts: CutCosts = field(default_factory=CutCosts)


@dataclass(frozen=True, kw_only=True, slots=True)
class OtherCut:
    """What the cheapest cut costs more that differs in one thing.

    Of a given cut all else stays as it is, so that it may cost less.

    Attributes:
        frame: that it cuts before, from 0.
        camera: that it cuts to.
        more: than the best cut costs [points].
    """

    frame: int
    camera: str
    more: float


@dataclass(frozen=True, kw_only=True, slots=True)
class HeldPicture:
    """One picture of a cut: a stretch of one camera.

    Attributes:
        camera: its name.
        first, last: frames, from 0, both inside.
        parts: what it costs, by parts [points]; zeros left out.
        cut: what the cut into it costs, likewise.
        liked: length that is liked best where it lies [frames].
        missed: how many of its frames miss a beat.
        broken: rules that it breaks, of `given.RULES`, which the points of the cut
            count as missed beats and `parts` do not; a chosen cut breaks none.
        other_time: the best cut between the same two cameras at least `APART_S` off,
            inside the two pictures; None where there is none.
        other_camera: the best cut at the same frame to another camera, likewise.
    """

    camera: str
    first: int
    last: int
    parts: dict[str, float]
    liked: float
    cut: dict[str, float] = field(default_factory=dict)
    missed: int = 0
    broken: tuple[str, ...] = ()
    other_time: OtherCut | None = None
    other_camera: OtherCut | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ChosenCut:
    """A cut of an action: the best there is, or one that was given.

    Attributes:
        pictures: one after the other, over all frames.
        points: what it costs.
        best_points: what the best cut costs, where this one was given; None where it
            was not, and where no cut is allowed.
    """

    pictures: tuple[HeldPicture, ...]
    points: float
    best_points: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class NoCut:
    """Why an action has no cut, and which single changes would give one.

    Attributes:
        helps: of `settled`, `first`, `last`, `shortest`, `longest`; each was tried.
    """

    helps: tuple[str, ...]


class ActionCuts(NamedTuple):
    """An action with all that cuts of it cost.

    Attributes:
        cameras: what each shows.
        ask: how it is to be cut.
        table: what each cut costs.
        parts: what the frames of each camera cost, by name [points], (n,) each.
        missed: how many beats each frame of each camera misses, (c, n).
    """

    cameras: tuple[Pictures, ...]
    ask: CutAsk
    table: CutTable
    parts: tuple[dict[str, FloatArray], ...]
    missed: IntArray

    @property
    def n_frames(self) -> int:
        """Frames of the action."""
        return self.cameras[0].n_frames

    @property
    def rate(self) -> float:
        """Frames a second."""
        return self.cameras[0].rate

    @property
    def lengths(self) -> LengthCosts:
        """What pictures cost by their lengths."""
        return self.ask.lengths.costs(
            self.n_frames,
            self.rate,
            self.ask.pictures.lengths,
            alone=len(self.cameras) == 1,
        )


def action_cuts(cameras: Sequence[Pictures], ask: CutAsk) -> ActionCuts:
    """Return an action with all that cuts of it cost.

    Args:
        cameras: what each shows, over the same frames; at least one.
        ask: how it is to be cut.
    """
    shown = tuple(cameras)
    return ActionCuts(
        cameras=shown,
        ask=ask,
        table=cut_table(shown, ask.cuts),
        parts=tuple(picture_costs(one, ask.pictures, ask.speeches) for one in shown),
        missed=np.array([beats_missed(one, ask.beats) for one in shown]),
    )


def choose_cut(cameras: Sequence[Pictures], ask: CutAsk) -> ChosenCut | NoCut:
    """Return the best cut of an action, exactly; see `programme`.

    Args:
        cameras: what each shows, over the same frames; at least one.
        ask: how it is to be cut.
    """
    action = action_cuts(cameras, ask)
    problem = problem_of(action)
    found = solve_cut(problem)
    if found is None:
        return NoCut(helps=tuple(_helps(action, problem)))

    def others(k: int) -> OtherCuts:
        pair, start = found.cameras[k - 1 : k + 1], found.starts[k]
        stop = (*found.starts, action.n_frames)[k + 1]
        inside = found.starts[k - 1] + 1, stop
        return OtherCuts(
            time=_other_time(action, found, pair, start, inside),
            camera=_other_camera(action, found, pair, start),
        )

    return told(action, problem.lengths, found, others)


def problem_of(action: ActionCuts) -> CutProblem:
    """Return an action as the programme cuts it."""
    frames = [
        frame_costs(parts, missed)
        for parts, missed in zip(action.parts, action.missed, strict=True)
    ]
    ends = [
        np.array([0 if asked in ("", one.name) else NEVER for one in action.cameras])
        for asked in (action.ask.first, action.ask.last)
    ]
    return CutProblem(
        frames=np.array(frames),
        cuts=action.table.cost,
        lengths=action.lengths,
        first=ends[0],
        last=ends[1],
    )


class OtherCuts(NamedTuple):
    """What a cut could be instead: at another time, to another camera."""

    time: OtherCut | None
    camera: OtherCut | None


def told(
    action: ActionCuts,
    lengths: LengthCosts,
    found: Cutting,
    others: Callable[[int], OtherCuts],
) -> ChosenCut:
    """Return a cut with what its pictures cost, and what others would.

    Args:
        action: that is cut.
        lengths: what pictures cost by their lengths.
        found: the cut.
        others: tells what the cut into a picture could be instead, by its number.
    """
    stops = (*found.starts[1:], action.n_frames)
    pictures = []
    for k, (start, stop, j) in enumerate(
        zip(found.starts, stops, found.cameras, strict=True)
    ):
        parts = {
            name: float(points[start:stop].sum())
            for name, points in action.parts[j].items()
        }
        parts["length"] = lengths.of(start, stop) / MICRO
        cut, other = {}, OtherCuts(None, None)
        if k:
            i = found.cameras[k - 1]
            cut = {
                name: int(points[i, j, start]) / MICRO
                for name, points in action.table.parts.items()
            }
            other = others(k)
        pictures.append(
            HeldPicture(
                camera=action.cameras[j].name,
                first=start,
                last=stop - 1,
                parts={name: points for name, points in parts.items() if points},
                liked=lengths.liked_at(start, stop),
                cut={name: points for name, points in cut.items() if points},
                missed=int((action.missed[j][start:stop] > 0).sum()),
                other_time=other.time,
                other_camera=other.camera,
            )
        )
    return ChosenCut(pictures=tuple(pictures), points=found.total / MICRO)


def frames_apart(frames: IntArray, at: int, rate: float) -> IntArray:
    """Return those of some frames at which a cut is another than one at a frame."""
    return frames[np.abs(frames - at) >= max(round(APART_S * rate), 1)]


def _other_time(
    action: ActionCuts,
    found: Cutting,
    pair: tuple[int, ...],
    at: int,
    inside: tuple[int, int],
) -> OtherCut | None:
    """Return the best cut between two cameras at another time.

    Args:
        action: that is cut.
        found: the best cut.
        pair: from which camera to which.
        at: frame of the best cut.
        inside: first frame that counts, and the one behind the last.
    """
    frames = frames_apart(np.arange(*inside), at, action.rate)
    costs = found.through[pair[0], pair[1], frames]
    if not len(costs) or costs.min() >= NEVER // 2:
        return None
    best = int(costs.argmin())
    more = (int(costs[best]) - found.total) / MICRO
    name = action.cameras[pair[1]].name
    return OtherCut(frame=int(frames[best]), camera=name, more=more)


def _other_camera(
    action: ActionCuts, found: Cutting, pair: tuple[int, ...], at: int
) -> OtherCut | None:
    """Return the best cut from a camera to another than it goes to, at its frame."""
    costs = found.through[pair[0], :, at].copy()
    costs[list(pair)] = NEVER
    best = int(costs.argmin())
    if costs[best] >= NEVER // 2:
        return None
    more = (int(costs[best]) - found.total) / MICRO
    return OtherCut(frame=at, camera=action.cameras[best].name, more=more)


def _helps(action: ActionCuts, problem: CutProblem) -> list[str]:
    """Return which single changes would give a cut, each tried."""
    n, free = action.n_frames, np.zeros_like(problem.first)
    lengths = np.arange(n + 1)
    known = np.flatnonzero(
        action.ask.lengths.allowed(n, action.rate, alone=len(action.cameras) == 1)
    )
    least, most = (int(known[0]), int(known[-1])) if len(known) else (n, n)

    def allowing(allowed: BoolArray) -> LengthCosts:
        free = np.where(allowed, 0, NEVER)
        return action.ask.lengths.even(free, action.rate)

    loose = cut_table(action.cameras, action.ask.cuts, settle=False).cost
    changed = {
        "settled": {"cuts": loose},
        "first": {"first": free},
        "last": {"last": free},
        "shortest": {"lengths": allowing(lengths <= most)},
        "longest": {"lengths": allowing(lengths >= least)},
    }
    return [
        name
        for name, other in changed.items()
        if solve_cut(replace(problem, **other)) is not None  # type: ignore[arg-type]
    ]
