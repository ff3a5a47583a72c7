"""A take as the bytes of a Parquet file: zstd, one row group, same table same bytes."""

from typing import BinaryIO

import pyarrow as pa
import pyarrow.parquet as pq

from .table import ORDERED, TEXTS


def take_bytes(table: pa.Table) -> bytes:
    """Return the Parquet file of a take."""
    buffer = pa.BufferOutputStream()
    write_rows(table.combine_chunks().to_reader(), buffer)
    data: bytes = buffer.getvalue().to_pybytes()
    return data


def write_rows(take: pa.RecordBatchReader, sink: BinaryIO | pa.NativeFile) -> None:
    """Write the Parquet file of a take to an open file.

    Args:
        take: all of it as one batch, which is read.
        sink: gets the bytes.
    """
    with pq.ParquetWriter(
        sink,
        take.schema,
        compression="zstd",
        use_dictionary=TEXTS,
        write_page_checksum=True,
        write_statistics=ORDERED,
    ) as writer:
        for batch in take:
            table = pa.Table.from_batches([batch])
            writer.write_table(table, row_group_size=max(1, len(batch)))
            # Before the metadata is written, which takes several times its size.
            del batch, table
