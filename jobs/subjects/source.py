"""The bytes of a subject: read once, bounded, and named by their digest."""

import hashlib
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Literal

import pyarrow as pa

from ..job.held import HeldSamples, columns_json
from .columns import KNOWN
from .faults import refuse

Kind = Literal["parquet", "arrow", "csv", "bvh", "inline", "held", "usd"]

KINDS: dict[str, Kind] = {
    ".parquet": "parquet",
    ".arrow": "arrow",
    ".csv": "csv",
    ".bvh": "bvh",
}

MAX_BYTES = 512 * 1024 * 1024  # of a file, and of what it unpacks to
MAX_ROWS = 20_000_000  # 23 hours at 240 samples a second
_UNBOUND = 2**63  # beyond the limits above


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """A subject's bytes.

    Attributes:
        data: the bytes; for inline samples, their canonical JSON.
        kind: how to read them.
        label: how messages name them.
        path: field of the job file that named them.
        digest: SHA-256 of `data`, hexadecimal.
        max_bytes: most that it may unpack to, where that is less than `MAX_BYTES`.
        max_rows: most rows, where that is less than `MAX_ROWS`.
        held: the table itself, where the caller holds it in memory; `data` is empty.
    """

    data: bytes
    kind: Kind
    label: str
    path: str
    digest: str
    max_bytes: int = _UNBOUND
    max_rows: int = _UNBOUND
    held: pa.Table | None = None


def source_of_file(file: str, *, folder: Path, path: str) -> Source:
    """Read a file into memory, once.

    Raises:
        SubjectError: the suffix is not known, or the file is missing, empty, too
            large or cannot be read.
    """
    field, label = f"{path}.file", f"'{file}'"
    kind = kind_of_file(file, path=path)
    place = folder / file
    if not place.is_file():
        refuse(field, f"{label} is not a file")
    try:
        too_large = place.stat().st_size > MAX_BYTES
        data = b"" if too_large else place.read_bytes()
    except OSError as error:
        refuse(field, f"{label} cannot be read: {error.strerror}")
    if too_large:
        refuse(field, f"{label} is larger than {MAX_BYTES // 2**20} MB")
    if not data.strip():
        refuse(field, f"{label} is empty")
    return Source(data=data, kind=kind, label=label, path=field, digest=digest_of(data))


def kind_of_file(file: str, *, path: str) -> Kind:
    """Return how a file is read, by its suffix.

    Raises:
        SubjectError: the suffix is not known.
    """
    kind = KINDS.get(PurePath(file).suffix.lower())
    if kind is None:
        refuse(f"{path}.file", f"'{file}' must end in one of {', '.join(KINDS)}")
    return kind


def source_of_samples(samples: object, *, path: str) -> Source:
    """Take inline samples, an attribute a column, as if they were a file."""
    label, field = "the inline table", f"{path}.samples"
    if isinstance(samples, HeldSamples):
        digest, table = samples.digest, samples.table
        return Source(
            data=b"", kind="held", label=label, path=field, digest=digest, held=table
        )
    columns = {name: getattr(samples, name) for name in KNOWN}
    given = {name: list(values) for name, values in columns.items() if values}
    data = columns_json(given)
    return Source(
        data=data, kind="inline", label=label, path=field, digest=digest_of(data)
    )


def check_size(source: Source, *, n_rows: int, n_bytes: int) -> None:
    """Refuse what would not fit into memory once unpacked.

    Raises:
        SubjectError: more rows or bytes than allowed of any source, or of this one.
    """
    max_rows = min(MAX_ROWS, source.max_rows)
    max_bytes = min(MAX_BYTES, source.max_bytes)
    if n_rows > max_rows:
        refuse(source.path, f"{source.label} has {n_rows} rows, limit {max_rows}")
    if n_bytes > max_bytes:
        message = (
            f"{source.label} unpacks to {n_bytes / 2**20:.0f} MB, "
            f"limit {max_bytes // 2**20} MB"
        )
        refuse(source.path, message)


def digest_of(data: bytes) -> str:
    """Return the name of some bytes, SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()
