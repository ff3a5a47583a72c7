"""A sound job in centimetres, Z up, for tests to spoil, and how it is given in."""

import copy
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from job_tables import a_shot

from carrellata.worker.cli import main

GOOD = "good.parquet"
FIRST, LAST = 1001, 1120


def walk(first: int = FIRST, last: int = LAST) -> dict[str, Any]:
    """A walk along X at 1.4 m/s, in centimetres, Z up, a row a frame."""
    frames = np.arange(first, last + 1)
    x = 140.0 * (frames - FIRST) / 24.0
    return {"frame": frames, "x": x, "y": 0.0 * x, "z": 0.0 * x}


def write_table(path: Path, columns: dict[str, Any]) -> None:
    pq.write_table(pa.table(columns), path)


def good_shot(**fields: Any) -> dict[str, Any]:
    subject = {"name": "courier", "file": GOOD, "at": "floor", "height_m": 1.72}
    rig = {"kind": "track", "from": [0, -700, 150], "to": [500, -700, 150]}
    rig["hold"] = "abreast"
    return a_shot(subjects=[subject], rig=rig, lens_mm=35) | fields


def subject_of(**fields: Any) -> dict[str, Any]:
    """A shot whose only subject has these fields."""
    shot = good_shot()
    shot["subjects"] = [shot["subjects"][0] | fields]
    return shot


def without(shot: dict[str, Any], name: str) -> dict[str, Any]:
    shot = copy.deepcopy(shot)
    del shot["subjects"][0][name]
    return shot


def on_sticks(*at: float, **fields: Any) -> dict[str, Any]:
    return good_shot(rig={"kind": "sticks", "at": list(at)}, **fields)


def files_below(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def solve(folder: Path, job: Path, *words: str) -> int:
    return main(
        ["solve", str(job), "-o", str(folder / "out"), "--workers", "1", *words]
    )


def assert_lines(text: str, *parts: str) -> None:
    """One line, no traceback, with a path and every part."""
    lines = text.strip().splitlines()
    assert len(lines) == 1, text
    for part in parts:
        assert part in lines[0], text
    assert len(lines[0]) < 300
