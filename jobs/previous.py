"""Last night's rows: what a sequence was before its last solve.

    OUT/<sequence>/history/reported.parquet    rows as last reported
    OUT/<sequence>/history/previous.parquet    rows as reported the time before

Both are kept a shot at a time, when a run ends. A run that was cut short reports
nothing, and the parts of one that ran apart report their own shots, so the rows
before are those of the last whole solve of each shot.
"""

from collections.abc import Collection
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from .atomic import write_whole
from .errors import InputError
from .parquet import read_checked


def previous_path(folder: Path) -> Path:
    """Return where the rows before lie, in the folder of a sequence."""
    return folder / "history" / "previous.parquet"


def note_reported(folder: Path, shots: Collection[str]) -> None:
    """Make the rows last reported those before, and the current ones reported.

    Args:
        folder: of the sequence.
        shots: names of the shots that were solved; the rows of others stay.

    Raises:
        InputError: the current rows cannot be read.
        OSError: a file could not be written.
    """
    current = read_checked(folder / "sequence.parquet")
    rows = {row["shot"]: row for row in current.to_pylist()}
    reported_path = folder / "history" / "reported.parquet"
    reported, before = _rows(reported_path), _rows(previous_path(folder))
    for shot in shots:
        if shot in reported:
            before[shot] = reported[shot]
        if shot in rows:
            reported[shot] = rows[shot]
    _write(previous_path(folder), before, rows, current.schema)
    _write(reported_path, reported, rows, current.schema)


def _rows(path: Path) -> dict[str, dict[str, Any]]:
    """Return rows by shot, none where there is no whole file."""
    try:
        return {row["shot"]: row for row in read_checked(path).to_pylist()}
    except InputError:
        return {}


def _write(
    path: Path,
    rows: dict[str, dict[str, Any]],
    order: Collection[str],
    schema: pa.Schema,
) -> None:
    kept = [rows[shot] for shot in order if shot in rows]
    if not kept:
        return
    buffer = pa.BufferOutputStream()
    pq.write_table(
        pa.Table.from_pylist(kept, schema=schema),
        buffer,
        compression="zstd",
        write_page_checksum=True,
    )
    write_whole(path, buffer.getvalue().to_pybytes())
