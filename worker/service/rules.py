"""Whose request it is and what it may use."""

from dataclasses import dataclass
from pathlib import Path

from ...jobs.subjects.confined import ConfinedReader
from .limits import Limits


@dataclass(frozen=True, kw_only=True, slots=True)
class Rules:
    """Whose request it is and what it may use.

    Attributes:
        project: owner of the token.
        root: folder that its subject files are read from, or None.
        limits: of the token.
    """

    project: str
    root: Path | None
    limits: Limits

    def reader(self) -> ConfinedReader:
        """Return what reads the subjects of this project."""
        return ConfinedReader(
            root=self.root,
            max_bytes=self.limits.file_bytes,
            max_rows=self.limits.samples,
        )
