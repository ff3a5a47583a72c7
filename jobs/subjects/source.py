"""The bytes of a subject: read once, bounded, and named by their digest."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Literal

from .columns import KNOWN
from .faults import refuse

Kind = Literal["parquet", "arrow", "csv", "bvh", "inline"]

KINDS: dict[str, Kind] = {
    ".parquet": "parquet",
    ".arrow": "arrow",
    ".csv": "csv",
    ".bvh": "bvh",
}

MAX_BYTES = 512 * 1024 * 1024  # of a file, and of what it unpacks to
MAX_ROWS = 20_000_000  # 23 hours at 240 samples a second


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """A subject's bytes.

    Attributes:
        data: the bytes; for inline samples, their canonical JSON.
        kind: how to read them.
        label: how messages name them.
        path: field of the job file that named them.
        digest: SHA-256 of `data`, hexadecimal.
    """

    data: bytes
    kind: Kind
    label: str
    path: str
    digest: str


def source_of_file(file: str, *, folder: Path, path: str) -> Source:
    """Read a file into memory, once.

    Raises:
        SubjectError: the suffix is not known, or the file is missing, empty, too
            large or cannot be read.
    """
    field, label = f"{path}.file", f"'{file}'"
    kind = KINDS.get(PurePath(file).suffix.lower())
    if kind is None:
        refuse(field, f"{label} must end in one of {', '.join(KINDS)}")
    place = folder / file
    if not place.is_file():
        refuse(field, f"{label} is not a file")
    try:
        with place.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except OSError as error:
        refuse(field, f"{label} cannot be read: {error.strerror}")
    if len(data) > MAX_BYTES:
        refuse(field, f"{label} is larger than {MAX_BYTES // 2**20} MB")
    if not data.strip():
        refuse(field, f"{label} is empty")
    return Source(data=data, kind=kind, label=label, path=field, digest=_digest(data))


def source_of_samples(samples: object, *, path: str) -> Source:
    """Take inline samples, an attribute a column, as if they were a file."""
    columns = {name: getattr(samples, name) for name in KNOWN}
    given = {name: list(values) for name, values in columns.items() if values}
    data = json.dumps(given, sort_keys=True).encode()
    return Source(
        data=data,
        kind="inline",
        label="the inline table",
        path=f"{path}.samples",
        digest=_digest(data),
    )


def check_size(source: Source, *, n_rows: int, n_bytes: int) -> None:
    """Refuse what would not fit into memory once unpacked.

    Raises:
        SubjectError: more rows than `MAX_ROWS` or bytes than `MAX_BYTES`.
    """
    if n_rows > MAX_ROWS:
        refuse(source.path, f"{source.label} has {n_rows} rows, limit {MAX_ROWS}")
    if n_bytes > MAX_BYTES:
        message = (
            f"{source.label} unpacks to {n_bytes / 2**20:.0f} MB, "
            f"limit {MAX_BYTES // 2**20} MB"
        )
        refuse(source.path, message)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
