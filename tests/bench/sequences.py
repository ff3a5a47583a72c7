"""Jobs of any size whose people really moved: cut from recordings, files of their own.

Recorded people (football, motion capture) are put on level ground at 24 frames a second
and cut into shots; each shot reads its own file, as blocking does.
"""

import json
from pathlib import Path
from typing import Any

import five_seconds
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
RATE = 24
HANDLES = 8
FIRST = 1001
SCENE = 10  # shots
SIZES = ("full", "full", "knee", "cowboy", "medium", "chest")
KIT_MM = [18, 25, 35, 50, 75, 100]


def floors(n_samples: int) -> list[FloatArray]:
    """Return recorded people, each (n_samples, 3); the short ones stand at the end."""
    found = []
    for piece in five_seconds.pieces():
        seconds = np.arange(len(piece.floor)) / piece.rate_hz
        times = np.minimum(np.arange(n_samples) / RATE, seconds[-1])
        axes = [np.interp(times, seconds, axis) for axis in piece.floor.T]
        points = np.column_stack(axes)
        found.append(points - points.mean(axis=0))
    return found


def save_subject(path: Path, floor: FloatArray, first: int) -> None:
    """Write a table of a subject, a row a frame."""
    frame = pa.array(np.arange(first, first + len(floor)), pa.int32())
    pq.write_table(
        pa.table({"frame": frame, **dict(zip("xyz", floor.T, strict=True))}), path
    )


def subject_entry(file: str, name: str = "runner") -> dict[str, Any]:
    """Return the entry of a subject in a job."""
    return {"name": name, "file": file, "at": "floor", "height_m": 1.75}


def job_of(shots: list[dict[str, Any]], **defaults: Any) -> dict[str, Any]:
    """Return the tables of a job."""
    return {
        "schema": "carrellata.job/1",
        "sequence": "bench",
        "rate": str(RATE),
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": {
            "film_back": "super35-4perf",
            "aspect": 2.39,
            "lens_kit_mm": KIT_MM,
        },
        "defaults": {"framing": {"size": "full"}, **defaults},
        "shots": shots,
    }


def save(folder: Path, tables: dict[str, Any]) -> Path:
    """Write a job file and return where it lies."""
    path = folder / "job.json"
    path.write_text(json.dumps(tables))
    return path


def tracked(folder: Path, n_shots: int, n_frames: int = 120) -> Path:
    """Write a job of shots whose setup is given: a track beside a recorded person."""
    people = floors(n_frames + 2 * HANDLES)
    shots = []
    for k in range(n_shots):
        name, floor = f"{k:05d}", people[k % len(people)]
        save_subject(folder / f"{name}.parquet", floor, FIRST - HANDLES)
        reach = float(np.abs(floor[:, 0]).max()) + 1.0
        beside = float(floor[:, 2].max()) + 9.0
        rig = {"kind": "track", "from": [-reach, 1.5, beside]}
        shots.append(
            {
                "name": name,
                "frames": [FIRST, FIRST + n_frames - 1],
                "handles": HANDLES,
                "subjects": [subject_entry(f"{name}.parquet")],
                "rig": {**rig, "to": [reach, 1.5, beside], "hold": "abreast"},
                "lens_mm": 50,
                "shake": "shoulder",
            }
        )
    return save(folder, job_of(shots))


def feature(folder: Path, n_shots: int, n_frames: int) -> Path:
    """Write a job of shots whose setup is left open, a scene every ten shots.

    Every third shot has a second person in it, who has to be held.
    """
    random = np.random.default_rng(7)
    longest = 2 * n_frames // n_shots
    people = floors(longest + 2 * HANDLES)
    lengths = random.integers(24, longest - 24, n_shots, endpoint=True)
    lengths[-1] += n_frames - lengths.sum()
    # What the last one would be off by goes to all, so that the sum is kept.
    while not 24 <= lengths[-1] <= longest:
        k = int(random.integers(n_shots - 1))
        step = 1 if lengths[-1] > longest else -1
        if 24 <= lengths[k] + step <= longest:
            lengths[k] += step
            lengths[-1] -= step
    shots = []
    first = FIRST
    for k, length in enumerate(lengths.tolist()):
        name = f"{k:04d}"
        pick = int(random.integers(len(people)))
        floor = people[pick][: length + 2 * HANDLES]
        save_subject(folder / f"{name}.parquet", floor, first - HANDLES)
        subjects = [subject_entry(f"{name}.parquet")]
        if k % 3 == 2:
            near = floor + np.array([1.2, 0.0, 0.4])
            save_subject(folder / f"{name}_b.parquet", near, first - HANDLES)
            subjects.append(
                subject_entry(f"{name}_b.parquet", "partner") | {"share": 0.5}
            )
        shots.append(
            {
                "name": name,
                "scene": f"s{k // SCENE}",
                "cut": "continuous" if k % SCENE else "elapsed",
                "frames": [first, first + length - 1],
                "handles": HANDLES,
                "subjects": subjects,
                "framing": {"size": SIZES[k % len(SIZES)]},
                "shake": "settled",
            }
        )
        first += length
    opened = {"rig": {"kind": "choose"}, "lens_mm": "choose"}
    return save(folder, job_of(shots, **opened))
