"""The cut of an action: a semi-Markov dynamic programme over camera and time.

A cut divides the n frames into pictures: stretches, each of one camera. It costs the
sum, over its pictures, of what their frames cost, what their length costs, and what
the cut into them costs. The programme finds the least, exactly, in whole micro-points:
the best way to cover the frames before t that ends on camera j follows from the best
ways that end on each camera a picture's length earlier. Run from the other end as well,
it says what the best cut costs that has a given cut in it.

Source: segmental (semi-Markov) models, as in Galvane et al. 2015, Continuity editing
for 3D animation (AAAI), from memory. Time O(c n (c + longest)).
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..arrays import IntArray
from ..compiled.kernel import kernel
from .cutting import NEVER
from .lengths import LengthCosts


@dataclass(frozen=True, kw_only=True, slots=True)
class CutProblem:
    """What is cut: c cameras over n frames [micro-points].

    Attributes:
        frames: what each frame costs on each camera, (c, n).
        cuts: what a cut before each frame costs from a camera to another, (c, c, n);
            `NEVER` where it is not made.
        lengths: what a picture costs by its length and place.
        first, last: whether the cut may begin and end on each camera, (c,), 0 or
            `NEVER`.
    """

    frames: IntArray
    cuts: IntArray
    lengths: LengthCosts
    first: IntArray
    last: IntArray


@dataclass(frozen=True, kw_only=True, slots=True)
class Cutting:
    """The best cut, and what any other costs.

    Attributes:
        starts: first frame of each picture, from 0, rising; cameras: of each.
        total: what it costs [micro-points].
        through: what the best cut costs that cuts from a camera to another before a
            frame, (c, c, n) [micro-points]; `NEVER` or more where there is none.
    """

    starts: tuple[int, ...]
    cameras: tuple[int, ...]
    total: int
    through: IntArray


class CutSums(NamedTuple):
    """A problem as kernels read it.

    `sums` (c, n + 1) has the cost of the frames before each frame, `cuts` (c, c, n) is
    that of `CutProblem`, `lengths` (rows, most + 1) and `row` (n + 1,) are those of its
    `LengthCosts`, `shortest` and `longest` frames.
    """

    sums: IntArray
    cuts: IntArray
    lengths: IntArray
    row: IntArray
    shortest: int
    longest: int


class Covered(NamedTuple):
    """The best ways to cover the frames before t that end on each camera, (n + 1, c).

    `cost` of it, `start` of the last picture, and `before`: the camera from which a
    picture that starts at t on each camera is best cut to.
    """

    cost: IntArray
    start: IntArray
    before: IntArray


def solve_cut(problem: CutProblem) -> Cutting | None:
    """Return the best cut; None where nothing is allowed.

    Among equals the shortest last picture wins, and of those the first camera.
    """
    c, n = problem.frames.shape
    sums = np.zeros((c, n + 1), dtype=np.int64)
    np.cumsum(problem.frames, axis=1, out=sums[:, 1:])
    lengths = problem.lengths
    allowed = np.flatnonzero((lengths.points < NEVER).any(axis=0))
    if not len(allowed):
        return None
    least, most = int(allowed[0]), int(allowed[-1])
    asked = CutSums(sums, problem.cuts, lengths.points, lengths.row, least, most)
    best = Covered(*(np.full((n + 1, c), value) for value in (NEVER, -1, -1)))
    cover_forth(asked, problem.first, best)
    ends = best.cost[n] + problem.last
    camera = int(ends.argmin())
    if ends[camera] >= NEVER:
        return None
    back = np.full((n + 1, c), NEVER)
    cover_back(asked, problem.last, back)
    starts, cameras, at = [], [], n
    while at > 0:
        at = int(best.start[at, camera])
        starts.append(at)
        cameras.append(camera)
        camera = int(best.before[at, camera])
    through = best.cost[:n].T[:, None, :] + problem.cuts + back[:n].T[None, :, :]
    return Cutting(
        starts=tuple(reversed(starts)),
        cameras=tuple(reversed(cameras)),
        total=int(ends.min()),
        through=np.minimum(through, NEVER),
    )


@kernel
def cover_forth(asked, first, best):
    """Fill the best ways to cover the frames before each frame.

    Args:
        asked: the `CutSums`.
        first: what beginning on each camera costs, (c,).
        best: the `Covered` to fill.
    """
    never = np.int64(1) << 60
    sums, cuts, lengths, row = asked.sums, asked.cuts, asked.lengths, asked.row
    c, n = sums.shape[0], sums.shape[1] - 1
    enter = np.full((n + 1, c), never)
    for j in range(c):
        enter[0, j] = first[j]
    for t in range(1, n + 1):
        for j in range(c):
            least, at = never, np.int64(-1)
            for length in range(asked.shortest, min(asked.longest, t) + 1):
                s = t - length
                held = lengths[row[(s + t) // 2], length]
                if enter[s, j] >= never or held >= never:
                    continue
                cost = enter[s, j] + sums[j, t] - sums[j, s] + held
                if cost < least:
                    least, at = cost, np.int64(s)
            best.cost[t, j], best.start[t, j] = least, at
        if t == n:
            break
        for j in range(c):
            least, at = never, np.int64(-1)
            for i in range(c):
                if i == j or best.cost[t, i] >= never or cuts[i, j, t] >= never:
                    continue
                cost = best.cost[t, i] + cuts[i, j, t]
                if cost < least:
                    least, at = cost, np.int64(i)
            enter[t, j], best.before[t, j] = least, at


@kernel
def cover_back(asked, last, back):
    """Fill what covering the frames from t on costs, beginning on each camera.

    Args:
        asked: the `CutSums`.
        last: what ending on each camera costs, (c,).
        back: filled, (n + 1, c); the cut into the first picture is not counted.
    """
    never = np.int64(1) << 60
    sums, cuts, lengths, row = asked.sums, asked.cuts, asked.lengths, asked.row
    c, n = sums.shape[0], sums.shape[1] - 1
    leave = np.full((n + 1, c), never)
    for j in range(c):
        leave[n, j] = last[j]
    for t in range(n - 1, -1, -1):
        for j in range(c):
            least = never
            for length in range(asked.shortest, min(asked.longest, n - t) + 1):
                s = t + length
                held = lengths[row[(s + t) // 2], length]
                if leave[s, j] >= never or held >= never:
                    continue
                cost = leave[s, j] + sums[j, s] - sums[j, t] + held
                least = min(least, cost)
            back[t, j] = least
        if t == 0:
            break
        for i in range(c):
            least = never
            for j in range(c):
                if i == j or back[t, j] >= never or cuts[i, j, t] >= never:
                    continue
                least = min(least, cuts[i, j, t] + back[t, j])
            leave[t, i] = least
