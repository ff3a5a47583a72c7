"""Our own Parquet files, read back whole or refused."""

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ..errors import InputError
from .object_errors import StoreError
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
    try:
        source: Any = path
        if isinstance(path, ObjectPath):
            source = pa.BufferReader(path.read_bytes())
        with pq.ParquetFile(source, page_checksum_verification=True) as file:
            return file.read(columns=columns, use_threads=False)
    except StoreError:
        raise
    except (FileNotFoundError, IsADirectoryError) as error:
        raise InputError(str(path), "no such file") from error
    except (OSError, pa.ArrowException) as error:
        raise InputError(str(path), "is damaged, or no Parquet file") from error
