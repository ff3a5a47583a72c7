"""Batches on disk, where a restart finds them.

    STATE/batches/<project>/<id>/job.json      as it was sent
                                 record.json   whose it is and what it solves
                                 rows.jsonl    a line a shot, as they are done
                                 cancel        there once it is to be cancelled
                                 end.json      how it ended

A batch is on disk before its submission is answered. Takes are not here but where all
takes lie; what a restart does again finds them and keeps them.
"""

import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from ...jobs.places.atomic import write_whole

_ID = re.compile(r"[0-9a-f]{32}", re.ASCII)
_NEW = ".new-"
LISTED = 200  # failed shots that a status lists


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """What is known of a batch from its submission on.

    Attributes:
        id: of the batch.
        project: whose it is.
        sequence: name of its sequence.
        shots: names in the order of the job.
        submitted_ns: clock of the service; batches run in this order.
        root: folder of subject files, or None.
        file_bytes: limit of one file.
        samples: limit of one subject.
        key: Idempotency-Key of the submission, or None.
        body: digest of the job as it was sent.
    """

    id: str
    project: str
    sequence: str
    shots: tuple[str, ...]
    submitted_ns: int
    root: str | None
    file_bytes: int
    samples: int
    key: str | None
    body: str


@dataclass(kw_only=True, slots=True)
class Batch:
    """A batch as it stands.

    Attributes:
        record: what was submitted.
        folder: where its files are.
        state: queued, running, cancelling, done, failed or cancelled.
        detail: why it failed, or None.
        rows: what came of its shots, in order of time.
        last: the last of them by shot.
    """

    record: Record
    folder: Path
    state: str = "queued"
    detail: str | None = None
    rows: list[dict[str, Any]] = field(default_factory=list)
    last: dict[str, dict[str, Any]] = field(init=False)

    def __post_init__(self) -> None:
        self.last = {row["shot"]: row for row in self.rows}

    @property
    def has_ended(self) -> bool:
        """Whether nothing more will happen."""
        return self.state in ("done", "failed", "cancelled")

    def add(self, row: dict[str, Any]) -> bool:
        """Note the row of a shot; False where it tells nothing new."""
        before = self.last.get(row["shot"])
        if before is not None:
            same = before["take_key"] == row["take_key"]
            if same and before["error"] == row["error"]:
                return False
        self.rows.append(row)
        self.last[row["shot"]] = row
        with (self.folder / "rows.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
        return True

    def end(self, state: str, detail: str | None = None) -> None:
        """Note how it ended.

        Raises:
            OSError: it could not be written.
        """
        self.state, self.detail = state, detail
        data = {"state": state, "detail": detail}
        write_whole(self.folder / "end.json", json.dumps(data).encode())

    def cancel(self) -> None:
        """Note that it is to be cancelled.

        Raises:
            OSError: it could not be written.
        """
        write_whole(self.folder / "cancel", b"cancel\n")
        self.state = "cancelling"

    def plain(self) -> dict[str, Any]:
        """Return what a client is told."""
        counts: dict[str, int] = {"solved": 0, "kept": 0, "failed": 0}
        for row in self.last.values():
            counts[row["status"]] = counts.get(row["status"], 0) + 1
        failed = [row for row in self.last.values() if row["take_key"] is None]
        return {
            "id": self.record.id,
            "state": self.state,
            "detail": self.detail,
            "sequence": self.record.sequence,
            "shots": self.record.shots,
            "done": len(self.last),
            "counts": counts,
            "failed": [
                {"shot": row["shot"], "error": row["error"] or ""}
                for row in failed[:LISTED]
            ],
        }


class BatchStore:
    """The folder of all batches."""

    def __init__(self, folder: Path) -> None:
        """Keep the folder, `STATE/batches`."""
        self.folder = folder

    def create(self, record: Record, body: bytes) -> Batch:
        """Write a batch down, whole or not at all.

        Raises:
            OSError: it could not be written.
        """
        project = self.folder / record.project
        project.mkdir(parents=True, exist_ok=True)
        fresh = project / f"{_NEW}{record.id}"
        fresh.mkdir()
        try:
            write_whole(fresh / "job.json", body)
            write_whole(fresh / "record.json", json.dumps(asdict(record)).encode())
            fresh.rename(project / record.id)
        except OSError:
            shutil.rmtree(fresh, ignore_errors=True)
            raise
        _flush(project)
        return Batch(record=record, folder=project / record.id)

    def find(self, project: str, name: str) -> Batch | None:
        """Return a batch of a project from disk, or None where there is none."""
        if _ID.fullmatch(name) is None:
            return None
        return _read(self.folder / project / name)

    def all(self) -> Iterator[Batch]:
        """Yield every batch, in the order of submission; half written ones go."""
        found = []
        for folder in self.folder.glob("*/*"):
            if folder.name.startswith(_NEW):
                shutil.rmtree(folder, ignore_errors=True)
                continue
            batch = _read(folder)
            if batch is not None:
                found.append(batch)
        yield from sorted(found, key=lambda batch: batch.record.submitted_ns)


def new_id() -> str:
    """Return the name of a new batch; nobody can guess it."""
    return secrets.token_hex(16)


def now_ns() -> int:
    """Return the time of a submission."""
    return time.time_ns()


def _read(folder: Path) -> Batch | None:
    try:
        raw = json.loads((folder / "record.json").read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        return None
    record = Record(**{**raw, "shots": tuple(raw["shots"])})
    batch = Batch(record=record, folder=folder, rows=_rows(folder / "rows.jsonl"))
    if (folder / "cancel").exists():
        batch.state = "cancelling"
    if (folder / "end.json").exists():
        end = json.loads((folder / "end.json").read_bytes())
        batch.state, batch.detail = end["state"], end["detail"]
    return batch


def _rows(path: Path) -> list[dict[str, Any]]:
    """Return the whole lines; a killed service may have left half of the last."""
    if not path.exists():
        return []
    text = path.read_text(encoding="utf-8")
    whole, _, rest = text.rpartition("\n")
    if rest:
        path.write_text(whole + "\n" if whole else "", encoding="utf-8")
    return [json.loads(line) for line in whole.splitlines()]


def _flush(folder: Path) -> None:
    """Have the names in a folder survive a loss of power."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
