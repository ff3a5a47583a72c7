"""A batch in files: what was submitted, and what came of each shot. This is the truth.

    SPOOL/<batch>/about.json              whose it is, its shots' names: what lists need
    SPOOL/<batch>/batch.json              what was submitted
    SPOOL/<batch>/<phase>/<shot>.json     what a phase made of a shot, by its place
    SPOOL/<batch>/<phase>/<shot>.begun    a take of it was not there before this batch
    SPOOL/<batch>/<phase>.json            what a phase's join gives to the next phase
    SPOOL/<batch>/<phase>.stamp           another each time that it is given
    SPOOL/<batch>/cancel                  there once it is to stop
    SPOOL/<batch>/closed.json             how it ended; missing while it is open
    SPOOL/requests/<request>.json         one take that somebody waits for

SPOOL is a folder, or a prefix of an object store. On a farm Redis counts and queues,
and all of it can be made again from here; on a single machine these files are all.
Whoever is neither owner nor of the group of a batch's folder reads nothing of it.
"""

import json
import re
import secrets
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from ..errors import InputError
from ..job.locations import shown
from ..places.atomic import write_whole
from ..places.place import Place, failure_words, modified_s, read_all, remove_folder
from .record import About, Record, dump_job

_NAME = re.compile(r"[a-z0-9]{16}")

Outcome = dict[str, Any]
"""What a phase made of a shot: its `status` here, and the phase's own `row`."""


class RecordError(InputError):
    """A batch has no record, or one that cannot be read."""

    def __init__(self, batch: str, message: str) -> None:
        """Keep the name of the batch and what is wrong with it."""
        super().__init__(f"batch {batch}", message)


_FOLDER_MODE = 0o770
_PROBE = 4096  # bytes that have to fit


def new_name() -> str:
    """Return a name for a batch that nobody can guess."""
    return secrets.token_hex(8)


def is_name(text: str) -> bool:
    """Tell whether a text can be the name of a batch."""
    return _NAME.fullmatch(text) is not None


