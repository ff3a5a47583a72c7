"""What a shot carries over from earlier nights: setup, locked take, pardons."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from .locations import shown
from .quantities import Number, Spec, Text, refusal

MARGIN = 0.15


class KeepSetupSpec(Spec):
    """Whether an earlier setup stays unless a new one is clearly better."""

    from_: Annotated[Literal["last", "none"], Field(alias="from")] = "last"
    """Whose setup is kept: that of the last take in the output folder, or none."""
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
    """Turn false into the table that keeps no setup."""
    if value is False:
        return {"from": "none"}
    if isinstance(value, dict | KeepSetupSpec):
        return value
    message = f"must be a table or false, got {shown(value)}"
    raise refusal(message)


KeepSetup = Annotated[
    KeepSetupSpec,
    BeforeValidator(_keep, json_schema_input_type=KeepSetupSpec | Literal[False]),
]
