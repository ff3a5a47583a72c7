"""The `rig` table as a shot has it: one of the kinds there are, or left to choose."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union

from pydantic import Field, TypeAdapter

from ...solver.rigs.shape import Rig
from .quantities import Number, Spec
from .rig import RIGS, ArcRig, Hold, SticksRig, TrackRig, rig_of
from .world import WorldSpec

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

_FIXED: TypeAdapter[Any] = TypeAdapter(Annotated[FixedRig, Field(discriminator="kind")])


def fixed_rig(values: Any) -> FixedRig:
    """Return a rig's table from plain values; a table stays as it is.

    Raises:
        ValidationError: it is not one.
    """
    rig: FixedRig = _FIXED.validate_python(values)
    return rig


def rig_of_setup(setup: Mapping[str, Any], world: WorldSpec) -> Rig:
    """Return the solver's rig of a setup as it stands in a job file or a take.

    Args:
        setup: with `rig`, and `height` where that replaces the rig's own.
        world: axes and units of its scene.
    """
    return rig_of(fixed_rig(setup["rig"]), world, setup.get("height"))
