"""Fields of the job file that this version reads and does not act on yet."""

from collections.abc import Iterator
from pathlib import PurePath
from typing import Any

from .locations import Finding, shown

LATER_FIELDS: tuple[str, ...] = ()
LATER_SUBJECT_SUFFIXES = (".usd", ".usda", ".usdc", ".usdz")

_NOT_YET = "not available in this version"


def unavailable_fields(table: dict[str, Any]) -> Iterator[Finding]:
    """Yield the fields of a table that are built later."""
    for name in LATER_FIELDS:
        if table.get(name) is not None:
            yield (name,), _NOT_YET


def unavailable(shot: dict[str, Any]) -> Iterator[Finding]:
    """Yield what a merged, unchecked shot asks of a later version."""
    yield from unavailable_fields(shot)
    subjects = shot.get("subjects")
    for k, subject in enumerate(subjects if isinstance(subjects, list | tuple) else ()):
        file = subject.get("file") if isinstance(subject, dict) else None
        if (
            isinstance(file, str)
            and PurePath(file).suffix.lower() in LATER_SUBJECT_SUFFIXES
        ):
            message = f"a subject from OpenUSD is {_NOT_YET}, got {shown(file)}"
            yield ("subjects", k, "file"), message
