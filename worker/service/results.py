"""One take in the forms that a client may accept.

JSON holds the columns as lists, numbers to the last bit, null where a number is not
finite. Parquet is the file that `carrellata solve` writes, byte for byte. The Arrow
stream is not compressed.
"""

from collections.abc import Callable

import pyarrow as pa
from pydantic_core import to_json

from ...jobs.takes.metadata import METADATA_KEY, TAKE_SCHEMA
from ...jobs.takes.parquet_form import take_bytes

JSON = "application/json"
PARQUET = "application/vnd.apache.parquet"
ARROW = "application/vnd.apache.arrow.stream"
FORMS = (JSON, PARQUET, ARROW)

_MOST_RANGES = 64


def chosen_form(accept: str | None) -> str | None:
    """Return the form that an Accept header prefers, or None where none will do.

    Args:
        accept: the header's value; None and "" take anything, which gives JSON.
    """
    if not accept or not accept.strip():
        return JSON
    best: tuple[float, int] | None = None
    for place, form in enumerate(FORMS):
        quality = _quality(accept, form)
        if quality > 0 and (best is None or quality > best[0]):
            best = (quality, place)
    return None if best is None else FORMS[best[1]]


def _quality(accept: str, form: str) -> float:
    """Return how much a form is wanted, 0 to 1; the closest range decides."""
    kind = form.partition("/")[0]
    closeness = {"*/*": 1, f"{kind}/*": 2, form: 3}
    found = (0, 0.0)
    for entry in accept.split(",")[:_MOST_RANGES]:
        media, *parameters = (part.strip().lower() for part in entry.split(";"))
        near = closeness.get(media, 0)
        if near > found[0]:
            found = (near, _weight(parameters))
    return found[1]


def _weight(parameters: list[str]) -> float:
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                weight = float(value)
            except ValueError:
                return 0.0
            return weight if 0.0 <= weight <= 1.0 else 0.0
    return 1.0


def stream_bytes(table: pa.Table) -> bytes:
    """Return a take as an Arrow stream, one batch."""
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table.combine_chunks())
    data: bytes = sink.getvalue().to_pybytes()
    return data


def table_of_stream(data: bytes) -> pa.Table:
    """Return the take that `stream_bytes` packed."""
    return pa.ipc.open_stream(pa.py_buffer(data)).read_all()


def json_bytes(table: pa.Table) -> bytes:
    """Return a take as JSON: `rows`, `metadata`, and `columns`, a list each."""
    columns = {name: _values(table[name]) for name in table.column_names}
    # The metadata is JSON already.
    metadata: bytes = table.schema.metadata[METADATA_KEY]
    return b'{"schema":"%b","rows":%d,"metadata":%b,"columns":%b}' % (
        TAKE_SCHEMA.encode(),
        table.num_rows,
        metadata,
        to_json(columns, inf_nan_mode="null"),
    )


def rendered(table: pa.Table, form: str) -> bytes:
    """Return a take in one of `FORMS`."""
    return _RENDERERS[form](table)


def _values(column: pa.ChunkedArray) -> object:
    if pa.types.is_dictionary(column.type):
        return [value for chunk in column.chunks for value in _words(chunk)]
    if column.null_count:
        return column.to_pylist()
    return column.to_numpy().tolist()


def _words(chunk: pa.DictionaryArray) -> list[object]:
    """Return the values of a chunk; a word is made once and not once a row."""
    words = chunk.dictionary.to_pylist()
    return [None if k is None else words[k] for k in chunk.indices.to_pylist()]


_RENDERERS: dict[str, Callable[[pa.Table], bytes]] = {
    JSON: json_bytes,
    PARQUET: take_bytes,
    ARROW: stream_bytes,
}
