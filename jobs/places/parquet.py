"""Our own Parquet files, read back whole or refused."""

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ..errors import InputError
from .objects import ObjectPath
from .place import Place


def read_checked(path: Place, *, columns: Sequence[str] | None = None) -> pa.Table:
    """Read a file that we wrote, with every page checked against its checksum.

    Args:
        path: of the file.
        columns: names of those to read, in this order; None for all.

    Raises:
        InputError: the file is missing or damaged.
        OSError: an object store does not give it.
    """
    source: Any = path
    if isinstance(path, ObjectPath):
        try:
            source = pa.BufferReader(path.read_bytes())
        except FileNotFoundError as error:
            raise InputError(str(path), "no such file") from error
    elif not path.is_file():
        raise InputError(str(path), "no such file")
    try:
        return pq.ParquetFile(source, page_checksum_verification=True).read(
            columns=columns, use_threads=False
        )
    except (OSError, pa.ArrowException) as error:
        raise InputError(str(path), "is damaged, or no Parquet file") from error
