"""Places in a job file: as keys and indices, and as the reader writes them."""

import json
import re
from collections.abc import Iterable
from typing import Any

Location = tuple[str | int, ...]
Finding = tuple[Location, str]

_PLAIN = re.compile(r"[A-Za-z0-9_-]{1,64}", re.ASCII)
_SHOWN_LENGTH = 60


def shown(value: Any) -> str:
    """Return a value as the reader wrote it, on one line and not too long."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if value is None:
        return "null"
    if isinstance(value, bool | float) or (
        isinstance(value, int) and abs(value) < 1e18
    ):
        return json.dumps(value)
    if isinstance(value, int):
        return "a whole number of more than 18 digits"
    if not isinstance(value, str):
        return f"a {type(value).__name__}"
    cut = value if len(value) <= _SHOWN_LENGTH else value[:_SHOWN_LENGTH] + "..."
    quoted = cut.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(map(_printable, quoted)) + '"'


def _printable(character: str) -> str:
    """Return a character, escaped where it breaks a line or cannot be encoded."""
    if character.isprintable():
        return character
    return character.encode("unicode_escape").decode("ascii")


def path_text(start: str, location: Iterable[str | int]) -> str:
    """Return the path of a place, `shots[3].rig.from`.

    Args:
        start: path of the table that the location starts from, "" for the file.
        location: keys and indices from there on.
    """
    text = start
    for part in location:
        if isinstance(part, int):
            text += f"[{part}]"
            continue
        name = part if _PLAIN.fullmatch(part) else shown(part)
        text += f".{name}" if text else name
    return text
