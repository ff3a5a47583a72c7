"""Small jobs whose subjects walk, as files in a folder, for tests to solve."""

import json
import math
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

FIRST, LAST = 1001, 1024


def walk(*, speed: float = 5.0, bend: float = 40.0) -> dict[str, list[float]]:
    """Return samples of a bent walk along +X of a Z-up scene in centimetres.

    Args:
        speed: along X [cm a frame].
        bend: amplitude across [cm].
    """
    frames = list(range(FIRST - 30, LAST + 31))
    return {
        "frame": frames,
        "x": [100.0 + speed * (f - FIRST) for f in frames],
        "y": [400.0 + bend * math.sin(0.1 * (f - FIRST)) for f in frames],
        "z": [0.0 for _ in frames],
    }


def walking_shot(name: str, *, speed: float = 5.0, **fields: Any) -> dict[str, Any]:
    """Return the tables of a shot that tracks a walk, with fields replaced."""
    subject = {
        "name": "runner",
        "samples": walk(speed=speed),
        "at": "floor",
        "height_m": 1.7,
    }
    shot = {
        "name": name,
        "frames": [FIRST, LAST],
        "handles": 4,
        "subjects": [subject],
        "rig": {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150]},
        "lens_mm": 25,
    }
    return shot | fields


def walking_job(*shots: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return the tables of a job with these shots, or two, and fields replaced."""
    job = {
        "schema": "carrellata.job/1",
        "sequence": "chase",
        "rate": "24000/1001",
        "world": {"up": "z", "metres_per_unit": 0.01},
        "camera": {
            "film_back": "super35-4perf",
            "aspect": 2.39,
            "lens_kit_mm": [18, 25, 35, 50],
        },
        "crew": {"preset": "brisk"},
        "defaults": {"framing": {"size": "full"}, "shake": "settled"},
        "shots": list(shots) or [walking_shot("010"), walking_shot("020", speed=4.0)],
    }
    return job | fields


def many_shots(count: int) -> list[dict[str, Any]]:
    """Return shots named 000, 010, ... that all walk at their own speed."""
    return [walking_shot(f"{k:02d}0", speed=3.0 + 0.05 * k) for k in range(count)]


def faulty_shot(name: str) -> dict[str, Any]:
    """Return a shot whose file is not there."""
    subject = {"name": "ghost", "file": "no.csv", "at": "floor", "height_m": 1.7}
    return walking_shot(name, subjects=[subject])


def save_job(folder: Path, job: dict[str, Any]) -> Path:
    """Write a job file and return where it lies."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "job.json"
    path.write_text(json.dumps(job))
    return path


def save_walk(path: Path, *, speed: float = 5.0) -> None:
    """Write a walk as the table of a subject."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pq.write_table(pa.table(walk(speed=speed)), path)


def files_below(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, hidden ones too, by its relative name."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
