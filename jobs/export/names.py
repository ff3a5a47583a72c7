"""What delivered cameras and files are called: a pattern, filled in and checked."""

import re
from collections import Counter
from collections.abc import Sequence
from string import Formatter

from ..errors import Fault, JobError
from ..takes.curves import Curves

DEFAULT_PATTERN = "{sequence}_{shot}_cam"
FIELDS = ("sequence", "shot", "version")
VERSION_LETTERS = 8  # of a take's key: enough to tell takes of a shot apart

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,127}", re.ASCII)


def names_of(pattern: str, curves: Sequence[Curves]) -> list[str]:
    """Return a name for each take.

    Args:
        pattern: text with the fields `{sequence}`, `{shot}` and `{version}`.
        curves: the takes of one delivery.

    Raises:
        JobError: the pattern has other fields, gives what is not a plain name, or
            gives two takes one name (letter case and `-` against `_` do not count).
    """
    _check_pattern(pattern)
    names = [
        pattern.format(
            sequence=one.sequence, shot=one.shot, version=version_of(one.take_key)
        )
        for one in curves
    ]
    for name in names:
        if _NAME.fullmatch(name) is None:
            message = (
                "must give letters, digits, _ and - only, the first a letter or a "
                f'digit, at most 128, got "{name[:140]}"'
            )
            raise _refused(message)
    counts = Counter(prim_name(name).lower() for name in names)
    for name in names:
        if counts[prim_name(name).lower()] > 1:
            message = f'gives more than one shot the name "{name}"'
            raise _refused(message)
    return names


def version_of(take_key: str) -> str:
    """Return what a take's version is called: the start of its key."""
    return take_key[:VERSION_LETTERS]


def prim_name(name: str) -> str:
    """Return a name as one that a scene's prim can have: no dash, no digit first."""
    plain = name.replace("-", "_")
    return f"_{plain}" if plain[0].isdigit() else plain


def _check_pattern(pattern: str) -> None:
    try:
        parts = list(Formatter().parse(pattern))
    except ValueError as error:
        message = f"is not a pattern: {str(error).lower()}"
        raise _refused(message) from error
    for _, field, form, conversion in parts:
        if field is not None and (field not in FIELDS or form or conversion):
            known = ", ".join(f"{{{name}}}" for name in FIELDS)
            message = f"has the fields {known} only, got {{{field}}}"
            raise _refused(message)


def _refused(message: str) -> JobError:
    return JobError((Fault(path="--names", message=message),))
