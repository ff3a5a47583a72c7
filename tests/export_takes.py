"""Takes for tests of delivery: small shots of every kind of rig, solved in memory."""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from walks import FIRST, LAST, walk, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.curves import Curves, curves_of
from carrellata.jobs.takes.keys import keys_of

CAMERA = {
    "film_back": "anamorphic-4perf",
    "aspect": 2.39,
    "squeeze": 2.0,
    "overscan": 1.1,
    "lens_kit_mm": [25, 40],
}
WORLDS = {
    "centimetres_z_up": {"up": "z", "metres_per_unit": 0.01},
    "centimetres_y_up": {"up": "y", "metres_per_unit": 0.01},
    "metres_z_up": {"up": "z", "metres_per_unit": 1.0},
    "metres_y_up": {"up": "y", "metres_per_unit": 1.0},
}
RIGS: dict[str, dict[str, Any]] = {
    "track": {"kind": "track", "from": [0, 0, 150], "to": [500, 40, 190]},
    "arc": {
        "kind": "arc",
        "centre": [200, 400, 150],
        "radius": 420,
        "start_deg": 150,
        "sweep_deg": 70,
        "hold": "size",
    },
    "sticks": {"kind": "sticks", "at": [120, -40, 160]},
}


class Delivered(NamedTuple):
    """A take's table and its curves."""

    table: pa.Table
    curves: Curves

    def columns(self, *names: str) -> NDArray[np.float64]:
        """Columns of the table side by side, (n, len(names))."""
        return np.column_stack([self.table[name].to_numpy() for name in names])


def in_world(point: list[float], world: dict[str, Any]) -> list[float]:
    """Return a point of a Z-up scene in centimetres where another scene has it."""
    x, y, z = (0.01 / world["metres_per_unit"] * c for c in point)
    return [x, y, z] if world["up"] == "z" else [x, z, -y]


def delivered(
    *,
    world: str = "centimetres_z_up",
    rig: str = "track",
    rate: str = "24000/1001",
    camera: dict[str, Any] | None = None,
    **fields: Any,
) -> Delivered:
    """Solve one walking shot, whose motion is the same in every world."""
    scene = WORLDS[world]
    placed = {
        name: in_world(value, scene) if isinstance(value, list) else value
        for name, value in RIGS[rig].items()
    }
    if "radius" in placed:
        placed["radius"] *= 0.01 / scene["metres_per_unit"]
    samples = walk(bend=60.0)
    rows = zip(samples["x"], samples["y"], samples["z"], strict=True)
    points = [in_world(list(row), scene) for row in rows]
    x, y, z = (list(values) for values in zip(*points, strict=True))
    subject = {
        "name": "runner",
        "samples": {"frame": samples["frame"], "x": x, "y": y, "z": z},
        "at": "floor",
        "height_m": 1.7,
    }
    shot = walking_shot(
        "010", subjects=[subject], rig=placed, lens_mm=40, shake="shoulder"
    )
    job = parse_job(
        walking_job(shot | fields, world=scene, rate=rate, camera=camera or CAMERA)
    )
    prepared = prepare(job, job.shots[0], Path())
    keys = keys_of(job, prepared.spec, prepared.inputs)
    table = solve_prepared(job, prepared, keys)
    return Delivered(table, curves_of(table))


N_FRAMES = LAST - FIRST + 9
