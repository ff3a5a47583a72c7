"""What a failed shot says, and what to change in the job so that it is solved."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..takes.why_no_take import HELPS, SOLVE_AGAIN, TIGHTEST

_FAULT = re.compile(r"(?P<path>[a-z_]+[a-z0-9_.\[\]]*): (?P<message>.+)", re.DOTALL)
_WHOLE_SHOT = re.compile(r"shots\[[0-9]+\]")


@dataclass(frozen=True, kw_only=True, slots=True)
class Mend:
    """One fault of a shot.

    Attributes:
        path: of the field in the job that it is about; "" where it names none.
        message: what is wrong with it.
        limit: the tightest limit, where no setup holds the shot; else "".
        change: what to change.
    """

    path: str
    message: str
    limit: str
    change: str


def mends(errors: Sequence[str]) -> tuple[Mend, ...]:
    """Return what the faults of a failed shot say, a line each."""
    return tuple(_mends(errors))


def _mends(errors: Iterable[str]) -> Iterable[Mend]:
    for error in errors:
        told = _FAULT.fullmatch(error)
        path, message = ("", error) if told is None else told.group("path", "message")
        limit = helps = ""
        if TIGHTEST in message:
            message, rest = message.split(TIGHTEST, 1)
            limit, _, helps = rest.partition(HELPS)
        yield Mend(
            path=path, message=message, limit=limit, change=_change(path, error, helps)
        )


def _change(path: str, error: str, helps: str) -> str:
    if helps:
        return f"What would help: {helps}"
    if SOLVE_AGAIN in error:
        return "Nothing in the job need change"
    if "of setup" in error:
        return "Give one of those shots another setup letter in the job, or none"
    if _WHOLE_SHOT.fullmatch(path) or not path:
        return f"Look at {path or 'what is named'} in the job, and solve it again"
    return f"Change {path} in the job, or what it names"
