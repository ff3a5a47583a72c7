"""The `rig` table: what each kind of rig is in a job file, or left to choose.

Each kind stands here once, in `RIGS`: its fields, its change from and to scene units,
and its words. Its geometry and how it is laid are the solver's.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import degrees, log10, pi, radians
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from ...solver.arrays import FloatArray
from ...solver.rigs.arc import arc
from ...solver.rigs.shape import Rig
from ...solver.rigs.sticks import sticks
from ...solver.rigs.track import Track, track
from .locations import Finding
from .quantities import Number, Point, Spec
from .world import WorldSpec

Hold = Literal["abreast", "size", "view"]
Turn = Annotated[Number, Field(ge=-360, le=360)]
Follow = Annotated[Number, Field(ge=0, le=1)]


class SticksRig(Spec):
    """A head on sticks: the lens stays where it is."""

    kind: Literal["sticks"]
    at: Point
    """Of the lens, scene units."""


class DollyRig(Spec):
    """What a dolly on any rail keeps."""

    hold: Hold = "abreast"
    """What the dolly keeps: nearest place, distance, or angle on the subject."""
    beside: Point = (0.0, 0.0, 0.0)
    """For abreast: from the subject to its ideal place, along the scene's axes and in
    its units; the dolly keeps to where that place is nearest."""
    follow: Follow = 1.0
    """For abreast: share of the way that the dolly covers, from the rail's middle."""


class TrackRig(DollyRig):
    """A dolly on straight track."""

    kind: Literal["track"]
    from_: Annotated[Point, Field(alias="from")]
    """Lens at the near end, scene units."""
    to: Point
    """Lens at the far end, scene units; another height makes a rise or a fall."""


class ArcRig(DollyRig):
    """A dolly on a level arc of track."""

    kind: Literal["arc"]
    centre: Point
    """Of the arc, at the height of the lens, scene units."""
    radius: Annotated[Number, Field(gt=0, le=1e9)]
    """Scene units."""
    start_deg: Turn
    """Direction from the centre to the first place, counter-clockwise from above."""
    sweep_deg: Turn
    """Positive runs counter-clockwise seen from above."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Written:
    """Writes places and lengths of a rig as they stand in a job file.

    They are rounded to a tenth of a millimetre, whatever the scene's unit.
    """

    world: WorldSpec

    @property
    def digits(self) -> int:
        """Decimals of scene units."""
        return max(0, round(4 + log10(self.world.metres_per_unit)))

    def point(self, inside: FloatArray) -> list[float]:
        """Return a place or a way (3,) [m], Y up, in the scene's axes and units."""
        scene = self.world.scene(np.asarray(inside)[None])[0]
        return [round(float(value), self.digits) + 0.0 for value in scene]

    def length(self, metres: float) -> float:
        """Return a length in scene units."""
        return round(self.world.units(metres), self.digits)


@dataclass(frozen=True, kw_only=True, slots=True)
class RigEntry:
    """What a kind of rig is in a job file.

    Attributes:
        spec: its table; a `DollyRig` where a dolly moves.
        words: its name in a sentence.
        placed: returns the solver's rig of a table. A `SolverError` refuses it.
        values: returns its own fields as they stand in a job file, without those of
            a `DollyRig`.
        where: returns where a table has it stand, in words.
        faults: yields what is wrong between its fields.
    """

    spec: type[Spec]
    words: str
    placed: Callable[[Any, "Placing"], Rig]
    values: Callable[[Any, Written], dict[str, Any]]
    where: Callable[[Any], str]
    faults: Callable[[Any], Iterator[Finding]] = lambda spec: iter(())


@dataclass(frozen=True, kw_only=True, slots=True)
class Placing:
    """Reads places of a rig: in metres, Y up, at a height that may replace theirs."""

    world: WorldSpec
    height: float | None = None

    def __call__(self, point: Point) -> FloatArray:
        """Return a place (3,) [m], Y up."""
        inside: FloatArray = self.world.inside(np.array([point]))[0]
        if self.height is not None:
            inside[1] = self.world.metres(self.height)
        return inside


def _track_faults(rig: TrackRig) -> Iterator[Finding]:
    if rig.from_ == rig.to:
        yield ("rig",), "the track has no length, from and to are the same place"


def _arc_faults(rig: ArcRig) -> Iterator[Finding]:
    if rig.sweep_deg == 0:
        yield ("rig", "sweep_deg"), "must not be 0 deg, the arc has no length"


def _arc(rig: ArcRig, place: Placing) -> Rig:
    return arc(
        place(rig.centre),
        radius=place.world.metres(rig.radius),
        start=radians(rig.start_deg),
        sweep=radians(rig.sweep_deg),
    )


def _track_values(rig: Track, written: Written) -> dict[str, Any]:
    return {
        "from": written.point(rig.shape.origin),
        "to": written.point(rig.end),
    }


def _arc_values(rig: Rig, written: Written) -> dict[str, Any]:
    shape = rig.shape
    start_deg = degrees((shape.start + pi) % (2 * pi) - pi)
    return {
        "centre": written.point(shape.origin),
        "radius": written.length(shape.radius),
        "start_deg": round(start_deg, 2),
        "sweep_deg": round(degrees(shape.turn * shape.length / shape.radius), 2),
    }


def place_words(point: Point) -> str:
    """Return a place in scene units, as it is read."""
    return "(" + ", ".join(f"{value:g}" for value in point) + ")"


RIGS: dict[str, RigEntry] = {
    "sticks": RigEntry(
        spec=SticksRig,
        words="sticks",
        placed=lambda rig, place: sticks(place(rig.at)),
        values=lambda rig, written: {"at": written.point(rig.shape.origin)},
        where=lambda rig: f"sticks at {place_words(rig.at)}",
    ),
    "track": RigEntry(
        spec=TrackRig,
        words="straight track",
        placed=lambda rig, place: track(place(rig.from_), place(rig.to)),
        values=_track_values,
        where=lambda rig: (
            f"track from {place_words(rig.from_)} to {place_words(rig.to)}"
        ),
        faults=_track_faults,
    ),
    "arc": RigEntry(
        spec=ArcRig,
        words="curved track",
        placed=_arc,
        values=_arc_values,
        where=lambda rig: (
            f"arc of radius {rig.radius:g} round {place_words(rig.centre)}, from "
            f"{rig.start_deg:g} deg over {rig.sweep_deg:g} deg"
        ),
        faults=_arc_faults,
    ),
}
"""Every kind of rig; one that is added stands here before `job.shot` is imported."""


def rig_of(rig: Spec, world: WorldSpec, height: float | None = None) -> Rig:
    """Return the solver's rig of a table.

    Args:
        rig: of one of the kinds in `RIGS`.
        world: axes and units of its scene.
        height: of the lens in place of the table's, scene units.

    Raises:
        SolverError: a rail shorter than a millimetre.
    """
    placing = Placing(world=world, height=height)
    return RIGS[kind_of(rig)].placed(rig, placing)


def kind_of(rig: Spec) -> str:
    """Return the name of a rig's kind."""
    return str(rig.kind)  # type: ignore[attr-defined]
