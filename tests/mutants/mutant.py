"""A mutant: one line of the program changed, and the tests that must notice it."""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


class StaleMutantError(Exception):
    """A mutant's line is not in its file, or stands there more than once."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of one file.

    Attributes:
        file: below the repository's root.
        old: text of one line, or of a part of one, that stands once in the file.
        new: what stands there in the mutant.
        tests: arguments of pytest: files, tests or folders, and `-k WORDS`.
        compiled: whether the tests need compiled kernels to be quick; else kernels
            run as Python, and nothing is compiled for a mutant.
        equivalent: why nothing can notice it; "" where something must.
    """

    file: str
    old: str
    new: str
    tests: tuple[str, ...]
    compiled: bool = False
    equivalent: str = ""

    @property
    def name(self) -> str:
        """What it does, in one line."""
        return f"{self.file}: {self.old.strip()} -> {self.new.strip() or '(nothing)'}"

    def source(self, root: Path = ROOT) -> str:
        """Return the text of its file with the change.

        Raises:
            StaleMutantError: the line is not there, not alone, or not changed.
        """
        text = (root / self.file).read_text("utf-8")
        count = text.count(self.old)
        if count != 1 or "\n" in self.old or self.old == self.new:
            message = f"{self.name}: stands {count} times in the file, must once"
            raise StaleMutantError(message)
        return text.replace(self.old, self.new)
