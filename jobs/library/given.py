"""A job as a caller gives it: a path, or tables with samples held in memory."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from ..errors import Fault, JobError
from ..job.crew_files import read_crew_files
from ..job.held import HeldSamples
from ..job.intents import with_intents_file
from ..job.load import LoadedJob, read_tables
from ..job.locations import path_text, shown
from ..job.parse import parse_job
from ..subjects.columns import KNOWN

JobLike = str | os.PathLike[str] | Mapping[str, Any]
"""A job file's path, or the tables of a job: a dict, or a value of `JobTable`."""

_SAMPLES = "samples"
_KINDS = {"frame": pa.int64(), "visible": pa.bool_()}


def read_given(job: JobLike, folder: str | os.PathLike[str] | None = None) -> LoadedJob:
    """Read and check a job.

    Args:
        job: a path, or the tables of a job.
        folder: where files that tables name are found; None for the working folder,
            or where the job file lies.

    Raises:
        InputError: a file cannot be read.
        JobError: the job is refused; it has every fault.
    """
    tables, found = tables_given(job)
    place = found if folder is None else Path(folder)
    whole = with_intents_file(tables, place)
    return LoadedJob(
        job=parse_job(whole, read_crew_files(whole, place)),
        folder=place,
    )


def tables_given(job: JobLike) -> tuple[dict[str, Any], Path]:
    """Return the tables of a job, unchecked but for its samples, and its folder.

    Raises:
        InputError: the file cannot be read.
        JobError: its syntax is wrong, or samples are no table.
    """
    if isinstance(job, str | os.PathLike):
        path = Path(job)
        return read_tables(path), path.parent
    faults: list[Fault] = []
    tables = _held(job, (), faults)
    if not isinstance(tables, dict):
        message = f"a job must be a path or a table, got {shown(job)}"
        faults.append(Fault(path="", message=message))
    if faults:
        raise JobError(tuple(faults))
    return tables, Path()


def _held(value: Any, place: tuple[str | int, ...], faults: list[Fault]) -> Any:
    """Return tables with every table of samples in memory taken as it is."""
    if isinstance(value, Mapping):
        return {
            name: _samples(one, (*place, name), faults)
            if name == _SAMPLES
            else _held(one, (*place, name), faults)
            for name, one in value.items()
        }
    if isinstance(value, list | tuple):
        return [_held(one, (*place, k), faults) for k, one in enumerate(value)]
    if isinstance(value, np.generic):
        return value.item()
    return value.tolist() if isinstance(value, np.ndarray) else value


def _samples(value: Any, place: tuple[str | int, ...], faults: list[Fault]) -> Any:
    if isinstance(value, Mapping) and not any(map(_is_array, value.values())):
        return value  # lists, which the schema checks
    try:
        return HeldSamples.of(table_of(value))
    except (TypeError, ValueError, pa.ArrowException) as error:
        reason = str(error).splitlines()[0][:200]
        faults.append(Fault(path=path_text("", place), message=reason))
        return value


def _is_array(value: Any) -> bool:
    return isinstance(value, np.ndarray | pa.Array | pa.ChunkedArray)


def table_of(value: Any) -> pa.Table:
    """Return samples as an Arrow table of the known columns, copied where they must be.

    Columns of 64-bit numbers in one piece are used where they are.

    Args:
        value: an Arrow table or batch, a data frame, or columns by name, each a
            one-dimensional array or a list.

    Raises:
        TypeError: it is no table.
        ValueError: columns differ in length, have more than one dimension, hold
            empty cells, or the clock is not one of frame and time_s.
    """
    table = _arrow(value)
    names = [name for name in KNOWN if name in table.schema.names]
    if ("frame" in names) == ("time_s" in names):
        message = "needs either frame or time_s"
        raise ValueError(message)
    arrays = []
    for name in names:
        column = table[name]
        if column.null_count:
            message = f"column {name} has {column.null_count} empty cells"
            raise ValueError(message)
        kind = _KINDS.get(name, pa.float64())
        arrays.append(column if column.type == kind else column.cast(kind))
    return pa.table(arrays, names=names)


def _arrow(value: Any) -> pa.Table:
    if isinstance(value, pa.Table):
        return value
    if isinstance(value, pa.RecordBatch):
        return pa.Table.from_batches([value])
    if isinstance(value, Mapping):
        return pa.table({name: _column(name, one) for name, one in value.items()})
    if hasattr(value, "__arrow_c_stream__"):
        return pa.table(value)
    if hasattr(value, "columns") and hasattr(value, "__getitem__"):
        return _arrow({name: np.asarray(value[name]) for name in value.columns})
    message = f"must be a table of samples, got {type(value).__name__}"
    raise TypeError(message)


def _column(name: str, value: Any) -> pa.Array | pa.ChunkedArray:
    if isinstance(value, pa.Array | pa.ChunkedArray):
        return value
    array = np.asarray(value)
    if array.ndim != 1:
        message = f"column {name} must have one dimension, got shape {array.shape}"
        raise ValueError(message)
    return pa.array(array)


def samples(
    points: Any,
    *,
    first_frame: int,
    facing_deg: Any = None,
    visible: Any = None,
) -> dict[str, Any]:
    """Return points as the samples of a subject, one a frame.

    Args:
        points: where the subject's `at` is, (n, 3), in scene axes and units.
        first_frame: frame of the first point.
        facing_deg: (n,), 0 along -Z (Y up) or +Y (Z up), counter-clockwise from above.
        visible: (n,), whether the subject is to be seen.

    Raises:
        ValueError: the points are not (n, 3).
    """
    array = np.asarray(points, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 3:
        message = f"points must be (n, 3), got shape {array.shape}"
        raise ValueError(message)
    columns: dict[str, Any] = {
        "frame": np.arange(first_frame, first_frame + len(array), dtype=np.int64),
        **{name: array[:, c] for c, name in enumerate("xyz")},
    }
    if facing_deg is not None:
        columns["facing_deg"] = np.asarray(facing_deg, dtype=np.float64)
    if visible is not None:
        columns["visible"] = np.asarray(visible, dtype=np.bool_)
    return columns


def plain_tables(job: JobLike) -> dict[str, Any]:
    """Return a job's tables with all samples as lists, as JSON carries them.

    Args:
        job: path of a job file, or its tables.

    Raises:
        InputError: the file cannot be read.
        JobError: its syntax is wrong, or samples are no table.
    """
    plain: dict[str, Any] = _as_lists(tables_given(job)[0])
    return plain


def _as_lists(value: Any) -> Any:
    if isinstance(value, HeldSamples):
        return value.columns
    if isinstance(value, Mapping):
        return {name: _as_lists(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_as_lists(one) for one in value]
    return value
