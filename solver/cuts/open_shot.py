"""A shot with the setups that it can have, as the choice across cuts sees it."""

from dataclasses import dataclass
from typing import cast

import numpy as np

from ..arrays import IntArray
from .cost import micro
from .end import CutEnd, EndView, ShotEnds

KEEP_MARGIN = 0.15
LEAST_KEPT_SCORE = 1.0  # points; the margin of a score under it is this score's
STEADY = 10.0  # points that moving a shot has to save where its own action is the same


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """One setup that a shot can have.

    Attributes:
        score: of its take [points], lower is better.
        first, last: ends of its cut, or what the camera sees of them.
        order: place in the fixed order in which equals are preferred.
        setup: names the setup among shots that share a letter.
        size: name of the size where the shot leaves it open, else "".
        kind: names what a runner-up has to differ in (rig, view, lens); "" differs from
            all.
        view: family of the view, a name of `VIEWS_RAD`; "" where the rig is fixed.
    """

    score: float
    first: CutEnd | EndView
    last: CutEnd | EndView
    order: int = 0
    setup: str = ""
    kind: str = ""
    view: str = ""
    size: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class OpenShot:
    """One shot and the setups that it can have; a fixed or locked one has one.

    Attributes:
        name, scene: of the shot.
        elapsed: whether time has passed since the shot before.
        gap: whether the shot before is missing from those that are chosen for.
        states: at least one; all show the same action, which whole ends of the first
            say.
        kept: index of last night's setup among them, or None.
        unchanged: whether the shot's own inputs are last night's.
        margin: share of the kept setup's score by which another has to beat it.
    """

    name: str
    scene: str
    states: tuple[State, ...]
    elapsed: bool = False
    gap: bool = False
    kept: int | None = None
    unchanged: bool = False
    margin: float = KEEP_MARGIN

    @property
    def ends(self) -> ShotEnds:
        """The ends of the first state."""
        one = self.states[0]
        return ShotEnds(
            first=cast(CutEnd, one.first),
            last=cast(CutEnd, one.last),
        )


def keeping_gains(shot: OpenShot, margin: float | None = None) -> IntArray:
    """Return what each state of a shot gains for being last night's, (n,).

    Args:
        shot: with its kept state, if it has one.
        margin: in place of the shot's own.
    """
    share = shot.margin if margin is None else margin
    gains = np.zeros(len(shot.states), dtype=np.int64)
    if shot.kept is not None:
        score = max(abs(shot.states[shot.kept].score), LEAST_KEPT_SCORE)
        steady = STEADY if shot.unchanged else 0.0
        gains[shot.kept] = micro(share * score + steady)
    return gains
