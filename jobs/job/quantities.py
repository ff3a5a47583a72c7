"""Scalars of the job file: what a number, a name, a place and a rate may be.

Numbers are taken as they are written: text is never read as a number, a truth
value never as 1, a fraction never as a whole number.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from math import isfinite
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    PlainSerializer,
    PlainValidator,
    Strict,
    StringConstraints,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from .locations import shown
from .rate import parse_rate, rate_text

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"

DIGEST_PATTERN = r"^[0-9a-f]{64}$"

# Kind of error that carries the whole sentence in its context.
RULE = "rule"


class Spec(BaseModel):
    """A table of the job file: closed, frozen, finite."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
    )


def refusal(message: str) -> PydanticCustomError:
    """Return the error with which a validator refuses a value, in its own words."""
    return PydanticCustomError(RULE, "{text}", {"text": message})


def _rate(value: object) -> Fraction:
    if isinstance(value, Fraction):
        return value
    try:
        return parse_rate(value)
    except ValueError as error:
        raise refusal(str(error)) from error


def _name(value: Any) -> Any:
    if isinstance(value, int | float) and not isinstance(value, bool):
        message = f"must be text in quotes, got the number {shown(value)}"
        raise refusal(message)
    return value


def number_or_choose(
    unit: str, *, least: float, most: float, least_fits: bool = True
) -> Callable[[Any], Any]:
    """Return the check of a number that a job may leave open.

    Args:
        unit: of the number.
        least: smallest that is taken, or what it has to exceed.
        most: largest that is taken.
        least_fits: whether `least` itself is taken.
    """

    def check(value: Any) -> Any:
        if isinstance(value, str) and value == CHOOSE:
            return value
        if isinstance(value, bool) or not isinstance(value, int | float):
            message = f'must be a number of {unit} or "{CHOOSE}", got {shown(value)}'
            raise refusal(message)
        if isinstance(value, float) and not isfinite(value):
            message = f"must be a finite number, got {shown(value)}"
            raise refusal(message)
        if value < least or (value == least and not least_fits):
            sign = ">=" if least_fits else ">"
            message = f"must be {sign} {least:.12g} {unit}, got {shown(value)} {unit}"
            raise refusal(message)
        if value > most:
            message = f"must be <= {most:.12g} {unit}, got {shown(value)} {unit}"
            raise refusal(message)
        return float(value)

    return check


def _digest(value: Any) -> Any:
    if isinstance(value, str) and re.fullmatch(DIGEST_PATTERN, value):
        return value
    message = f"must be 64 digits of 0-9 and a-f, got {shown(value)}"
    raise refusal(message)


CHOOSE = "choose"
Choose = Literal["choose"]
Number = Annotated[float, Strict()]
Whole = Annotated[int, Strict()]
Truth = Annotated[bool, Strict()]
Text = Annotated[str, Strict(), StringConstraints(max_length=10_000)]
Name = Annotated[
    str, Strict(), StringConstraints(pattern=NAME_PATTERN), BeforeValidator(_name)
]
Point = tuple[Number, Number, Number]
GroundPoint = tuple[Number, Number]
Digest = Annotated[
    str,
    BeforeValidator(_digest),
    WithJsonSchema({"type": "string", "pattern": DIGEST_PATTERN}),
]
Rate = Annotated[
    Fraction,
    PlainValidator(_rate),
    PlainSerializer(rate_text),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": "^[0-9]{1,7}(/[0-9]{1,7})?$",
            "examples": ["24", "25", "24000/1001"],
        }
    ),
]

_UNIT_OF_SUFFIX = {
    "_rad_s": "rad/s",
    "_m_s": "m/s",
    "_s2": "s2",
    "_mm": "mm",
    "_deg": "deg",
    "_hz": "Hz",
    "_pct": "%",
    "_m": "m",
    "_s": "s",
}
SCENE_UNITS = "scene units"
_UNIT_OF_FIELD = {
    "percent": "%",
    "degrees": "deg",
    "angle": "deg",
    "view": "deg",
    "from": SCENE_UNITS,
    "to": SCENE_UNITS,
    "at": SCENE_UNITS,
    "beside": SCENE_UNITS,
    "centre": SCENE_UNITS,
    "radius": SCENE_UNITS,
    "height": SCENE_UNITS,
    "floor": SCENE_UNITS,
    "ground": SCENE_UNITS,
}
_SPEED_UNIT_OF_CHANNEL = {"operator": "deg/s", "grip": "m/s", "puller": "1/m/s"}
_POWER_OF_LIMIT = {"max_speed": "", "max_accel": "2", "max_jerk": "3"}


@lru_cache(maxsize=4096)
def unit_of(location: tuple[str | int, ...]) -> str:
    """Return the unit of the number at a place in the file, "" where it has none.

    Args:
        location: keys and indices from the shot or the file down.
    """
    names = [part for part in location if isinstance(part, str)]
    if not names:
        return ""
    field = names[-1]
    if field in _POWER_OF_LIMIT and len(names) > 1:
        return _SPEED_UNIT_OF_CHANNEL.get(names[-2], "") + _POWER_OF_LIMIT[field]
    if field in _UNIT_OF_FIELD:
        return _UNIT_OF_FIELD[field]
    for suffix, unit in _UNIT_OF_SUFFIX.items():
        if field.endswith(suffix):
            return unit
    return ""
