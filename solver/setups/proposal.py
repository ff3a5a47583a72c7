"""A proposal: a layout with the lens and the view that it is laid for.

`build` turns it into a setup, rounded as it is written and with the run-up and run-out
that the dolly needs to be in step at the cut.
"""

from math import radians
from typing import NamedTuple

from ..elementary.trigonometry import cos, sin, tan
from ..optics.lens import Lens
from ..rigs.layout import Layout, Steps, in_mm
from .setup import Ask, Setup, View

RISE = {"below": radians(-12), "level": 0.0, "above": radians(15)}


class Proposal(NamedTuple):
    """A rig to lay, for a lens and a view."""

    lens: Lens
    view: View
    layout: Layout

    @property
    def kind(self) -> str:
        """Name of the kind of rig."""
        return self.layout.kind

    def moved(self, steps: Steps) -> "Proposal":
        """Return it with its layout changed by the steps of a search."""
        return self._replace(layout=self.layout.moved(steps))


def build(proposal: Proposal, ask: Ask) -> Setup | None:
    """Return the setup of a proposal, or None where it is not worth a rail.

    Args:
        proposal: what is laid.
        ask: the shot with its stage, crew limits and stock.
    """
    lens, view, layout = proposal
    rig = layout.built(ask.stage, ask.shot.crew.grip.max_accel)
    if rig is None:
        return None
    if rig.length_m == 0.0:
        return Setup(lens=lens, rig=rig, view=view)
    bearing, length = layout.offset
    return Setup(
        lens=lens,
        rig=rig,
        view=view,
        hold=layout.hold,
        view_rad=view.bearing_rad,
        offset=(in_mm(-sin(bearing) * length), 0.0, in_mm(-cos(bearing) * length)),
        follow=round(layout.follow, 3),
    )


def lens_height(
    ask: Ask, distance_m: float, eyes_m: float, angle: str | float | None = None
) -> float:
    """Return the height of the lens that an angle asks for, as the stage allows [m].

    Args:
        ask: the shot with its stage.
        distance_m: of the lens.
        eyes_m: height of the eyes, from which angles of view are counted.
        angle: in place of the one that is asked for.
    """
    if ask.height_m is not None:
        return ask.height_m
    angle = ask.shot.framings[0].angle if angle is None else angle
    rise = RISE[angle] if isinstance(angle, str) else radians(angle)
    low, high = ask.stage.heights
    return in_mm(min(max(eyes_m + distance_m * tan(rise), low), high))
