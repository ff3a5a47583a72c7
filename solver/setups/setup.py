"""A setup: what stands where for one shot, and what of it is left open.

Bearings are about the up axis, 0 ahead of the subject's travel, positive on its left.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import radians
from typing import NamedTuple

import numpy as np

from ..action.framing import Framing
from ..action.rehearsed import Action, action_of
from ..optics.lens import Lens
from ..rigs.shape import Rig
from ..shot import Shot
from ..stage.stage import Stage

VIEWS_RAD: dict[str, float] = {
    "front": 0.0,
    "three_quarter": radians(45),
    "profile": radians(90),
    "rear": radians(180),
}
SIDES = ("left", "right")


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """Where the camera stands about the subject.

    Attributes:
        name: of `VIEWS_RAD`, or degrees as text.
        angle_rad: off the travel, 0 to pi.
        side: left or right of the travel.
    """

    name: str
    angle_rad: float
    side: str

    @property
    def bearing_rad(self) -> float:
        """Signed bearing of the camera, positive on the left."""
        return self.angle_rad if self.side == "left" else -self.angle_rad


@lru_cache(maxsize=256)
def view_family(angle_rad: float) -> str:
    """Return the name of the nearest of `VIEWS_RAD`, of two the one nearer the front.

    Args:
        angle_rad: of the camera off the travel, 0 to pi.
    """
    return min(VIEWS_RAD, key=lambda name: round(abs(VIEWS_RAD[name] - angle_rad), 9))


class Setup(NamedTuple):
    """Lens, rig and what the dolly keeps; see `Shot` for hold, view, offset, follow.

    `view` is what it was laid for; None for a rig that the job fixes. `size` names
    which of the asked sizes it is for, "" where there is only one.
    """

    lens: Lens
    rig: Rig
    view: View | None
    hold: str = "abreast"
    view_rad: float = 0.0
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    follow: float = 1.0
    size: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ask:
    """A shot with what its setup may be.

    Attributes:
        shot: the shot; where lens or rig are open, its own only stand in for them.
        lenses: that may be used, ascending in focal length.
        rig: the rig, where it is fixed.
        kinds: of rig that may be laid, by name.
        views: that may be taken, the first preferred.
        height_m: fixed height of the lens of a rig that is laid, Y up, or None.
        height_open: whether a fixed rig's height may be chosen.
        hold: what a dolly must keep; None: abreast.
        rig_price: factor on what track costs against sticks.
        stage: where cameras and subjects can be.
        kit: lenses that could be had instead, ascending in focal length.
        sizes: that may be taken, by name with their framings, the shot's own first;
            none where the size is fixed.
    """

    shot: Shot
    lenses: tuple[Lens, ...]
    rig: Rig | None
    kinds: tuple[str, ...]
    views: tuple[View, ...]
    height_m: float | None
    height_open: bool = False
    hold: str | None = None
    rig_price: float = 1.0
    stage: Stage
    kit: tuple[Lens, ...] = ()
    sizes: tuple[tuple[str, tuple[Framing, ...]], ...] = ()

    def of_size(self, name: str) -> "Ask":
        """Return the ask for one of its sizes, itself where it has only one."""
        found = dict(self.sizes).get(name)
        if found is None:
            return self
        return replace(self, shot=replace(self.shot, framings=found), sizes=())


def rehearsed(shot: Shot) -> Action:
    """Return the action of a shot's cut; nothing in it depends on the setup."""
    frames = np.arange(shot.first, shot.last + 1, dtype=np.float64)
    return action_of(
        shot.subjects,
        shot.framings,
        shot.times_of(frames),
        float(shot.rate),
        shot.tangents[1],
    )


def in_setup(shot: Shot, setup: Setup) -> Shot:
    """Return a shot as it is taken from a setup, sizes kept at the new lens."""
    longer = setup.lens.focal_mm / shot.lens.focal_mm
    return replace(
        shot,
        lens=setup.lens,
        rig=setup.rig,
        hold=setup.hold,
        view_rad=setup.view_rad,
        side_offset=setup.offset,
        follow=setup.follow,
        framings=_further(shot.framings, longer),
    )


@lru_cache(maxsize=256)
def _further(framings: tuple[Framing, ...], longer: float) -> tuple[Framing, ...]:
    """Return framings whose sizes are kept by a lens so much longer."""
    if longer == 1.0:
        return framings
    return tuple(
        replace(framing, distance_m=framing.distance_m * longer) for framing in framings
    )
