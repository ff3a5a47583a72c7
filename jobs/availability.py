"""What a job may ask of a later version, refused in its own words."""

from collections.abc import Iterator
from pathlib import PurePath
from typing import Any

from .locations import Finding, shown

LATER_SUBJECT_SUFFIXES = (".usd", ".usda", ".usdc", ".usdz")

_NOT_YET = "not available in this version"


def unavailable(shot: dict[str, Any]) -> Iterator[Finding]:
    """Yield what a merged, unchecked shot asks of a later version."""
    subjects = shot.get("subjects")
    for k, subject in enumerate(subjects if isinstance(subjects, list | tuple) else ()):
        file = subject.get("file") if isinstance(subject, dict) else None
        if (
            isinstance(file, str)
            and PurePath(file).suffix.lower() in LATER_SUBJECT_SUFFIXES
        ):
            message = f"a subject from OpenUSD is {_NOT_YET}, got {shown(file)}"
            yield ("subjects", k, "file"), message
