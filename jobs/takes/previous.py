"""Last night's rows: what a sequence was before its last solve.

    OUT/<sequence>/history/reported.parquet    the table as a run last left it
    OUT/<sequence>/history/previous.parquet    rows of shots before their last run

Both are written when a run ends. A run that was cut short reports nothing, and the
parts of one that ran apart replace the rows of their own shots only, so the rows
before are those of the last whole solve of each shot.
"""

from collections.abc import Collection
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ..errors import InputError
from ..places.atomic import write_whole
from ..places.parquet import read_checked
from ..places.place import Place


def previous_path(folder: Place) -> Place:
    """Return where the rows before lie, in the folder of a sequence."""
    return folder / "history" / "previous.parquet"


def note_reported(folder: Place, shots: Collection[str]) -> None:
    """Make the rows last reported those before, and the current ones reported.

    Args:
        folder: of the sequence.
        shots: names of the shots that were solved; the rows of others stay.

    Raises:
        InputError: the current rows cannot be read.
        OSError: a file could not be written.
    """
    current = read_checked(folder / "sequence.parquet")
    reported_path = folder / "history" / "reported.parquet"
    reported, before = _rows(reported_path), _rows(previous_path(folder))
    before |= {shot: reported[shot] for shot in shots if shot in reported}
    order = current["shot"].to_pylist()
    kept = [before[shot] for shot in order if shot in before]
    if kept:
        write_whole(previous_path(folder), _bytes(kept, current.schema))
    write_whole(reported_path, (folder / "sequence.parquet").read_bytes())


def _rows(path: Place) -> dict[str, dict[str, Any]]:
    """Return rows by shot, none where there is no whole file."""
    try:
        return {row["shot"]: row for row in read_checked(path).to_pylist()}
    except InputError:
        return {}


def _bytes(rows: list[dict[str, Any]], schema: pa.Schema) -> bytes:
    buffer = pa.BufferOutputStream()
    table = pa.Table.from_pylist(rows, schema=schema)
    pq.write_table(table, buffer, compression="zstd", write_page_checksum=True)
    data: bytes = buffer.getvalue().to_pybytes()
    return data
