"""A setup as a value: what a shot is filmed with, nothing left to choose."""

from typing import Annotated, Any, Literal

from pydantic import Field

from .framing import SizeName
from .quantities import Number, Spec
from .rig_choice import FixedRig

SETUP_FIELDS = ("rig", "lens_mm", "height", "side", "view")
"""What makes a setup, fields of `SetupSpec` and of `ShotSpec`."""

NamedView = Literal["front", "three_quarter", "profile", "rear"]


class SetupSpec(Spec):
    """A setup as it stands in the job file, in scene units."""

    rig: Annotated[FixedRig, Field(discriminator="kind")]
    lens_mm: Annotated[Number, Field(gt=0, le=10_000)]
    height: Annotated[Number, Field(ge=-1e9, le=1e9)] | None = None
    """Lens height in scene units in place of the rig's own."""
    side: Literal["left", "right"] | None = None
    """Side of the subject's travel; absent: where the rig is."""
    view: Annotated[Number, Field(ge=0, le=180)] | NamedView | None = None
    """Angle on the subject's travel, by name or in degrees: 0 front, 180 rear."""
    size: SizeName | None = None
    """Size of the framing that it was chosen with; absent where a fill is asked for."""

    def plain(self) -> dict[str, Any]:
        """Return the values that are written; `model_validate` reads them."""
        return self.model_dump(mode="json", by_alias=True)
