"""The cut of an action: which camera is on when, and what any other cut would cost."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..cuts.cost import MICRO, CutCosts
from .cutting import NEVER, CutTable, cut_table
from .pictures import Pictures
from .programme import CutProblem, Cutting, solve_cut
from .worth import (
    Beat,
    Lengths,
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
        missed: how many of its frames miss a beat.
        other_time: the best cut between the same two cameras at least `APART_S` off,
            inside the two pictures; None where there is none.
        other_camera: the best cut at the same frame to another camera, likewise.
    """

    camera: str
    first: int
    last: int
    parts: dict[str, float]
    cut: dict[str, float] = field(default_factory=dict)
    missed: int = 0
    other_time: OtherCut | None = None
    other_camera: OtherCut | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ChosenCut:
    """The best cut of an action.

    Attributes:
        pictures: one after the other, over all frames.
        points: what it costs.
    """

    pictures: tuple[HeldPicture, ...]
    points: float


@dataclass(frozen=True, kw_only=True, slots=True)
class NoCut:
    """Why an action has no cut, and which single changes would give one.

    Attributes:
        helps: of `settled`, `first`, `last`, `shortest`, `longest`; each was tried.
    """

    helps: tuple[str, ...]


def choose_cut(cameras: Sequence[Pictures], ask: CutAsk) -> ChosenCut | NoCut:
    """Return the best cut of an action, exactly; see `programme`.

    Args:
        cameras: what each shows, over the same frames; at least one.
        ask: how it is to be cut.
    """
    shown = tuple(cameras)
    table = cut_table(shown, ask.cuts)
    problem = problem_of(shown, ask, table)
    found = solve_cut(problem)
    if found is None:
        return NoCut(helps=tuple(_helps(shown, ask, problem)))
    return _told(shown, ask, table, found)


def problem_of(
    cameras: tuple[Pictures, ...], ask: CutAsk, table: CutTable
) -> CutProblem:
    """Return an action as the programme cuts it."""
    n, rate, c = cameras[0].n_frames, cameras[0].rate, len(cameras)
    frames = np.array(
        [
            frame_costs(
                picture_costs(one, ask.pictures, ask.speeches),
                beats_missed(one, ask.beats),
            )
            for one in cameras
        ]
    )
    lengths = ask.lengths.costs(n, rate, ask.pictures.lengths, alone=c == 1)
    ends = [
        np.array([0 if asked in ("", one.name) else NEVER for one in cameras])
        for asked in (ask.first, ask.last)
    ]
    return CutProblem(
        frames=frames, cuts=table.cost, lengths=lengths, first=ends[0], last=ends[1]
    )


def _told(
    cameras: tuple[Pictures, ...], ask: CutAsk, table: CutTable, found: Cutting
) -> ChosenCut:
    """Return a cut with what its pictures cost, and what others would."""
    n, rate = cameras[0].n_frames, cameras[0].rate
    lengths = ask.lengths.costs(n, rate, ask.pictures.lengths, alone=len(cameras) == 1)
    of_frames = [picture_costs(one, ask.pictures, ask.speeches) for one in cameras]
    missed = [beats_missed(one, ask.beats) for one in cameras]
    stops = (*found.starts[1:], n)
    pictures = []
    for k, (start, stop, j) in enumerate(
        zip(found.starts, stops, found.cameras, strict=True)
    ):
        parts = {
            name: float(points[start:stop].sum())
            for name, points in of_frames[j].items()
        }
        parts["length"] = int(lengths[stop - start]) / MICRO
        cut, time, camera = {}, None, None
        if k:
            i = found.cameras[k - 1]
            cut = {
                name: int(points[i, j, start]) / MICRO
                for name, points in table.parts.items()
            }
            inside = found.starts[k - 1] + 1, stop
            time = _other_time(cameras, found, (i, j), start, inside)
            camera = _other_camera(cameras, found, (i, j), start)
        pictures.append(
            HeldPicture(
                camera=cameras[j].name,
                first=start,
                last=stop - 1,
                parts={name: points for name, points in parts.items() if points},
                cut={name: points for name, points in cut.items() if points},
                missed=int((missed[j][start:stop] > 0).sum()),
                other_time=time,
                other_camera=camera,
            )
        )
    return ChosenCut(pictures=tuple(pictures), points=found.total / MICRO)


def _other_time(
    cameras: tuple[Pictures, ...],
    found: Cutting,
    pair: tuple[int, int],
    at: int,
    inside: tuple[int, int],
) -> OtherCut | None:
    """Return the best cut between two cameras at another time.

    Args:
        cameras: of the action.
        found: the best cut.
        pair: from which camera to which.
        at: frame of the best cut.
        inside: first frame that counts, and the one behind the last.
    """
    apart = max(round(APART_S * cameras[0].rate), 1)
    frames = np.arange(*inside)
    frames = frames[np.abs(frames - at) >= apart]
    costs = found.through[pair[0], pair[1], frames]
    if not len(costs) or costs.min() >= NEVER // 2:
        return None
    best = int(costs.argmin())
    more = (int(costs[best]) - found.total) / MICRO
    return OtherCut(frame=int(frames[best]), camera=cameras[pair[1]].name, more=more)


def _other_camera(
    cameras: tuple[Pictures, ...], found: Cutting, pair: tuple[int, int], at: int
) -> OtherCut | None:
    """Return the best cut from a camera to another than it goes to, at its frame."""
    costs = found.through[pair[0], :, at].copy()
    costs[list(pair)] = NEVER
    best = int(costs.argmin())
    if costs[best] >= NEVER // 2:
        return None
    more = (int(costs[best]) - found.total) / MICRO
    return OtherCut(frame=at, camera=cameras[best].name, more=more)


def _helps(
    cameras: tuple[Pictures, ...], ask: CutAsk, problem: CutProblem
) -> list[str]:
    """Return which single changes would give a cut, each tried."""
    n, free = problem.frames.shape[1], np.zeros_like(problem.first)
    lengths = problem.lengths
    allowed = np.flatnonzero(lengths < NEVER)
    least, most = (int(allowed[0]), int(allowed[-1])) if len(allowed) else (n, n)
    all_lengths = np.arange(n + 1)
    loose = cut_table(cameras, ask.cuts, settle=False).cost
    changed = {
        "settled": {"cuts": loose},
        "first": {"first": free},
        "last": {"last": free},
        "shortest": {"lengths": np.where(all_lengths <= most, 0, lengths)},
        "longest": {"lengths": np.where(all_lengths >= least, 0, lengths)},
    }
    fields = ("frames", "cuts", "lengths", "first", "last")
    own = {name: getattr(problem, name) for name in fields}
    return [
        name
        for name, other in changed.items()
        if solve_cut(CutProblem(**{**own, **other})) is not None
    ]
