"""How long pictures are held: a log-normal prior, and a rhythm drawn from it.

The cost of a length is the negative logarithm of its density over the logarithm of the
length, counted from the length that is liked best there, so that cutting more or less
often costs nothing by itself (Galvane et al. 2015, from memory). Median 2.63 s and a
spread of 0.69 are of the 96,697 shots of the validation list of the MovieCuts data set
(Pardo et al. 2022, from memory), counted from its published list.

The cheapest cut under one prior holds every picture for about its median: it takes the
likeliest length each time and never one from the tails. So a share of the spread is
drawn beforehand, with a seed: lengths from the prior, one after the other, until they
cover the action. Each is what is liked best around its place, and the prior round it is
narrower, so that the two variances add up to the whole. Our own; the figures stand in
`jobs/coverage/README.md`.
"""

from dataclasses import dataclass
from math import ceil, floor, sqrt

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..cuts.cost import micro
from .cutting import NEVER

MEDIAN_S, SPREAD = 2.63, 0.69
MUST = 1000.0
"""Points that a frame costs which misses a beat, and a rule that is broken."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LengthCosts:
    """What lengths cost, by where a picture lies.

    Attributes:
        points: of each length, (rows, most + 1) [micro-points]; `NEVER` outside of
            shortest and longest, which are those of every row.
        row: which row holds for a picture whose middle is a frame, (n + 1,).
        liked: length that is liked best in each row, (rows,) [frames].
    """

    points: IntArray
    row: IntArray
    liked: FloatArray

    def of(self, start: int, stop: int) -> int:
        """Return what a picture costs, the frame `stop` not included."""
        length = stop - start
        if length >= self.points.shape[1]:
            return int(NEVER)
        return int(self.points[self.row[(start + stop) // 2], length])

    def liked_at(self, start: int, stop: int) -> float:
        """Return the length that is liked best where a picture lies [frames]."""
        return float(self.liked[self.row[(start + stop) // 2]])


@dataclass(frozen=True, kw_only=True, slots=True)
class Lengths:
    """How long pictures are held [s]; the spread is that of the natural logarithm.

    `varied` is the share of the spread that is drawn, 0 to below 1, and `seed` that of
    the draws.
    """

    median_s: float = MEDIAN_S
    spread: float = SPREAD
    shortest_s: float = 1.0
    longest_s: float = 20.0
    varied: float = 0.0
    seed: int = 0

    def costs(self, n: int, rate: float, weight: float, *, alone: bool) -> LengthCosts:
        """Return what pictures cost by their lengths.

        An action that is shorter than the shortest may be one picture.

        Args:
            n: frames of the action.
            rate: frames a second.
            weight: points of half a squared spread.
            alone: whether there is one camera, which is then held throughout.
        """
        allowed = self.allowed(n, rate, alone=alone)
        if self.varied == 0.0 or alone:
            points = self.prior(n, rate, weight)
            return self.even(np.where(allowed, points, NEVER), rate)
        most = int(np.flatnonzero(allowed)[-1])
        drawn = self.rhythm(n, rate)
        around = self.spread * sqrt(1.0 - self.varied**2)
        rows = [_points(most, rate, one / rate, around, weight) for one in drawn]
        row = np.repeat(np.arange(len(drawn)), drawn)
        return LengthCosts(
            points=np.where(allowed[: most + 1], np.array(rows), NEVER),
            row=np.append(row, len(drawn) - 1),
            liked=drawn.astype(np.float64),
        )

    def even(self, points: IntArray, rate: float) -> LengthCosts:
        """Return what lengths cost that cost the same everywhere, given (n + 1,)."""
        row = np.zeros(len(points), dtype=np.int64)
        liked = np.array([self.median_s * rate])
        return LengthCosts(points=points[None], row=row, liked=liked)

    def prior(self, n: int, rate: float, weight: float) -> IntArray:
        """Return what lengths up to n cost, allowed or not, (n + 1,) [micro-points]."""
        return _points(n, rate, self.median_s, self.spread, weight)

    def allowed(self, n: int, rate: float, *, alone: bool) -> BoolArray:
        """Return which lengths are neither too short nor too long, (n + 1,)."""
        frames = np.arange(n + 1)
        least = min(ceil(self.shortest_s * rate - 1e-9), n)
        most = n if alone else floor(self.longest_s * rate + 1e-9)
        allowed: BoolArray = (frames >= max(least, 1)) & (frames <= most)
        return allowed

    def rhythm(self, n: int, rate: float) -> IntArray:
        """Return lengths drawn one after the other until they cover n frames.

        The last one ends where the action does; what is left of it goes to the one
        before, where that is shorter than the shortest.
        """
        rng = np.random.default_rng(self.seed)
        least, most = self.shortest_s * rate, self.longest_s * rate
        drawn: list[int] = []
        left = n
        while left > 0:
            off = self.varied * self.spread * rng.standard_normal()
            length = min(max(self.median_s * np.exp(off) * rate, least), most)
            frames = min(max(round(length), 1), left)
            if frames < least and drawn:
                drawn[-1] += frames
            else:
                drawn.append(frames)
            left -= frames
        return np.array(drawn)


def _points(
    n: int, rate: float, best_s: float, spread: float, weight: float
) -> IntArray:
    """Return what lengths up to n cost round the one that is liked best, (n + 1,)."""
    seconds: FloatArray = np.maximum(np.arange(n + 1), 1) / rate
    off = np.log(seconds / best_s) / spread
    return micro(np.minimum(weight * off**2 / 2, MUST))
