"""Study files on disk: a camera's table, its subject's, and the study itself."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
from studied import exactly_aimed, person, staged

from carrellata.solver.studies.camera import CameraMove

CAMERA = {"film_back": "super35-4perf", "aspect": 2.39, "lens_kit_mm": [25, 50]}


def subject_entry(folder: Path, clip: str, last: int) -> dict[str, Any]:
    """Write a clip on whole frames and return its entry."""
    one = person(clip)
    floor = one.at(np.arange(last + 1) / 24, 0.0)
    table = {"frame": np.arange(last + 1), **dict(zip("xyz", floor.T, strict=True))}
    pq.write_table(pa.table(table), folder / f"{clip}.parquet")
    return {
        "name": "runner",
        "file": f"{clip}.parquet",
        "at": "floor",
        "height_m": 1.75,
    }


def columns(camera: CameraMove) -> dict[str, Any]:
    """Return a camera as the columns of a plain table, a row a frame from 0."""
    return {
        "frame": np.arange(len(camera.times_s)),
        **{name: camera.place[:, k] for k, name in enumerate("xyz")},
        "pan_deg": np.degrees(camera.pan),
        "tilt_deg": np.degrees(camera.tilt),
        "focal_mm": np.array(camera.focal_mm),
    }


def exact_columns(clip: str = "referee_turns", seconds: float = 8.0) -> dict[str, Any]:
    """Return the columns of a camera on sticks that aims exactly."""
    times, place, angles = exactly_aimed(staged(person(clip), "sticks", seconds))
    return {
        "frame": np.arange(len(times)),
        **{name: place[:, k] for k, name in enumerate("xyz")},
        "pan_deg": np.degrees(angles[0]),
        "tilt_deg": np.degrees(angles[1]),
        "focal_mm": np.full(len(times), 50.0),
    }


def write_columns(path: Path, values: dict[str, Any]) -> None:
    """Write columns as CSV or Parquet, by the name."""
    table = pa.table(values)
    if path.suffix == ".csv":
        pyarrow.csv.write_csv(table, path)
    else:
        pq.write_table(table, path)


def write_study(folder: Path, *cameras: dict[str, Any], **fields: Any) -> Path:
    """Write a study as JSON, in metres, Y up, at 24 frames a second."""
    study = {
        "schema": "carrellata.study/1",
        "sequence": "seq",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": CAMERA,
        "cameras": list(cameras),
    }
    path = folder / "study.json"
    path.write_text(json.dumps(study | fields), encoding="utf-8")
    return path
