"""The notes of a review: what was decided of each shot, as one file of TOML."""

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from ..errors import Fault, JobError
from ..job.carry import AcceptSpec
from ..job.faults import schema_findings
from ..job.framing import SizeName
from ..job.locations import path_text
from ..job.plain_file import read_plain, tables_of
from ..job.quantities import Digest, Name, Number, Spec, Text, refusal

MAX_BYTES = 16 * 1024 * 1024


class Decision(Spec):
    """What was decided of one shot; at least one thing."""

    shot: Name
    take_key: Digest | None = None
    """Of the take that was looked at."""
    by: Annotated[Text, Field(max_length=200)] = ""
    """Who decides."""
    approve: bool = False
    """The take is good; the job says so in a remark."""
    lock: bool | None = None
    """true: the take is kept to the byte; false: it is solved again."""
    size: SizeName | None = None
    """Size that is asked for from now on."""
    lens_mm: Annotated[Number, Field(gt=0, le=10_000)] | None = None
    """Lens that is asked for from now on."""
    note: Text = ""
    """Words for people, a remark in the job."""
    accept: tuple[AcceptSpec, ...] = ()
    """Findings that are let stand."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.approve or self.lock) and self.take_key is None:
            message = "needs take_key, the take that is approved or locked"
            raise refusal(message)
        if self.lock and (self.size is not None or self.lens_mm is not None):
            message = "a take that is locked keeps its size and its lens"
            raise refusal(message)
        return self


class Notes(Spec):
    """A file of notes."""

    schema_: Annotated[Literal["carrellata.notes/1"], Field(alias="schema")]
    sequence: Name
    decisions: Annotated[tuple[Decision, ...], Field(min_length=1, max_length=100_000)]


def read_notes(path: Path) -> Notes:
    """Read a file of notes.

    Raises:
        InputError: it is missing, unreadable, empty, too large or not UTF-8.
        JobError: its syntax or its content is wrong; it names every fault.
    """
    raw = read_plain(path, most_bytes=MAX_BYTES)
    tables: dict[str, Any] = tables_of(
        raw, suffix=".toml", label=str(path), most_bytes=MAX_BYTES
    )
    try:
        notes = Notes.model_validate(tables)
    except ValidationError as error:
        faults = [
            Fault(path=path_text("", place), message=message)
            for place, message in schema_findings(error, Notes)
        ]
        raise JobError(tuple(faults)) from error
    seen: dict[str, int] = {}
    faults = []
    for k, one in enumerate(notes.decisions):
        if one.shot.lower() in seen:
            message = f"{one.shot} is decided in decisions[{seen[one.shot.lower()]}]"
            faults.append(Fault(path=f"decisions[{k}].shot", message=message))
        seen.setdefault(one.shot.lower(), k)
    if faults:
        raise JobError(tuple(faults))
    return notes
