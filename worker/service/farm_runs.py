"""Batches of the service on a farm: set up there, looked at, stopped.

The farm reads the records that the service wrote; nothing is submitted twice. When the
service ends the farm goes on, and the next service looks at the same records.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ...jobs.places.place import place_of
from ...jobs.run.phases import TAKE
from ..farm.app import BATCH
from ..farm.broker import FullError, answering
from ..farm.farm import Farm, cancel, connect, status
from ..farm.places import output_below, place_below
from ..farm.settings import load_settings
from ..farm.submission import start


@dataclass(frozen=True, kw_only=True, slots=True)
class Look:
    """How a batch stands.

    Attributes:
        state: as the farm has it.
        error: why it failed; empty otherwise.
        closed: whether it has ended.
        done: places of shots whose outcome was not asked for yet.
    """

    state: str
    error: str
    closed: bool
    done: tuple[int, ...]


class FarmRuns:
    """The farm that the environment names. Its calls block: use them in a thread."""

    def __init__(self) -> None:
        """Read the environment; connections are made when they are needed."""
        self._farm: Farm = connect(load_settings())

    @property
    def farm(self) -> Farm:
        """The farm."""
        return self._farm

    def look(self, batch: str, missing: Sequence[int], *, stop: bool) -> Look:
        """Look at a batch, set it up where Redis does not know it, stop it if asked.

        Args:
            batch: its name.
            missing: places of the shots that nobody has told of.
            stop: whether somebody has cancelled it.

        Raises:
            RecordError: it has no record that can be read.
            PlaceError: its folders are not the farm's.
            ServiceError: Redis is not reachable, or full.
        """
        farm = self._farm
        with answering(farm.settings):
            known = farm.state.batch(batch)
            if known is None and farm.spool.closed(batch) is None:
                self._set_up(batch)
        now = status(farm, batch)
        if stop and not now.closed:
            now = cancel(farm, batch)
        if now.closed:
            return Look(
                state=now.state, error=now.error, closed=True, done=tuple(missing)
            )
        with answering(farm.settings):
            done = set(farm.state.ends(batch, TAKE.name))
        return Look(
            state=now.state,
            error="",
            closed=False,
            done=tuple(place for place in missing if place in done),
        )

    def _set_up(self, batch: str) -> None:
        farm, settings = self._farm, self._farm.settings
        record = farm.spool.read(batch)
        place_below(settings.roots, Path(record.folder))
        output_below(settings.outputs, place_of(record.out, "out"))
        n_waiting = int(farm.state.redis.llen(BATCH))
        if n_waiting > settings.max_queue:
            limit = settings.max_queue
            message = f"{n_waiting} messages are waiting, limit {limit}; try later"
            raise FullError(message)
        start(farm.app, farm.state, settings, record)
