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
from .toml_text import written

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
    intent: Name | None = None
    """Intent that is asked for from now on, a name of the job's `[intents]`."""
    note: Text = ""
    """Words for people, a remark in the job."""
    accept: tuple[AcceptSpec, ...] = ()
    """Findings that are let stand."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.approve or self.lock) and self.take_key is None:
            message = "needs take_key, the take that is approved or locked"
            raise refusal(message)
        if self.lock and (self.size or self.lens_mm or self.intent):
            message = "a take that is locked keeps its size, its lens and its intent"
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
    return notes_of(read_plain(path, most_bytes=MAX_BYTES), label=str(path))


def notes_of(raw: bytes, *, label: str) -> Notes:
    """Return the notes of a file's bytes.

    Args:
        raw: as the file has them.
        label: what the file is called where it is refused.

    Raises:
        InputError: they are empty, too large or not UTF-8.
        JobError: their syntax or their content is wrong; it names every fault.
    """
    tables: dict[str, Any] = tables_of(
        raw, suffix=".toml", label=label, most_bytes=MAX_BYTES
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


def joined(before: Notes, after: Notes) -> Notes:
    """Return the notes of one sequence where later ones of a shot replace earlier."""
    by_shot = {one.shot.lower(): one for one in (*before.decisions, *after.decisions)}
    return after.model_copy(update={"decisions": tuple(by_shot.values())})


def notes_text(notes: Notes) -> str:
    """Return notes as TOML that `read_notes` reads."""
    head = f"schema = {written(notes.schema_)}\nsequence = {written(notes.sequence)}\n"
    return head + "".join(map(_block, notes.decisions))


def _block(decision: Decision) -> str:
    values = decision.model_dump(exclude_defaults=True, exclude={"accept"})
    lines = [f"{name} = {written(value)}" for name, value in values.items()]
    if decision.accept:
        rows = [
            ", ".join(f"{k} = {written(v)}" for k, v in one.model_dump().items())
            for one in decision.accept
        ]
        lines.append(f"accept = [{', '.join(f'{{ {row} }}' for row in rows)}]")
    return "\n[[decisions]]\n" + "".join(f"{line}\n" for line in lines)
