"""Subjects for tests: tables written to disk, and references that name them."""

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.ipc
import pyarrow.parquet as pq
import pytest

from carrellata.jobs.job.subject import SubjectSpec
from carrellata.jobs.subjects import SubjectError, SubjectTrack, read_subject
from carrellata.jobs.subjects.request import SubjectRequest

RATE = Fraction(24000, 1001)
HEIGHT_M = 1.72


def walk(first_frame: int = 1001, last_frame: int = 1110) -> dict[str, Any]:
    """Columns of a curved walk at about 1.4 m/s, a row a frame."""
    frames = np.arange(first_frame, last_frame + 1)
    seconds = (frames - first_frame) / 24.0
    return {
        "frame": frames,
        "x": 1.4 * seconds,
        "y": 0.1 * np.sin(seconds),
        "z": np.cos(0.7 * seconds),
    }


def write(path: Path, columns: Mapping[str, Any]) -> Path:
    """Write a table in the format that the suffix names."""
    table = pa.table(dict(columns))
    if path.suffix == ".parquet":
        pq.write_table(table, path, compression="zstd")
    elif path.suffix == ".csv":
        pa.csv.write_csv(table, path)
    else:
        with pa.ipc.new_file(path, table.schema) as writer:
            writer.write_table(table)
    return path


def reference(**fields: Any) -> SubjectSpec:
    """A courier of 1.72 m whose samples are on the floor, unless told otherwise."""
    return SubjectSpec(
        **{"name": "courier", "at": "floor", "height_m": HEIGHT_M} | fields
    )


def read(spec: SubjectSpec, folder: Path, **fields: Any) -> SubjectTrack:
    """Read for frames 1001 to 1110 of a Y-up scene in metres."""
    asked: dict[str, Any] = {
        "rate": RATE,
        "first_frame": 1001,
        "last_frame": 1110,
        "up": "y",
        "metres_per_unit": 1.0,
        "path": "shots[2].subjects[0]",
    }
    return read_subject(spec, SubjectRequest(folder=folder, **(asked | fields)))


def read_columns(
    folder: Path, columns: Mapping[str, Any], spec: Mapping[str, Any], **fields: Any
) -> SubjectTrack:
    """Write a Parquet file named x.parquet and read it."""
    write(folder / "x.parquet", columns)
    return read(reference(file="x.parquet", **spec), folder, **fields)


def faults(spec: SubjectSpec, folder: Path, **fields: Any) -> list[str]:
    """Lines of the faults that reading ends in."""
    with pytest.raises(SubjectError) as caught:
        read(spec, folder, **fields)
    assert str(caught.value).splitlines() == [str(f) for f in caught.value.faults]
    return [str(fault) for fault in caught.value.faults]


def faults_of(
    folder: Path, columns: Mapping[str, Any], name: str = "x.parquet", **fields: Any
) -> list[str]:
    """Faults of a table that is written first."""
    write(folder / name, columns)
    return faults(reference(file=name), folder, **fields)
