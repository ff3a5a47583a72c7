"""What is asked of the picture: framing, cues in the shot, and shake."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    PlainSerializer,
    WithJsonSchema,
    WrapValidator,
    model_validator,
)

from .locations import shown
from .quantities import CHOOSE, Name, Number, Spec, Whole, refusal

SizeName = Literal["full", "knee", "cowboy", "medium", "chest", "close", "eyes"]
CHOOSABLE: tuple[SizeName, ...] = ("full", "cowboy", "medium", "chest", "close")
"""Sizes that "choose" stands for, a step apart or more."""
ShakeLevel = Literal["locked", "settled", "shoulder", "rough"]

Fill = Annotated[Number, Field(gt=0, le=20)]
ScreenPlace = Annotated[Number, Field(ge=-1, le=1)]
Room = Annotated[Number, Field(ge=0, lt=1)]
FrameNumber = Annotated[Whole, Field(ge=-1_000_000_000, le=1_000_000_000)]

_ANGLES = ("below", "level", "above")


def _angle(value: Any) -> Any:
    if isinstance(value, str) and value in _ANGLES:
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        message = 'must be "below", "level", "above" or a number of degrees'
        raise refusal(message)
    if not -90 < value < 90:
        message = f"must be between -90 and 90 deg, got {shown(value)} deg"
        raise refusal(message)
    return float(value)


Angle = Annotated[
    float | str,
    BeforeValidator(_angle),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": list(_ANGLES)},
                {"type": "number", "exclusiveMinimum": -90, "exclusiveMaximum": 90},
            ]
        }
    ),
]


def _size_choice(value: Any, named: Callable[[Any], Any]) -> Any:
    """Return a size, or the sizes that are left to choose, at least two."""
    if value == CHOOSE:
        return CHOOSABLE
    if not isinstance(value, list | tuple):
        return named(value)
    sizes = tuple(named(each) for each in value)
    if len(sizes) < 2 or len(set(sizes)) < len(sizes):
        message = "must be one size, or two and more different ones to choose from"
        raise refusal(message)
    return sizes


if TYPE_CHECKING:
    SizeChoice = SizeName | tuple[SizeName, ...]
else:
    SizeChoice = Annotated[
        SizeName,
        WrapValidator(_size_choice),
        PlainSerializer(lambda size: list(size) if isinstance(size, tuple) else size),
        WithJsonSchema(
            {
                "anyOf": [
                    {"enum": [*SizeName.__args__, CHOOSE]},
                    {
                        "type": "array",
                        "items": {"enum": list(SizeName.__args__)},
                        "minItems": 2,
                        "uniqueItems": True,
                    },
                ]
            }
        ),
    ]


class FramingSpec(Spec):
    """Where the primary subject stands in the frame, and how large."""

    size: SizeChoice | None = None
    """Span of the body that is shown, or give fill; several, or "choose": chosen with
    the setup."""
    fill: Fill | None = None
    """Height of the whole body as a share of the frame height."""
    place: tuple[ScreenPlace, ScreenPlace] | None = None
    """Screen u, v of the aim point, right and up; absent: u 0 and v by headroom."""
    headroom: Annotated[Number, Field(ge=0, lt=0.5)] = 0.08
    """Room over the crown, share of the frame height."""
    lead_room: Room = 0.0
    """Half frame widths, toward the believed travel on the screen."""
    look_room: Room = 0.0
    """Half frame widths, toward where the subject faces."""
    angle: Angle = "level"
    """Camera against the eye line: below, level, above or degrees above it."""

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        if (self.size is None) == (self.fill is None):
            message = "needs either size or fill"
            raise refusal(message)
        return self

    @property
    def open_sizes(self) -> tuple[SizeName, ...]:
        """Sizes that are left to choose, none where it is fixed."""
        return self.size if isinstance(self.size, tuple) else ()

    @property
    def named_size(self) -> SizeName | None:
        """The size, the first of those to choose from; None where a fill is given."""
        return self.size[0] if isinstance(self.size, tuple) else self.size

    @property
    def asked_size(self) -> str | float:
        """The name of the size, the first of those to choose from, or the fill."""
        size = self.fill if self.size is None else self.named_size
        assert size is not None
        return size


class CueSpec(Spec):
    """A change the crew has rehearsed, started on its frame."""

    frame: FrameNumber
    size: SizeName | None = None
    fill: Fill | None = None
    subject: Name | None = None
    """Subject that is primary from here on."""
    how: Literal["move", "whip"] = "move"
    """whip: the hand-over has its own, faster limits."""

    @model_validator(mode="after")
    def _changes_one_thing(self) -> Self:
        if self.size is not None and self.fill is not None:
            message = "has both size and fill; keep one"
            raise refusal(message)
        if self.size is None and self.fill is None and self.subject is None:
            message = "changes nothing; give size, fill or subject"
            raise refusal(message)
        if self.how == "whip" and self.subject is None:
            message = "a whip needs the subject it goes to"
            raise refusal(message)
        return self

    @property
    def asked_size(self) -> str | float | None:
        """The name of the new size, the new fill, or None where it stays."""
        return self.size if self.size is not None else self.fill


class ShakeSpec(Spec):
    """The shake layer; numbers left out are the level's."""

    level: ShakeLevel = "locked"
    percent: Annotated[Number, Field(ge=0, le=50)] | None = None
    """Root mean square in percent of the frame width."""
    degrees: Annotated[Number, Field(ge=0, le=20)] | None = None
    """Root mean square of the turn of the body."""
    band_hz: (
        tuple[
            Annotated[Number, Field(gt=0, le=10)],
            Annotated[Number, Field(gt=0, le=10)],
        ]
        | None
    ) = None
    """Lowest and highest frequency."""

    @model_validator(mode="after")
    def _one_amplitude(self) -> Self:
        if self.percent is not None and self.degrees is not None:
            message = "has both percent and degrees; keep one"
            raise refusal(message)
        if self.band_hz is not None and self.band_hz[0] >= self.band_hz[1]:
            low, high = self.band_hz
            message = f"band_hz must rise, got {low:g} to {high:g} Hz"
            raise refusal(message)
        return self


def _shake(value: Any) -> Any:
    """Turn the name of a level into a table."""
    return {"level": value} if isinstance(value, str) else value


Shake = Annotated[
    ShakeSpec,
    BeforeValidator(_shake, json_schema_input_type=ShakeSpec | str),
]
