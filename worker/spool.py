"""A batch on disk: what was submitted, and what came of each shot. This is the truth.

    SPOOL/<batch>/batch.json              what was submitted
    SPOOL/<batch>/<phase>/<shot>.json     what a phase made of a shot, by its place
    SPOOL/<batch>/<phase>/<shot>.begun    a take of it was not there before this batch
    SPOOL/<batch>/<phase>.json            what a phase's join gives to the next phase
    SPOOL/<batch>/closed.json             how it ended; missing while it is open

Redis counts and queues; all of it can be made again from here.
"""

import json
import re
import secrets
import shutil
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from ..jobs.atomic import write_whole
from ..jobs.errors import InputError
from ..jobs.locations import shown
from ..jobs.spec import JobFile

_NAME = re.compile(r"[a-z0-9]{16}")

Outcome = dict[str, Any]
"""What a phase made of a shot: its `status` here, and the phase's own `row`."""


class RecordError(InputError):
    """A batch has no record, or one that cannot be read."""

    def __init__(self, batch: str, message: str) -> None:
        """Keep the name of the batch and what is wrong with it."""
        super().__init__(f"batch {batch}", message)


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """What was submitted.

    Attributes:
        batch: its name.
        digest: of everything that the result depends on.
        folder: where the job file lies; subjects are found from there.
        out: folder in which the sequence gets its own.
        shots: places in the job of the shots to solve, rising.
        inputs: SHA-256 of each subject's file, by its name in the job; empty where
            the batch follows changes.
        job: the resolved job.
        submitted_s: time of submission, Unix.
        project: whose it is; empty for the command line's.
    """

    batch: str
    digest: str
    folder: str
    out: str
    shots: tuple[int, ...]
    inputs: dict[str, str] = field(default_factory=dict)
    job: JobFile
    submitted_s: float
    project: str = ""


_RECORD = TypeAdapter(Record)


def new_name() -> str:
    """Return a name for a batch that nobody can guess."""
    return secrets.token_hex(8)


def is_name(text: str) -> bool:
    """Tell whether a text can be the name of a batch."""
    return _NAME.fullmatch(text) is not None


@dataclass(frozen=True, kw_only=True, slots=True)
class Spool:
    """The folder of all batches."""

    folder: Path

    def write(self, record: Record) -> None:
        """Keep what was submitted.

        Raises:
            OSError: it could not be written.
        """
        plain = {**asdict(record), "job": dump_job(record.job)}
        text = json.dumps(plain, separators=(",", ":"), allow_nan=False)
        write_whole(self._batch(record.batch) / "batch.json", text.encode())

    def read(self, batch: str) -> Record:
        """Return what was submitted.

        Raises:
            RecordError: there is no such batch, or its record is damaged.
        """
        if not is_name(batch):
            raise RecordError(shown(batch), "is no name of a batch")
        try:
            data = (self._batch(batch) / "batch.json").read_bytes()
            return _RECORD.validate_json(data)
        except FileNotFoundError as error:
            raise RecordError(batch, "is not known") from error
        except (OSError, ValidationError) as error:
            message = "has a record that cannot be read"
            raise RecordError(batch, message) from error

    def batches(self) -> Iterator[str]:
        """Yield the names of all batches on disk."""
        if self.folder.is_dir():
            for path in sorted(self.folder.iterdir()):
                if is_name(path.name) and (path / "batch.json").is_file():
                    yield path.name

    def age_s(self, batch: str, now_s: float) -> float:
        """Return for how long nothing was written of a batch's start or end."""
        paths = [self._batch(batch) / name for name in ("batch.json", "closed.json")]
        return now_s - max(path.stat().st_mtime for path in paths if path.exists())

    def set_outcome(self, batch: str, phase: str, shot: int, outcome: Outcome) -> None:
        """Keep what a phase made of a shot.

        It is there whole or not at all, and not flushed to the disk: one that a loss
        of power takes is made again from the take.

        Raises:
            OSError: it could not be written.
        """
        _put(self._shot(batch, phase, shot), outcome)

    def outcome(self, batch: str, phase: str, shot: int) -> Outcome | None:
        """Return what a phase made of a shot; None where nothing readable is there."""
        found = _get(self._shot(batch, phase, shot))
        return found if isinstance(found, dict) and "row" in found else None

    def drop_outcome(self, batch: str, phase: str, shot: int) -> None:
        """Forget what a phase made of a shot."""
        path = self._shot(batch, phase, shot)
        path.unlink(missing_ok=True)
        path.with_suffix(".begun").unlink(missing_ok=True)

    def mark_begun(self, batch: str, phase: str, shot: int) -> None:
        """Note that a shot was still to be solved when this batch came to it."""
        path = self._shot(batch, phase, shot).with_suffix(".begun")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()

    def has_begun(self, batch: str, phase: str, shot: int) -> bool:
        """Tell whether a shot was still to be solved when this batch came to it."""
        return self._shot(batch, phase, shot).with_suffix(".begun").exists()

    def set_given(self, batch: str, phase: str, given: dict[str, Any]) -> None:
        """Keep what the join of a phase gives for shots of the next one.

        Raises:
            OSError: it could not be written.
        """
        text = json.dumps(given, separators=(",", ":"), allow_nan=False)
        write_whole(self._batch(batch) / f"{phase}.json", text.encode())

    def given(self, batch: str, phase: str) -> dict[str, Any] | None:
        """Return what the join of a phase gave; None where it has not been."""
        found = _get(self._batch(batch) / f"{phase}.json")
        return found if isinstance(found, dict) else None

    def given_stamp(self, batch: str, phase: str) -> int:
        """Return when the join of a phase gave [ns]; 0 where it has not."""
        try:
            return (self._batch(batch) / f"{phase}.json").stat().st_mtime_ns
        except FileNotFoundError:
            return 0

    def drop_given(self, batch: str, phase: str) -> None:
        """Forget what the join of a phase gave."""
        (self._batch(batch) / f"{phase}.json").unlink(missing_ok=True)

    def close(self, batch: str, end: dict[str, Any]) -> None:
        """Keep how a batch ended.

        Raises:
            OSError: it could not be written.
        """
        write_whole(self._batch(batch) / "closed.json", json.dumps(end).encode())

    def reopen(self, batch: str) -> None:
        """Forget that a batch ended."""
        (self._batch(batch) / "closed.json").unlink(missing_ok=True)

    def closed(self, batch: str) -> dict[str, Any] | None:
        """Return how a batch ended; None while it is open."""
        found = _get(self._batch(batch) / "closed.json")
        return found if isinstance(found, dict) else None

    def remove(self, batch: str) -> None:
        """Remove all records of a batch; takes are elsewhere and stay."""
        shutil.rmtree(self._batch(batch), ignore_errors=True)

    def _batch(self, batch: str) -> Path:
        return self.folder / batch

    def _shot(self, batch: str, phase: str, shot: int) -> Path:
        return self._batch(batch) / phase / f"{shot}.json"


def dump_job(job: JobFile) -> dict[str, Any]:
    """Return a resolved job as plain values; `JobFile` reads them back the same."""
    return job.model_dump(mode="json", by_alias=True)


def _put(path: Path, value: object) -> None:
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(6)}")
    data = json.dumps(value, separators=(",", ":"), allow_nan=False).encode()
    try:
        try:
            temporary.write_bytes(data)
        except FileNotFoundError:
            path.parent.mkdir(parents=True, exist_ok=True)
            temporary.write_bytes(data)
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def _get(path: Path) -> Any:
    try:
        return json.loads(path.read_bytes())
    except (FileNotFoundError, ValueError):
        return None
