"""Takes in memory: a store that leaves nothing on a disk."""

from dataclasses import dataclass, field
from pathlib import Path

import pyarrow as pa

from .judgement import Judgement
from .keys import Keys
from .store import Store

NOWHERE = Path("/dev/null")  # nothing lies below it, and nothing can be put there


@dataclass(frozen=True, kw_only=True, slots=True)
class MemoryStore(Store):
    """What one run makes, by shot.

    Attributes:
        takes: the table of each shot's current take.
        made: every take, by its key.
        judgements: what came of judging each open shot.
    """

    folder: Path = NOWHERE
    takes: dict[str, pa.Table] = field(default_factory=dict)
    made: dict[str, pa.Table] = field(default_factory=dict)
    judgements: dict[str, Judgement] = field(default_factory=dict)

    def find(self, shot: str, keys: Keys) -> pa.Table | None:
        """Return None: every take is made anew."""
        return None

    def whole(self, shot: str, take_key: str) -> pa.Table | None:
        """Return a take of this run; there are no earlier ones."""
        return self.made.get(take_key)

    def make_current(self, shot: str, take_key: str) -> None:
        """Make a take of this run the current one of its shot."""
        self.takes[shot] = self.made[take_key]

    def put(self, shot: str, keys: Keys, take: pa.RecordBatchReader) -> None:
        """Keep a take."""
        self.takes[shot] = self.made[keys.take] = take.read_all()

    def current(self, shot: str) -> pa.Table | None:
        """Return None: there is no night before."""
        return None

    def judgement(self, shot: str) -> Judgement | None:
        """Return what came of judging a shot in this run."""
        return self.judgements.get(shot)

    def put_judgement(self, judgement: Judgement) -> None:
        """Keep what came of judging a shot."""
        self.judgements[judgement.shot] = judgement
