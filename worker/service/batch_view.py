"""A batch as clients see it: its rows in the order in which they were told."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ...jobs.run.phases import TAKE
from ...jobs.run.record import About
from ...jobs.run.spool import Outcome, Spool
from ...jobs.takes.sequence_table import ShotRow

LISTED = 200  # failed shots that a status lists
ENDED = ("done", "failed", "cancelled")


@dataclass(kw_only=True, slots=True)
class BatchState:
    """A batch as it stands. What came of its shots lies in the records.

    Attributes:
        about: what was submitted.
        told: file with the places of the shots that were told, a line each; it keeps
            the numbers of events over a restart.
        hidden: folders of this machine, which no client is told of.
        state: queued, running, cancelling, done, failed or cancelled.
        detail: why it failed, or None.
        rows: what came of its shots, in the order in which they were told.
        last: the same by shot.
    """

    about: About
    told: Path
    hidden: tuple[str, ...] = ()
    state: str = "queued"
    detail: str | None = None
    rows: list[dict[str, Any]] = field(default_factory=list)
    last: dict[str, dict[str, Any]] = field(default_factory=dict)
    _places: set[int] = field(default_factory=set)

    @property
    def has_ended(self) -> bool:
        """Whether nothing more will happen."""
        return self.state in ENDED

    @property
    def missing(self) -> tuple[int, ...]:
        """Places of the shots that were not told."""
        return tuple(k for k in self.about.shots if k not in self._places)

    def read(self, spool: Spool, *, everything: bool) -> None:
        """Take up the rows that were told before.

        Args:
            spool: where the records lie.
            everything: those too that were done and not told.
        """
        before = [k for k in _told(self.told) if k in self.about.shots]
        found = spool.outcomes(self.about.batch, TAKE.name, before)
        for place in before:
            self._hold(place, found[place])
        if everything:
            self.add(spool, self.missing)

    def add(self, spool: Spool, places: Iterable[int]) -> bool:
        """Tell of the shots whose outcome is there; return whether any is new."""
        new = [k for k in places if k not in self._places]
        found = spool.outcomes(self.about.batch, TAKE.name, new)
        fresh = [place for place in new if self._hold(place, found[place])]
        if fresh:
            self.told.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with self.told.open("a", encoding="utf-8") as file:
                file.write("".join(f"{place}\n" for place in fresh))
        return bool(fresh)

    def counts(self) -> dict[str, int]:
        """Return how many shots came to each status."""
        counts: dict[str, int] = {"solved": 0, "kept": 0, "failed": 0}
        for row in self.rows:
            counts[row["status"]] = counts.get(row["status"], 0) + 1
        return counts

    def plain(self) -> dict[str, Any]:
        """Return what a client is told."""
        failed = [row for row in self.rows if row["take_key"] is None]
        return {
            "id": self.about.batch,
            "state": self.state,
            "detail": None if self.detail is None else self._shown(self.detail),
            "sequence": self.about.sequence,
            "shots": self.about.names,
            "done": len(self.rows),
            "counts": self.counts(),
            "failed": [
                {"shot": row["shot"], "error": row["error"] or ""}
                for row in failed[:LISTED]
            ],
        }

    def _hold(self, place: int, outcome: Outcome | None) -> bool:
        if outcome is None or place in self._places:
            return False
        plain = ShotRow(**outcome["row"]).plain()
        error = plain["error"]
        row = {
            **plain,
            "setup": json.loads(plain["setup"]),
            "error": None if error is None else self._shown(error),
        }
        self._places.add(place)
        self.rows.append(row)
        self.last[row["shot"]] = row
        return True

    def _shown(self, text: str) -> str:
        """Return a text without the folders of this machine."""
        for folder in self.hidden:
            text = text.replace(f"{folder.rstrip('/')}/", "").replace(folder, "here")
        return text


def _told(path: Path) -> list[int]:
    """Return the places on whole lines; a killed service may have left half of one."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return []
    whole, _, rest = text.rpartition("\n")
    if rest:
        path.write_text(whole + "\n" if whole else "", encoding="utf-8")
    places = [int(line) for line in whole.splitlines() if line.isdigit()]
    return list(dict.fromkeys(places))
