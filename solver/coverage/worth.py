"""What each frame of a camera costs a cut.

Points a second: who is seen now, how large and from which side, who speaks. The
weights are our choice. Beats are musts: a frame that misses one costs more than any
taste.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..action.claim import Claim
from ..arrays import BoolArray, FloatArray, IntArray
from ..claims.everyone import FrameTable
from ..claims.measured import outcomes_of
from ..cuts.cost import MICRO, micro
from .lengths import MUST
from .pictures import Pictures


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
        claim: what the picture has to tell at each of them, of a verb that one frame
            tells or does not.
    """

    first: int
    last: int
    on: tuple[str, ...] = ()
    alone: bool = False
    camera: str = ""
    claim: Claim | None = None

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
        if self.claim is not None:
            told &= _tells(self.claim, pictures.table, self.first, self.last)
        return told


def _tells(claim: Claim, table: FrameTable, first: int, last: int) -> BoolArray:
    """Return at which frames of a stretch a picture tells a claim, counted from 0."""
    numbers = table.blocking.frame[first : last + 1].tolist()
    at_each = [replace(claim, frames=(frame, frame)) for frame in numbers]
    return np.array([one.held for one in outcomes_of(at_each, table)], dtype=np.bool_)


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


def frame_costs(parts: dict[str, FloatArray], missed: IntArray) -> IntArray:
    """Return what frames cost [micro-points], (n,), from parts and missed beats."""
    points = np.sum([micro(one) for one in parts.values()], axis=0)
    whole: IntArray = points + missed * int(MUST * MICRO)
    return whole
