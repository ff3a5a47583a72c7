"""Sticks: the lens stays where it is."""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from ..arrays import FloatArray, frozen
from ..elementary.trigonometry import cos, sin
from ..laying.feasible import feasible_sticks
from ..laying.fit_sticks import AZIMUTH_ASKED, AZIMUTH_OPEN
from ..laying.laying import Bounds, Wish
from ..laying.way import Way
from ..stage.stage import Stage
from .kind import RigKind
from .layout import ACROSS_M, AWAY_M, Layout, RigWish, Steps, lens_place
from .shape import LINE, RigShape, StudiedRig

NAME = "sticks"


class Sticks(StudiedRig):
    """A camera on sticks."""

    __slots__ = ()
    kind = NAME
    n_drawn = 1

    @property
    def heights_m(self) -> tuple[float, float]:
        """See `Rig`."""
        height = float(self.shape.origin[1])
        return height, height

    def places(self, s: FloatArray) -> FloatArray:
        """See `Rig`."""
        return self.shape.origin + np.multiply.outer(s, self.shape.direction)

    def feet(self, points: FloatArray, near_s: FloatArray) -> FloatArray:
        """See `Rig`: there is only the one place."""
        return np.zeros(len(points))

    def at_height(self, height_m: float) -> "Sticks":
        """See `Rig`."""
        x, _, z = self.shape.origin.tolist()
        return sticks(np.array((x, height_m, z)))

    def longer(self, before_m: float, after_m: float) -> "Sticks":
        """See `Rig`: sticks stay as they are."""
        return self


def sticks(at: FloatArray) -> Sticks:
    """Return a camera on sticks with its lens at `at` (3,) [m]."""
    return Sticks(RigShape(LINE, 0.0, frozen(at)))


@dataclass(frozen=True, kw_only=True, slots=True)
class SticksLayout(Layout):
    """Sticks where `x` and `z` are the lens's; steps go away and across [m]."""

    kind: ClassVar[str] = NAME
    n_free: ClassVar[int] = 2

    def first_steps(self, stage: Stage) -> Steps:
        """See `Layout`."""
        return AWAY_M * self.distance_m, ACROSS_M * self.distance_m, 0.0

    def moved(self, steps: Steps) -> "SticksLayout":
        """See `Layout`."""
        bearing, across = self.offset[0], self.hand * steps[1]
        x, z = self.away(steps[0])
        return replace(self, x=x - cos(bearing) * across, z=z + sin(bearing) * across)

    def built(self, stage: Stage, dolly_accel: float) -> Sticks:
        """See `Layout`."""
        return sticks(lens_place(self.x, self.height_m, self.z))

    def within(self, wish: Wish, bounds: Bounds) -> "SticksLayout | None":
        """See `Layout`."""
        found = feasible_sticks(wish, bounds, np.array([self.x, self.z]))
        x, z = found.places[0]
        return replace(self, x=float(x), z=float(z)) if found.feasible else None


def propose(wanted: RigWish, way: Way) -> list[Layout]:
    """Return sticks where the asked distance and bearing are kept best."""
    weight = AZIMUTH_OPEN if wanted.view_open else AZIMUTH_ASKED
    x, z = way.stand(wanted.bearing_rad, wanted.distance_m, weight)
    return [
        SticksLayout(
            distance_m=wanted.distance_m,
            height_m=wanted.height_m,
            x=x,
            z=z,
            offset=(wanted.bearing_rad, wanted.distance_m),
            hand=wanted.hand,
        )
    ]


STICKS_KIND = RigKind(
    name=NAME,
    price=0.0,
    price_per_m=0.0,
    on_rail=False,
    propose=propose,
)
