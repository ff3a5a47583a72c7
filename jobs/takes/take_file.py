"""The file of a take: written whole, read back checked."""

from collections.abc import Sequence
from functools import lru_cache

import pyarrow as pa

from ..errors import InputError
from ..places.atomic import whole_file
from ..places.parquet import read_checked
from ..places.place import Place
from .metadata import TAKE_SCHEMA, take_metadata
from .parquet_form import write_rows
from .table import TAKE_FIELDS


def write_take(take: pa.RecordBatchReader, place: Place) -> None:
    """Write a take whole or not at all.

    Of a long one little is in memory beside what it was given as: on a disk the file
    is written as it is made, and the rows are gone when its end is made.

    Args:
        take: all of it as one batch, which is read.
        place: of the file.

    Raises:
        OSError: it could not be written; what was at `place` still is.
    """
    with whole_file(place) as file:
        write_rows(take, file)


def read_take(path: Place, *, columns: Sequence[str] | None = None) -> pa.Table:
    """Read a take back, with every page checked against its checksum.

    Args:
        path: of the take.
        columns: names of those to read, in this order; None for all.

    Raises:
        InputError: the file is missing, damaged, or no take of this version.
    """
    table = read_checked(path, columns=columns)
    wanted = TAKE_FIELDS if columns is None else _fields_of(tuple(columns))
    if not table.schema.equals(wanted):
        raise InputError(str(path), f"is not a take of the form {TAKE_SCHEMA}")
    try:
        take_metadata(table)
    except ValueError as error:
        raise InputError(str(path), str(error)) from error
    return table


@lru_cache(maxsize=16)
def _fields_of(columns: tuple[str, ...]) -> pa.Schema:
    return pa.schema([TAKE_FIELDS.field(name) for name in columns])
