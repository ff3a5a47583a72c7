"""A job of one action of two people and three cameras, for tests of coverage."""

import json
from pathlib import Path
from typing import Any

import numpy as np
from command_line import run
from covered import RATE, pair

from carrellata.solver.action.subject import Subject

SECONDS = 8.0
FIRST = 1001
LAST = FIRST + round(SECONDS * RATE) - 1

HEADER: dict[str, Any] = {
    "schema": "carrellata.job/1",
    "sequence": "talk",
    "rate": "24",
    "world": {"up": "y", "metres_per_unit": 1},
    "camera": {
        "film_back": "super35-4perf",
        "aspect": 2.39,
        "lens_kit_mm": [25, 35, 50, 75, 100],
    },
    "defaults": {"framing": {"size": "medium"}},
}
PEOPLE = [
    {"name": "ann", "file": "ann.csv", "at": "floor", "height_m": 1.7},
    {"name": "ben", "file": "ben.csv", "at": "floor", "height_m": 1.85},
]
FIXED = [
    {"name": "master", "on": [1, 2], "size": "full", "lens_mm": 35, "at": [-1, 1.6, 8]},
    {"name": "ann", "on": "ann", "size": "chest", "lens_mm": 75, "at": [1.6, 1.6, 5.5]},
    {"name": "ben", "on": "ben", "size": "chest", "lens_mm": 75, "at": [-3, 1.6, 5.5]},
]


def cameras() -> list[dict[str, Any]]:
    """Return three cameras on sticks."""
    return [
        {
            **{name: value for name, value in one.items() if name != "at"},
            "rig": {"kind": "sticks", "at": one["at"]},
        }
        for one in FIXED
    ]


def action(**fields: Any) -> dict[str, Any]:
    """Return an action of the two."""
    own = {
        "name": "talk",
        "scene": "quay",
        "frames": [FIRST, LAST],
        "subjects": PEOPLE,
        "cameras": cameras(),
    }
    return own | fields


def write(
    folder: Path, *, people: tuple[Subject, ...] | None = None, **fields: Any
) -> Path:
    """Write a job with fields of the file, and the subjects beside it.

    Args:
        folder: where; made where it is not there.
        people: ann and ben; None: as they move in `SECONDS`.
        fields: of the file, such as its actions.
    """
    folder.mkdir(exist_ok=True, parents=True)
    for one in people or pair(SECONDS, first=FIRST):
        rows = [
            f"{FIRST + k},{x!r},{y!r},{z!r},{turn!r}"
            for k, ((x, y, z), turn) in enumerate(
                zip(
                    one.floor.tolist(),
                    np.degrees(one.facing_rad).round(6).tolist(),
                    strict=True,
                )
            )
        ]
        text = "\n".join(["frame,x,y,z,facing_deg", *rows])
        (folder / f"{one.name}.csv").write_text(text, encoding="utf-8")
    job = folder / "job.json"
    job.write_text(json.dumps({**HEADER, **fields}), encoding="utf-8")
    return job


def solve(job: Path, out: Path, *options: str) -> dict[str, Any]:
    done = run("solve", str(job), "-o", str(out), "--json", "--workers", "1", *options)
    assert done.code in (0, 5), done.err
    found: dict[str, Any] = json.loads(done.out)
    return found


def cut_of(out: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((out / "talk/actions/talk.json").read_text())
    return found


def take_bytes(out: Path) -> dict[str, bytes]:
    return {one.name: one.read_bytes() for one in (out / "talk/takes").iterdir()}


def lens_and_post(take: dict[str, Any], k: int) -> np.ndarray:
    """Return points of a camera's post at a sample, Y up, from the ground up."""
    x, y, z = take["cam_x"][k], take["cam_y"][k], take["cam_z"][k]
    return np.array([[x, h, z] for h in (*np.linspace(0.0, y, 20), y)])


def in_frame(take: dict[str, Any], k: int, points: np.ndarray) -> np.ndarray:
    """Whether points are in a frame, by the written quaternion and focal length."""
    x, y, z, w = (take[name][k] for name in ("qx", "qy", "qz", "qw"))
    axes = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y + z * w), 2 * (x * z - y * w)],
            [2 * (x * y - z * w), 1 - 2 * (x * x + z * z), 2 * (y * z + x * w)],
            [2 * (x * z + y * w), 2 * (y * z - x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    lens = np.array([take[name][k] for name in ("cam_x", "cam_y", "cam_z")])
    right, up, back = axes @ (points - lens).T
    half = 24.89 / 2 / take["focal_mm"][k]
    ahead = back < 0
    depth = np.where(ahead, -back, 1.0)
    inside: np.ndarray = (
        ahead & (np.abs(right / depth) <= half) & (np.abs(up / depth) <= half / 2.39)
    )
    return inside