@dataclass(frozen=True, kw_only=True, slots=True)
class Spool:
    """Where all batches lie."""

    folder: Place

    def write(self, record: Record) -> None:
        """Keep what was submitted.

        Raises:
            OSError: it could not be written.
        """
        folder = self._batch(record.batch)
        _make_private(folder)
        write_whole(folder / "about.json", json.dumps(asdict(record.about)).encode())
        confines = None if record.confines is None else asdict(record.confines)
        own = {
            each.name: getattr(record, each.name)
            for each in fields(record)
            if each.name not in ("job", "confines")
        }
        plain = {**own, "confines": confines, "job": dump_job(record.job)}
        text = json.dumps(plain, separators=(",", ":"), allow_nan=False)
        write_whole(folder / "batch.json", text.encode())

    def read(self, batch: str) -> Record:
        """Return what was submitted.

        Raises:
            RecordError: there is no such batch, or its record is damaged.
        """
        if not is_name(batch):
            raise RecordError(shown(batch), "is no name of a batch")
        try:
            data = (self._batch(batch) / "batch.json").read_bytes()
            return _record_type().validate_json(data)
        except FileNotFoundError as error:
            raise RecordError(batch, "is not known") from error
        except (OSError, ValidationError) as error:
            message = "has a record that cannot be read"
            raise RecordError(batch, message) from error

    def about(self, batch: str) -> About | None:
        """Return what lists need of a batch; None where there is none of this name."""
        if not is_name(batch) or not (self._batch(batch) / "batch.json").is_file():
            return None
        found = _get(self._batch(batch) / "about.json")
        if found is None:
            return self.read(batch).about
        return About(
            **{**found, "names": tuple(found["names"]), "shots": tuple(found["shots"])}
        )

    def batches(self) -> Iterator[str]:
        """Yield the names of all batches that there are."""
        if self.folder.is_dir():
            for path in sorted(self.folder.iterdir(), key=str):
                if is_name(path.name) and (path / "batch.json").is_file():
                    yield path.name

    def open_batches(self) -> Iterator[str]:
        """Yield the names of the batches that have not ended."""
        for batch in self.batches():
            if not (self._batch(batch) / "closed.json").is_file():
                yield batch

    def prune(self, before_s: float) -> list[str]:
        """Remove the records of batches that ended before a time; takes stay.

        Args:
            before_s: Unix time.

        Returns:
            The names of the batches, sorted.
        """
        gone = []
        for batch in self.batches():
            closed_s = modified_s(self._batch(batch) / "closed.json")
            if closed_s is not None and closed_s < before_s:
                self.remove(batch)
                gone.append(batch)
        return gone

    def unwritable(self) -> str:
        """Return why nothing can be written here now; "" where it can."""
        probe = self.folder / "probe"
        try:
            write_whole(probe, bytes(_PROBE))
            probe.unlink(missing_ok=True)
        except OSError as error:
            return failure_words(error)
        return ""

    def age_s(self, batch: str, now_s: float) -> float:
        """Return for how long nothing was written of a batch's start or end."""
        paths = [self._batch(batch) / name for name in ("batch.json", "closed.json")]
        return now_s - max(modified_s(path) or 0.0 for path in paths)

    def set_outcome(self, batch: str, phase: str, shot: int, outcome: Outcome) -> None:
        """Keep what a phase made of a shot.

        It is there whole or not at all, and not flushed to the disk: one that a loss
        of power takes is made again from the take.

        Raises:
            OSError: it could not be written.
        """
        data = json.dumps(outcome, separators=(",", ":"), allow_nan=False).encode()
        write_whole(self._shot(batch, phase, shot), data, flush=False)

    def outcome(self, batch: str, phase: str, shot: int) -> Outcome | None:
        """Return what a phase made of a shot; None where nothing readable is there."""
        return self.outcomes(batch, phase, [shot])[shot]

    def outcomes(
        self, batch: str, phase: str, shots: Sequence[int]
    ) -> dict[int, Outcome | None]:
        """Return what a phase made of shots, as `outcome` does, by place."""
        texts = read_all([self._shot(batch, phase, shot) for shot in shots])
        plain = zip(shots, map(_plain, texts), strict=True)
        return {
            shot: one if one is not None and "row" in one else None
            for shot, one in plain
        }

    def drop_outcomes(self, batch: str, phase: str, shots: Sequence[int]) -> None:
        """Forget what a phase made of shots."""
        for shot in shots:
            self._shot(batch, phase, shot).unlink(missing_ok=True)
            self._begun(batch, phase, shot).unlink(missing_ok=True)

    def mark_begun(self, batch: str, phase: str, shot: int) -> None:
        """Note that a shot was still to be solved when this batch came to it."""
        write_whole(self._begun(batch, phase, shot), b"", flush=False)

    def has_begun(self, batch: str, phase: str, shot: int) -> bool:
        """Tell whether a shot was still to be solved when this batch came to it."""
        return self._begun(batch, phase, shot).is_file()

    def set_given(self, batch: str, phase: str, given: dict[str, Any]) -> None:
        """Keep what the join of a phase gives for shots of the next one.

        Raises:
            OSError: it could not be written.
        """
        text = json.dumps(given, separators=(",", ":"), allow_nan=False)
        write_whole(self._batch(batch) / f"{phase}.json", text.encode())
        stamp = secrets.token_hex(8)
        write_whole(self._batch(batch) / f"{phase}.stamp", stamp.encode())

    def given(self, batch: str, phase: str) -> dict[str, Any] | None:
        """Return what the join of a phase gave; None where it has not been."""
        return _get(self._batch(batch) / f"{phase}.json")

    def given_stamp(self, batch: str, phase: str) -> str:
        """Return what is another each time that a join gives; "" where none has."""
        try:
            return (self._batch(batch) / f"{phase}.stamp").read_bytes().hex()
        except FileNotFoundError:
            return ""

    def drop_given(self, batch: str, phase: str) -> None:
        """Forget what the join of a phase gave."""
        (self._batch(batch) / f"{phase}.stamp").unlink(missing_ok=True)
        (self._batch(batch) / f"{phase}.json").unlink(missing_ok=True)

    def ask_cancel(self, batch: str) -> None:
        """Note that a batch is to stop.

        Raises:
            OSError: it could not be written.
        """
        write_whole(self._batch(batch) / "cancel", b"cancel\n")

    def asked_cancel(self, batch: str) -> bool:
        """Tell whether a batch is to stop."""
        return (self._batch(batch) / "cancel").is_file()

    def close(self, batch: str, end: dict[str, Any]) -> None:
        """Keep how a batch ended.

        Raises:
            OSError: it could not be written.
        """
        write_whole(self._batch(batch) / "closed.json", json.dumps(end).encode())

    def reopen(self, batch: str) -> None:
        """Forget that a batch ended, or was to stop."""
        for name in ("closed.json", "cancel"):
            (self._batch(batch) / name).unlink(missing_ok=True)

    def closed(self, batch: str) -> dict[str, Any] | None:
        """Return how a batch ended; None while it is open."""
        return _get(self._batch(batch) / "closed.json")

    def remove(self, batch: str) -> None:
        """Remove all records of a batch; takes are elsewhere and stay."""
        remove_folder(self._batch(batch))

    def set_request(self, request: str, plain: dict[str, Any]) -> None:
        """Keep what a take is asked for with.

        Raises:
            OSError: it could not be written.
        """
        _make_private(self.folder / "requests")
        data = json.dumps(plain, separators=(",", ":"), allow_nan=False).encode()
        write_whole(self._request(request), data)

    def request(self, request: str) -> dict[str, Any] | None:
        """Return what a take is asked for with; None where nobody asks."""
        return _get(self._request(request))

    def drop_request(self, request: str) -> None:
        """Forget a take that was asked for."""
        self._request(request).unlink(missing_ok=True)

    def prune_requests(self, before_s: float) -> None:
        """Forget takes that were asked for before a time [Unix s]."""
        folder = self.folder / "requests"
        for place in folder.iterdir() if folder.is_dir() else ():
            asked_s = modified_s(place)
            if asked_s is not None and asked_s < before_s:
                place.unlink(missing_ok=True)

    def _request(self, request: str) -> Place:
        return self.folder / "requests" / f"{request}.json"

    def _batch(self, batch: str) -> Place:
        return self.folder / batch

    def _shot(self, batch: str, phase: str, shot: int) -> Place:
        return self._batch(batch) / phase / f"{shot}.json"

    def _begun(self, batch: str, phase: str, shot: int) -> Place:
        return self._batch(batch) / phase / f"{shot}.begun"


@dataclass(frozen=True, kw_only=True, slots=True)
class BatchRecords:
    """The records of one batch, as its run needs them."""

    spool: Spool
    batch: str

    def mark_begun(self, phase: str, shot: int) -> None:
        """Note that a shot was still to be solved when this batch came to it."""
        self.spool.mark_begun(self.batch, phase, shot)

    def has_begun(self, phase: str, shot: int) -> bool:
        """Tell whether a shot was still to be solved when this batch came to it."""
        return self.spool.has_begun(self.batch, phase, shot)


@cache
def _record_type() -> "TypeAdapter[Record]":
    """Return what reads records; made when the first is read."""
    return TypeAdapter(Record)


def _make_private(folder: Place) -> None:
    """Make a folder that others than owner and group do not see into."""
    if isinstance(folder, Path) and not folder.is_dir():
        folder.parent.mkdir(parents=True, exist_ok=True)
        folder.mkdir(mode=_FOLDER_MODE, exist_ok=True)


def _get(place: Place) -> dict[str, Any] | None:
    return _plain(read_all([place])[0])


def _plain(data: bytes | None) -> dict[str, Any] | None:
    """Return the table that a file holds; None where there is none that is whole."""
    try:
        found = None if data is None else json.loads(data)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None
