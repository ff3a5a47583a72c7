"""Make the subjects' tables of the sequence from its action.

    python -m carrellata.jobs.examples.ferry_dash.make

reads which frames of whom the shots of `job.toml` and the action of `cover.toml` ask
for, handles included, and writes `subjects/SHOT_NAME.parquet` beside them: frames of a
scene are frames of one run of action, so that neighbouring shots agree where their
handles overlap. Nothing is random; the same source gives the same tables. Centimetres,
Z up.

The courier is sampled at the floor with her head beside it, the guard at the hips.
"""

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ....solver.action.body import EYES, LANDMARKS
from ....solver.arrays import FloatArray, IntArray
from .action import HIDDEN, ON_TWOS, SCENES
from .motion import Motion, move

FOLDER = Path(__file__).parent
_CM = 100.0
_BEFORE_S = 0.45  # of action before the first cut frame of a scene


def tables() -> dict[str, pa.Table]:
    """Return the tables of the subjects, by file name relative to the job file."""
    made = {}
    for name, kind in (("job.toml", "shots"), ("cover.toml", "actions")):
        job = tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))
        rate, handles = Fraction(job["rate"]), job["defaults"]["handles"]
        for shot in job[kind]:
            first, last = shot["frames"]
            frames = np.arange(first - handles, last + handles + 1)
            for subject in shot["subjects"]:
                made[subject["file"]] = _table(shot, subject["name"], frames, rate)
    return made


def write(folder: Path) -> None:
    """Write the tables below a folder."""
    for name, table in tables().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        pq.write_table(table, path, compression="zstd")


def _table(
    shot: dict[str, Any], name: str, frames: IntArray, rate: Fraction
) -> pa.Table:
    scene = SCENES[shot["scene"]]
    person = scene.people[name]
    # The gait's phase counts from the start of the scene, whatever the shot.
    start = scene.first_frame - int(_BEFORE_S * rate)
    run = np.arange(start, int(frames[-1]) + 25)
    motion = move(person, (run - scene.first_frame) / float(rate))
    rows = frames - start
    key = (shot["name"], name)
    if key in ON_TWOS:
        rows = rows - (frames - frames[0]) % 2
    place, head = _points(name, person.height_m, motion)
    columns: dict[str, pa.Array] = {"frame": pa.array(frames, pa.int32())}
    groups = [("", place)] if head is None else [("", place), ("head_", head)]
    for prefix, points in groups:
        for axis, values in zip("xyz", points[rows].T, strict=True):
            columns[prefix + axis] = pa.array(_rounded(values * _CM, 3))
    columns["facing_deg"] = pa.array(_rounded(motion.facing_deg[rows], 2))
    if key in HIDDEN:
        start, end = HIDDEN[key]
        columns["visible"] = pa.array((frames < start) | (frames > end))
    return pa.table(columns)


def _rounded(values: FloatArray, digits: int) -> FloatArray:
    """Return values rounded alike on every machine.

    The last bits of a sine differ between machines, and half a digit would then go
    either way. Rounded to more digits first, the half is one and the same number.
    """
    return np.round(np.round(values, digits + 4), digits)


def _points(
    name: str, height_m: float, motion: Motion
) -> tuple[FloatArray, FloatArray | None]:
    """Return the sampled point and the head, (n, 3) [m], the head where it is given."""
    up = np.array([0.0, 0.0, height_m])
    if name == "courier":
        return motion.floor, motion.floor + EYES * up + motion.bob
    return motion.floor + LANDMARKS["hips"] * up + motion.bob, None


if __name__ == "__main__":
    write(FOLDER)
