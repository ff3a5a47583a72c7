"""Whole jobs on disk: written, solved, and their takes read."""

import json
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow.parquet as pq
from numpy.typing import NDArray

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.metadata import TakeMetadata, take_metadata
from carrellata.jobs.takes.take_file import read_take

Columns = dict[str, NDArray[Any]]

CAMERA = {"film_back": "super35-4perf", "aspect": 2.39, "lens_kit_mm": [25, 50, 100]}


class SolvedShot(NamedTuple):
    """A shot's row, the columns of its take, and what the take says of itself."""

    status: str
    columns: Columns
    metadata: TakeMetadata


def metre_job(*shots: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return a job at 24 frames a second in metres, Y up, full size, brisk crew."""
    job = {
        "schema": "carrellata.job/1",
        "sequence": "seq",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": CAMERA,
        "crew": {"preset": "brisk"},
        "defaults": {"framing": {"size": "full"}, "lens_mm": 50},
        "shots": list(shots),
    }
    return job | fields


def write_job(folder: Path, job: dict[str, Any]) -> Path:
    """Write a job as JSON."""
    path = folder / "job.json"
    path.write_text(json.dumps(job), encoding="utf-8")
    return path


def solve_on_disk(folder: Path, job: dict[str, Any]) -> dict[str, SolvedShot]:
    """Write a job, solve it in this process, and read its takes from their files."""
    outcome = solve_job(write_job(folder, job), folder / "out", workers=1)
    solved = {}
    for row in outcome.rows:
        assert row.error is None, row.error
        table = read_take(outcome.folder / "takes" / f"{row.shot}.parquet")
        solved[row.shot] = SolvedShot(
            row.status, columns_of(table), take_metadata(table)
        )
    return solved


def columns_of(table: Any) -> Columns:
    """Return a table's columns as arrays, texts as objects."""
    return {name: np.asarray(table[name].to_pylist()) for name in table.column_names}


def rows_of(path: Path) -> dict[str, dict[str, Any]]:
    """Return the rows of a `sequence.parquet` by shot."""
    return {row["shot"]: row for row in pq.read_table(path).to_pylist()}
