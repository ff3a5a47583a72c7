"""A made-up rig: a straight rail that rises and falls along a sine, in one file.

Its geometry, its layout, its proposal and its price are what the solver needs; its
table, its units and its words are its entry among the rigs of a job file.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from carrellata.jobs.job.quantities import Number, Point
from carrellata.jobs.job.rig import (
    RIGS,
    DollyRig,
    Placing,
    RigEntry,
    Written,
    place_words,
)
from carrellata.solver.arrays import FloatArray
from carrellata.solver.laying.laying import Bounds, Wish
from carrellata.solver.laying.way import Way
from carrellata.solver.rigs.kind import RigKind
from carrellata.solver.rigs.kinds import KINDS
from carrellata.solver.rigs.layout import Layout, RigWish, Steps
from carrellata.solver.rigs.sampled import sampled, sampled_places
from carrellata.solver.rigs.shape import Rig
from carrellata.solver.rigs.track import TrackLayout, propose
from carrellata.solver.stage.stage import Stage

NAME = "sine"


@dataclass(frozen=True, slots=True)
class SineRail(Rig):
    """Straight from above; one wave of a sine between its ends."""

    kind: ClassVar[str] = NAME

    start: FloatArray
    end: FloatArray
    rise_m: float

    def places(self, s: FloatArray) -> FloatArray:
        return sampled_places(self.shape, s)

    def at_height(self, height_m: float) -> "SineRail":
        up = np.array((0.0, height_m - self.start[1], 0.0))
        return sine_rail(self.start + up, self.end + up, self.rise_m)


def sine_rail(start: FloatArray, end: FloatArray, rise_m: float) -> SineRail:
    def curve(shares: FloatArray) -> FloatArray:
        places = start + shares[:, None] * (end - start)
        places[:, 1] += rise_m * np.sin(2 * pi * shares)
        return places

    return SineRail(sampled(curve), start, end, rise_m)


@dataclass(frozen=True, kw_only=True, slots=True)
class SineLayout(Layout):
    """Laid as track is, and then bent."""

    kind: ClassVar[str] = NAME
    n_free: ClassVar[int] = 3

    flat: TrackLayout
    rise_m: float = 0.2

    def first_steps(self, stage: Stage) -> Steps:
        return self.flat.first_steps(stage)

    def moved(self, steps: Steps) -> "SineLayout":
        return _bent(self.flat.moved(steps))

    def built(self, stage: Stage, dolly_accel: float) -> SineRail | None:
        rig = self.flat.built(stage, dolly_accel)
        if rig is None:
            return None
        return sine_rail(rig.shape.origin, rig.end, self.rise_m)

    def within(self, wish: Wish, bounds: Bounds) -> "SineLayout | None":
        found = self.flat.within(wish, bounds)
        return None if found is None else _bent(found)


def _bent(flat: TrackLayout) -> SineLayout:
    return SineLayout(
        distance_m=flat.distance_m,
        height_m=flat.height_m,
        x=flat.x,
        z=flat.z,
        offset=flat.offset,
        hold=flat.hold,
        follow=flat.follow,
        flat=flat,
    )


def propose_sine(wanted: RigWish, way: Way) -> list[Layout]:
    return [_bent(one) for one in propose(wanted, way) if isinstance(one, TrackLayout)]


class SineSpec(DollyRig):
    """A dolly on a rail that rises along a sine."""

    kind: Literal["sine"]
    from_: Annotated[Point, Field(alias="from")]
    to: Point
    rise: Number


def _placed(rig: SineSpec, place: Placing) -> SineRail:
    return sine_rail(place(rig.from_), place(rig.to), place.world.metres(rig.rise))


def _values(rig: SineRail, written: Written) -> dict[str, Any]:
    return {
        "from": written.point(rig.start),
        "to": written.point(rig.end),
        "rise": written.length(rig.rise_m),
    }


def _where(rig: Mapping[str, Any]) -> str:
    ends = f"from {place_words(rig['from'])} to {place_words(rig['to'])}"
    return f"sine rail {ends}, rising by {rig['rise']:g}"


def register() -> None:
    """Add it to the kinds of rig there are, before the tables of a job are made."""
    KINDS[NAME] = RigKind(name=NAME, price=1.0, price_per_m=0.1, propose=propose_sine)
    RIGS[NAME] = RigEntry(
        spec=SineSpec,
        words="a sine rail",
        placed=_placed,
        values=_values,
        where=_where,
    )
