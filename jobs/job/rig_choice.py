"""The `rig` table as a shot has it: one of the kinds there are, or left to choose."""

from typing import TYPE_CHECKING, Annotated, Literal, Union

from pydantic import Field

from .quantities import Number, Spec
from .rig import RIGS, ArcRig, Hold, SticksRig, TrackRig

if TYPE_CHECKING:
    RigName = str
    FixedRig = SticksRig | TrackRig | ArcRig
else:
    RigName = Literal[tuple(RIGS)]
    FixedRig = Union[tuple(each.spec for each in RIGS.values())]  # noqa: UP007


class ChooseRig(Spec):
    """A rig that the solver lays."""

    kind: Literal["choose"]
    kinds: Annotated[tuple[RigName, ...], Field(min_length=1)] = tuple(RIGS)
    """Rigs that may be laid."""
    hold: Hold | None = None
    """What a dolly keeps, nothing on sticks; absent: chosen with the rig."""
    price: Annotated[Number, Field(ge=0, le=10)] = 1.0
    """What track costs against sticks: 0 wants moves, above 1 fewer than usual."""


RigSpec = Annotated[FixedRig | ChooseRig, Field(discriminator="kind")]
