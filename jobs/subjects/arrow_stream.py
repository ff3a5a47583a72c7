"""Arrow files and streams: how much they unpack to, before they are unpacked.

An Arrow file is the stream between a leading and a trailing part, so both are read
as streams. Only the metadata of each message is looked at here: a flatbuffer whose
tables point to fields through a list of offsets. Field numbers are those of the
format's Message.fbs: Message {0 version, 1 kind, 2 header, 3 body length},
RecordBatch {0 rows, 1 nodes, 2 buffers, 3 compression}, DictionaryBatch {0 id,
1 RecordBatch}. A compressed buffer starts with its unpacked length, int64, or -1
where it is stored as it is.
"""

import struct
from typing import NamedTuple

import pyarrow as pa
import pyarrow.ipc

MAGIC = b"ARROW1\x00\x00"


class StreamSize(NamedTuple):
    """Rows of all record batches, and bytes of all buffers once unpacked."""

    n_rows: int
    n_bytes: int


def open_stream(data: bytes) -> pa.RecordBatchStreamReader:
    """Open the record batches of an Arrow file or stream."""
    return pa.ipc.open_stream(_stream(data))


def measure(data: bytes) -> StreamSize:
    """Return what an Arrow file or stream unpacks to.

    Raises:
        ValueError: the metadata of a message is cut short.
        pa.ArrowInvalid: the bytes are not Arrow messages.
    """
    n_rows = n_bytes = 0
    reader = pa.ipc.MessageReader.open_stream(_stream(data))
    for message in reader:
        if message.type not in ("record batch", "dictionary"):
            continue
        try:
            batch = _batch_of(message)
        except struct.error as error:
            reason = "a message is cut short"
            raise ValueError(reason) from error
        n_rows += batch.n_rows
        n_bytes += batch.n_bytes
    return StreamSize(n_rows, n_bytes)


def _stream(data: bytes) -> pa.BufferReader:
    whole = pa.py_buffer(data)
    return pa.BufferReader(whole[len(MAGIC) :] if data.startswith(MAGIC) else whole)


def _batch_of(message: pa.ipc.Message) -> StreamSize:
    """Size of the record batch in a message."""
    meta, body = memoryview(message.metadata), memoryview(message.body)
    batch = _follow(meta, _field(meta, _follow(meta, 0), 2))
    if message.type == "dictionary":
        batch = _follow(meta, _field(meta, batch, 1))
    rows_at, buffers_at = _field(meta, batch, 0), _field(meta, batch, 2)
    n_rows = struct.unpack_from("<q", meta, rows_at)[0] if rows_at else 0
    if not buffers_at:
        return StreamSize(n_rows, 0)
    vector = _follow(meta, buffers_at)
    (count,) = struct.unpack_from("<I", meta, vector)
    spans = [struct.unpack_from("<qq", meta, vector + 4 + 16 * k) for k in range(count)]
    if not _field(meta, batch, 3):
        return StreamSize(n_rows, sum(length for _, length in spans))
    lengths = [
        max(length, struct.unpack_from("<q", body, start)[0])
        for start, length in spans
        if length
    ]
    return StreamSize(n_rows, sum(lengths))


def _follow(meta: memoryview, place: int) -> int:
    """Where the offset at a place points to."""
    return int(place + struct.unpack_from("<I", meta, place)[0])


def _field(meta: memoryview, table: int, number: int) -> int:
    """Where a field of a table is, 0 if it is left at its default."""
    offsets = table - struct.unpack_from("<i", meta, table)[0]
    (size,) = struct.unpack_from("<H", meta, offsets)
    if 4 + 2 * number >= size:
        return 0
    (offset,) = struct.unpack_from("<H", meta, offsets + 4 + 2 * number)
    return table + offset if offset else 0
