"""Stretches of clips that are seen in a cut."""

from dataclasses import dataclass, replace
from math import ceil
from typing import Any


@dataclass(frozen=True, kw_only=True, slots=True)
class CutPiece:
    """A stretch of a clip that is seen: `start` and `length` in the outer frames.

    `head` and `tail` are what transitions need beyond its ends, `speed` is that of the
    clip against its media, of which `first` is a frame.
    """

    clip: Any
    start: int
    length: int
    first: int
    head: int = 0
    tail: int = 0
    speed: float = 1.0

    @property
    def frames(self) -> tuple[int, int]:
        """First and last frame of the media."""
        return self.first, self.first + ceil(self.speed * self.length) - 1

    @property
    def media(self) -> str:
        """What names its media; the name of the clip where nothing does."""
        reference = self.clip.media_reference
        address = getattr(reference, "target_url", None)
        named = address or getattr(reference, "name", None) or self.clip.name
        return str(named or "")

    def within(self, low: int, high: int) -> "CutPiece | None":
        """Return what of it lies in frames low to high, the latter not included."""
        start, stop = max(self.start, low), min(self.start + self.length, high)
        if start >= stop:
            return None
        return replace(
            self,
            start=start,
            length=stop - start,
            first=self.first + round(self.speed * (start - self.start)),
            head=self.head if start == self.start else 0,
            tail=self.tail if stop == self.start + self.length else 0,
        )


def without(spans: list[tuple[int, int]], low: int, high: int) -> list[tuple[int, int]]:
    """Return spans with the frames low to high taken out, the latter not included."""
    left = [(a, min(b, low)) for a, b in spans]
    right = [(max(a, high), b) for a, b in spans]
    return [(a, b) for a, b in (*left, *right) if a < b]
