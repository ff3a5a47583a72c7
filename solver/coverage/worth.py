"""What each frame of a camera costs a cut, and what the length of a picture costs.

Points a second: who is seen now, how large and from which side, who speaks. The
weights are our choice. Beats are musts: a frame that misses one costs more than any
taste.

Lengths have a log-normal prior (Galvane et al. 2015, from memory). Its cost is the
negative logarithm of its density over the logarithm of the length, counted from the
median, so that cutting more or less often costs nothing by itself. Median 2.63 s and a
spread of 0.69 are of the 96,697 shots of the validation list of the MovieCuts data set
(Pardo et al. 2022, from memory), counted from its published list.
"""

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..cuts.cost import MICRO, micro
from .cutting import NEVER
from .pictures import Pictures

MEDIAN_S, SPREAD = 2.63, 0.69
MUST = 1000.0
"""Points that a frame costs which misses a beat."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PictureCosts:
    """What a second of a picture costs [points].

    Attributes:
        nobody: it shows no head.
        lost: it does not show the head of whom the camera follows.
        speaker: it does not show the head of who speaks.
        turned_away: who is followed shows the back of the head; the side half of it.
        small: each halving of the figure under the frame height.
        lengths: factor on the cost of lengths.
    """

    nobody: float = 4.0
    lost: float = 3.0
    speaker: float = 2.0
    turned_away: float = 1.0
    small: float = 0.3
    lengths: float = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Beat:
    """Frames at which a cut has to show something.

    Attributes:
        first, last: frames, from 0, both inside.
        on: whose heads are shown; alone: and nobody else's.
        camera: which camera is on; "" for any.
    """

    first: int
    last: int
    on: tuple[str, ...] = ()
    alone: bool = False
    camera: str = ""

    def told(self, pictures: Pictures) -> BoolArray:
        """Return at which of its frames a camera tells it."""
        shown = pictures.shown[:, self.first : self.last + 1]
        told = np.ones(shown.shape[1], dtype=np.bool_)
        if self.camera:
            told &= pictures.name == self.camera
        for name in self.on:
            told &= shown[pictures.people.index(name)]
        if self.alone:
            told &= shown.sum(axis=0) == len(self.on)
        return told


@dataclass(frozen=True, kw_only=True, slots=True)
class Speech:
    """Frames in which somebody speaks, from 0, both inside."""

    who: str
    first: int
    last: int


def picture_costs(
    pictures: Pictures, costs: PictureCosts, speeches: tuple[Speech, ...] = ()
) -> dict[str, FloatArray]:
    """Return what the frames of a camera cost, by parts [points], (n,) each."""
    second = 1.0 / pictures.rate
    n = pictures.n_frames
    nobody = ~pictures.shown.any(axis=0) & ~pictures.followed
    halvings = np.maximum(-np.log2(pictures.figure), 0.0)
    silent = np.zeros(n)
    for speech in speeches:
        frames = slice(speech.first, speech.last + 1)
        shown = pictures.shown[pictures.people.index(speech.who), frames]
        silent[frames] = np.maximum(silent[frames], ~shown)
    return {
        "nobody": costs.nobody * second * nobody.astype(np.float64),
        "lost": costs.lost * second * (~pictures.followed).astype(np.float64),
        "speaker": costs.speaker * second * silent,
        "turned_away": costs.turned_away * second * np.nan_to_num(pictures.away),
        "small": costs.small * second * np.nan_to_num(halvings),
    }


def beats_missed(pictures: Pictures, beats: tuple[Beat, ...]) -> IntArray:
    """Return how many beats each frame of a camera misses, (n,)."""
    missed = np.zeros(pictures.n_frames, dtype=np.int64)
    for beat in beats:
        missed[beat.first : beat.last + 1] += ~beat.told(pictures)
    return missed


@dataclass(frozen=True, kw_only=True, slots=True)
class Lengths:
    """How long pictures are held [s]; the spread is that of the natural logarithm."""

    median_s: float = MEDIAN_S
    spread: float = SPREAD
    shortest_s: float = 1.0
    longest_s: float = 20.0

    def costs(self, n: int, rate: float, weight: float, *, alone: bool) -> IntArray:
        """Return what a picture of each length costs, (n + 1,) [micro-points].

        `NEVER` outside of shortest and longest; an action that is shorter than the
        shortest may be one picture.

        Args:
            n: frames of the action.
            rate: frames a second.
            weight: points of half a squared spread.
            alone: whether there is one camera, which is then held throughout.
        """
        frames = np.arange(n + 1)
        seconds = np.maximum(frames, 1) / rate
        off = np.log(seconds / self.median_s) / self.spread
        costs = micro(np.minimum(weight * off**2 / 2, MUST))
        least = min(int(np.ceil(self.shortest_s * rate - 1e-9)), n)
        most = n if alone else int(np.floor(self.longest_s * rate + 1e-9))
        outside = (frames < max(least, 1)) | (frames > most)
        return np.where(outside, NEVER, costs)


def frame_costs(parts: dict[str, FloatArray], missed: IntArray) -> IntArray:
    """Return what frames cost [micro-points], (n,), from parts and missed beats."""
    points = np.sum([micro(one) for one in parts.values()], axis=0)
    whole: IntArray = points + missed * int(MUST * MICRO)
    return whole
