"""What may stand in a message: checked against a schema before anything is done."""

from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ...jobs.errors import CarrellataError
from ...jobs.job.spec import MAX_SHOTS

BatchName = Annotated[str, Field(pattern=r"^[a-z0-9]{16}$")]
PhaseName = Annotated[str, Field(pattern=r"^[a-z]{1,20}$")]
RequestName = Annotated[str, Field(pattern=r"^[0-9a-f]{8,64}$")]
ShotPlace = Annotated[int, Field(ge=0, lt=MAX_SHOTS)]


class MessageError(CarrellataError):
    """A message is none that this farm sends."""


class Message(BaseModel):
    """A message: closed, frozen, taken literally."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class UnitsMessage(Message):
    """Do a phase's work on some shots of a batch."""

    batch: BatchName
    phase: PhaseName
    shots: Annotated[list[ShotPlace], Field(min_length=1, max_length=1000)]


class JoinMessage(Message):
    """See whether a phase of a batch is done, and go on if it is."""

    batch: BatchName
    phase: PhaseName


class TakeMessage(Message):
    """Solve one shot at once: what is asked for lies in the spool by this name."""

    request: RequestName


class CanaryMessage(Message):
    """Say that a pool works."""

    pool: Literal["batch", "interactive"]
    sent_s: float


M = TypeVar("M", bound=Message)


def read_message(kind: type[M], value: object) -> M:
    """Return a checked message.

    Raises:
        MessageError: it is not of this form; the first fault is named.
    """
    try:
        return kind.model_validate(value)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, first["loc"])) or "message"
        text = f"{place}: {first['msg']}"
        raise MessageError(text) from error
