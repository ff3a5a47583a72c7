"""The `rig` table: sticks, straight track, an arc of track, or left to choose."""

from typing import Annotated, Literal

from pydantic import Field

from .quantities import Number, Point, Spec

Hold = Literal["abreast", "size", "view"]
RigKind = Literal["sticks", "track", "arc"]
Turn = Annotated[Number, Field(ge=-360, le=360)]
Follow = Annotated[Number, Field(ge=0, le=1)]


class SticksRig(Spec):
    """A head on sticks: the lens stays where it is."""

    kind: Literal["sticks"]
    at: Point
    """Of the lens, scene units."""


class TrackRig(Spec):
    """A dolly on straight track."""

    kind: Literal["track"]
    from_: Annotated[Point, Field(alias="from")]
    """Lens at the near end, scene units."""
    to: Point
    """Lens at the far end, scene units; another height makes a rise or a fall."""
    hold: Hold = "abreast"
    """What the dolly keeps: nearest place, distance, or angle on the subject."""
    beside: Point = (0.0, 0.0, 0.0)
    """For abreast: from the subject to its ideal place, along the scene's axes and in
    its units; the dolly keeps to where that place is nearest."""
    follow: Follow = 1.0
    """For abreast: share of the way that the dolly covers, from the rail's middle."""


class ArcRig(Spec):
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
    hold: Hold = "abreast"
    """What the dolly keeps: nearest place, distance, or angle on the subject."""
    beside: Point = (0.0, 0.0, 0.0)
    """For abreast: from the subject to its ideal place, along the scene's axes and in
    its units; the dolly keeps to where that place is nearest."""
    follow: Follow = 1.0
    """For abreast: share of the way that the dolly covers, from the rail's middle."""


class ChooseRig(Spec):
    """A rig that the solver lays."""

    kind: Literal["choose"]
    kinds: Annotated[tuple[RigKind, ...], Field(min_length=1)] = (
        "sticks",
        "track",
        "arc",
    )
    """Rigs that may be laid."""
    hold: Hold | None = None
    """What a dolly keeps, nothing on sticks; absent: chosen with the rig."""
    price: Annotated[Number, Field(ge=0, le=10)] = 1.0
    """What track costs against sticks: 0 wants moves, above 1 fewer than usual."""


FixedRig = SticksRig | TrackRig | ArcRig
RigSpec = Annotated[
    SticksRig | TrackRig | ArcRig | ChooseRig, Field(discriminator="kind")
]
