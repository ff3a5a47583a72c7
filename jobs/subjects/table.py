"""Tables of samples in Parquet, Arrow, CSV or inline: from bytes to columns.

Size, columns and types are checked on what the file says of itself, before a value
is unpacked: a few kilobytes can claim to be gigabytes.
"""

import csv
import io
import json
from collections.abc import Callable

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from .arrow_stream import measure as stream_size
from .arrow_stream import open_stream
from .columns import Titles, faults_of, missing_columns, wanted, wrong_types
from .faults import refuse, refuse_any
from .source import Source, check_size

WIDTH_BYTES = 8  # of a value, once it is an array
HEAD_BYTES = 2**20  # the line of column names ends before
_UNREADABLE = (pa.ArrowException, OSError, ValueError, OverflowError, csv.Error)


def read_table(source: Source, titles: Titles) -> pa.Table:
    """Return the known columns of a table under our names, types checked.

    Args:
        source: the bytes.
        titles: what the file calls each column.

    Raises:
        SubjectError: the bytes are not such a table, it is too large or has no rows,
            columns are missing or are of the wrong type.
    """
    try:
        table = _READERS[source.kind](source, titles)
    except _UNREADABLE as error:
        refuse(source.path, f"{source.label} is not {_NAMES[source.kind]}{_why(error)}")
    if table.num_rows == 0:
        refuse(source.path, f"{source.label} has no rows")
    _refuse_types(table.schema, source, titles)
    columns = wanted(table.column_names, titles)
    return pa.table({name: table[title] for name, title in columns.items()})


def _read_parquet(source: Source, titles: Titles) -> pa.Table:
    parquet = pq.ParquetFile(pa.BufferReader(source.data))
    schema = parquet.schema_arrow
    columns = _columns(schema.names, source, titles)
    _refuse_types(schema, source, titles)
    about = parquet.metadata
    groups = [about.row_group(k) for k in range(about.num_row_groups)]
    parts = [group.column(k) for group in groups for k in range(about.num_columns)]
    claimed = sum(
        part.total_uncompressed_size for part in parts if part.path_in_schema in columns
    )
    # Run-length coded pages unpack to more than the file calls their size.
    unpacked = about.num_rows * len(columns) * WIDTH_BYTES
    check_size(source, n_rows=about.num_rows, n_bytes=max(claimed, unpacked))
    return parquet.read(columns=columns, use_threads=False)


def _read_arrow(source: Source, titles: Titles) -> pa.Table:
    size = stream_size(source.data)
    check_size(source, n_rows=size.n_rows, n_bytes=size.n_bytes)
    with open_stream(source.data) as stream:
        columns = _columns(stream.schema.names, source, titles)
        _refuse_types(stream.schema, source, titles)
        table = stream.read_all().select(columns)
    table.validate(full=True)
    return table


def _read_csv(source: Source, titles: Titles) -> pa.Table:
    head = source.data[:HEAD_BYTES].split(b"\n", 1)[0].decode("utf-8-sig")
    columns = _columns(next(csv.reader(io.StringIO(head)), []), source, titles)
    n_rows = max(source.data.count(end) for end in (b"\n", b"\r"))
    unpacked = n_rows * len(columns) * WIDTH_BYTES
    check_size(source, n_rows=n_rows, n_bytes=unpacked)
    return pa.csv.read_csv(
        pa.BufferReader(source.data),
        read_options=pa.csv.ReadOptions(use_threads=False),
        convert_options=pa.csv.ConvertOptions(include_columns=columns),
    )


def _read_inline(source: Source, titles: Titles) -> pa.Table:
    return pa.table(json.loads(source.data))


def _read_held(source: Source, titles: Titles) -> pa.Table:
    table = source.held
    assert table is not None
    columns = _columns(table.column_names, source, titles)
    _refuse_types(table.schema, source, titles)
    check_size(source, n_rows=table.num_rows, n_bytes=table.nbytes)
    return table.select(columns)


def _columns(names: list[str], source: Source, titles: Titles) -> list[str]:
    """The columns to read, the file's names."""
    rules = missing_columns(names, titles)
    refuse_any(faults_of(rules, path=source.path, label=source.label))
    return list(dict.fromkeys(wanted(names, titles).values()))


def _refuse_types(schema: pa.Schema, source: Source, titles: Titles) -> None:
    rules = wrong_types(schema, titles)
    refuse_any(faults_of(rules, path=source.path, label=source.label))


_READERS: dict[str, Callable[[Source, Titles], pa.Table]] = {
    "parquet": _read_parquet,
    "arrow": _read_arrow,
    "csv": _read_csv,
    "inline": _read_inline,
    "held": _read_held,
}
_NAMES = {
    "parquet": "a readable Parquet file",
    "arrow": "a readable Arrow file or stream",
    "csv": "a readable CSV table in UTF-8",
    "inline": "a table of equally long columns",
    "held": "a table of equally long columns",
}


def _why(error: Exception) -> str:
    """What the reading library says, kept to a line."""
    lines = str(error).strip().splitlines()
    return f" ({lines[0][:120].rstrip('.')})" if lines else ""
