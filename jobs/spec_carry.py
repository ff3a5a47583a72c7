"""What a shot carries over from earlier nights: setup, locked take, pardons."""

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, StringConstraints, WithJsonSchema

from .locations import shown
from .quantities import Number, Spec, Text, refusal

MARGIN = 0.15
_KEY_PATTERN = r"^[0-9a-f]{64}$"


class KeepSetupSpec(Spec):
    """Keep the setup of an earlier take unless a new one is clearly better."""

    from_: Annotated[Literal["last"], Field(alias="from")] = "last"
    """Whose setup: that of the last take in the output folder."""
    margin: Annotated[Number, Field(ge=0, le=1)] = MARGIN
    """Share of its score by which a new setup has to beat it."""


class AcceptSpec(Spec):
    """A finding that somebody has looked at and lets stand."""

    finding: Annotated[Text, Field(min_length=1, max_length=64)]
    """Name of the finding."""
    reason: Annotated[Text, Field(min_length=1)]
    by: Annotated[Text, Field(min_length=1, max_length=200)]
    """Who accepts it."""


def _keep(value: Any) -> Any:
    if value is False or isinstance(value, dict | KeepSetupSpec):
        return value
    message = f"must be a table or false, got {shown(value)}"
    raise refusal(message)


def _key(value: Any) -> Any:
    if isinstance(value, str) and re.fullmatch(_KEY_PATTERN, value):
        return value
    message = f"must be a take key, 64 digits of 0-9 and a-f, got {shown(value)}"
    raise refusal(message)


KeepSetup = Annotated[KeepSetupSpec | Literal[False], BeforeValidator(_keep)]
TakeKey = Annotated[
    str,
    StringConstraints(pattern=_KEY_PATTERN),
    BeforeValidator(_key),
    WithJsonSchema({"type": "string", "pattern": _KEY_PATTERN}),
]
