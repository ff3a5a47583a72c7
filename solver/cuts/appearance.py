"""Who is in the picture over a shot, and by which side they come and go."""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..claims.everyone import FrameTable

LEFT, RIGHT = "left", "right"
_BESIDE = 0.85  # further out than this, half frames, a head is cut by the side


class Appearance(NamedTuple):
    """One person in the pictures of a shot.

    A head is shown where it is whole in frame and nothing stands before the eyes.

    Attributes:
        name: of the person.
        at_first: whether the first frame shows them; at_last: the last.
        ever: whether any frame does.
        came: side of the frame by which they came in, `left` or `right`; None where
            they are there from the start, or come by no side.
        went: side by which they are gone at the end, likewise.
    """

    name: str
    at_first: bool
    at_last: bool
    ever: bool
    came: str | None
    went: str | None


def appearances(table: FrameTable) -> tuple[Appearance, ...]:
    """Return how everybody of a frame table comes and goes, in their order."""
    shown = table.shown
    found = []
    for k, name in enumerate(table.blocking.names):
        mine, hidden, u = shown[k], table.hidden[k], table.crown_u[k]
        ever = bool(mine.any())
        came = went = None
        if ever and not mine[0]:
            came = _side(u, hidden, int(mine.argmax()) - 1)
        if ever and not mine[-1]:
            went = _side(u, hidden, len(mine) - int(mine[::-1].argmax()))
        found.append(Appearance(name, bool(mine[0]), bool(mine[-1]), ever, came, went))
    return tuple(found)


def _side(u: FloatArray, hidden: BoolArray, at: int) -> str | None:
    """Return the side of the frame that somebody is beyond; None where it is none.

    A head is cut by a side before its crown is past it: the nearer side counts where
    the crown is out, or within a head of it.
    """
    if hidden[at] or not abs(u[at]) > _BESIDE:
        return None
    return RIGHT if np.sign(u[at]) > 0 else LEFT
