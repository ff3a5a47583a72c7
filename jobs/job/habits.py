"""The `habits` table: how a sequence likes to be shot, followed across its cuts."""

import re
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, WithJsonSchema

from .framing import SizeName
from .locations import shown
from .quantities import Number, Spec, refusal

Share = Annotated[Number, Field(ge=0, le=1)]
Weight = Annotated[Number, Field(ge=0, le=1e6)]

_FOCAL = r"[0-9]{1,5}(\.[0-9]{1,3})?"


def _lens_use(value: Any) -> Any:
    """Refuse a table whose names are not focal lengths."""
    for name in value if isinstance(value, dict) else ():
        number = isinstance(name, str) and re.fullmatch(_FOCAL, name)
        if not number or float(name) == 0:
            message = f"must be named by focal lengths in mm, got {shown(name)}"
            raise refusal(message)
    return value


LensUse = Annotated[
    dict[str, Share],
    BeforeValidator(_lens_use),
    WithJsonSchema(
        {
            "type": "object",
            "propertyNames": {"pattern": f"^{_FOCAL}$"},
            "additionalProperties": {"type": "number", "minimum": 0, "maximum": 1},
        }
    ),
]


class CutWeightsSpec(Spec):
    """What a cut costs in points of the shots' scores; left out: the solver's own."""

    crosses_line: Weight | None = None
    """The camera changes sides of the line of action."""
    near_axis: Weight | None = None
    """It changes sides close to the line, where the eye forgives it."""
    thirty_degrees: Weight | None = None
    """The view turns by less than 30 degrees at the same size."""
    same_picture: Weight | None = None
    """And the lens is the same too."""
    size_jump: Weight | None = None
    """The size changes by more steps than the cut carries."""
    screen_direction: Weight | None = None
    """A subject turns round on the screen."""
    same_view: Weight | None = None
    """The same view of the same subject again: front, three quarters, side or rear."""
    lens_run: Weight | None = None
    """One lens three times in a row."""
    eye_jump: Weight | None = None
    """Each half frame that the eye has to jump."""
    matched_reverse: Weight | None = None
    """Taken off where two singles answer each other in lens and height."""


class HabitsSpec(Spec):
    """Habits of a sequence; without any, every shot is chosen for itself and its cut.

    Shares need not sum to one; only how they compare counts.
    """

    lens_use: LensUse = Field(default_factory=dict)
    """Share of each focal length, `{ "35" = 0.4, "50" = 0.6 }`."""
    size_use: dict[SizeName, Share] = Field(default_factory=dict)
    """Share of each size, as a study writes it: what shots that leave their size to
    choose tend to, by `variety`."""
    variety: Weight = 0.0
    """Points that a lens costs which `lens_use` does not list, the favourite none;
    without shares, the third shot in a row on one lens. 0 leaves lens use to the
    report."""
    cut_weights: CutWeightsSpec = CutWeightsSpec()
