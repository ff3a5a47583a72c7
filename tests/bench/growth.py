"""How time and memory grow, with the frames of a shot and with the shots of a job.

Every point is solved from file to file by one worker in a process of its own.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from .clock import exponent
from .figures import Figure, Sizes
from .sequences import (
    FIRST,
    HANDLES,
    RATE,
    job_of,
    save,
    save_subject,
    subject_entry,
    tracked,
)

PROGRAM = """
import json, resource, sys, time
from pathlib import Path
from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.solve_shot import Work, solve_shot
from carrellata.jobs.takes.store import Store
from carrellata.jobs.run.warm import warm_up

def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024

warm_up()
path = Path(sys.argv[1])
job = load_job(path)
work = Work(job=job, folder=path.parent, store=Store(folder=path.parent / "out"))
before = peak()
start = time.process_time()
for spec in job.shots:
    row = solve_shot(work, spec)
    assert row.status == "solved", row
taken = time.process_time() - start
print(json.dumps({"s": taken, "bytes": peak() - before, "peak": peak()}))
"""


def solved(job: Path) -> dict[str, Any]:
    """Return processor time and memory of a job solved by one worker."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(job)], stdout=subprocess.PIPE, check=True
    )
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return told


def wandering(folder: Path, n_frames: int) -> Path:
    """Write a job of one shot: somebody who wanders about before the camera."""
    folder.mkdir()
    n = n_frames + 2 * HANDLES
    t = np.arange(n) / RATE
    floor = np.column_stack(
        [4 * np.sin(0.31 * t) + np.sin(0.9 * t), 0 * t, 2 * np.sin(0.23 * t)]
    )
    save_subject(folder / "one.parquet", floor, FIRST - HANDLES)
    rig = {"kind": "track", "from": [-6, 1.5, 9], "to": [6, 1.5, 9]}
    shot = {
        "name": "one",
        "frames": [FIRST, FIRST + n_frames - 1],
        "handles": HANDLES,
        "subjects": [subject_entry("one.parquet")],
        "rig": {**rig, "hold": "abreast"},
        "lens_mm": 35,
        "shake": "shoulder",
    }
    return save(folder, job_of([shot]))


def run(sizes: Sizes) -> list[Figure]:
    """Time shots of many lengths, and jobs of many shots."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lengths = [solved(wandering(folder / f"{n}", n)) for n in sizes.frames]
        counts = []
        for n in sizes.counts:
            (folder / f"jobs{n}").mkdir()
            counts.append(solved(tracked(folder / f"jobs{n}", n)))
    # A single short shot is all overhead; growth is that of the last two decades.
    last = slice(-3, None)
    by_frames = exponent(list(sizes.frames[last]), [one["s"] for one in lengths[last]])
    by_shots = exponent(list(sizes.counts[last]), [one["s"] for one in counts[last]])
    a_frame = (lengths[-1]["peak"] - lengths[0]["peak"]) / sizes.frames[-1]
    more = counts[-1]["peak"] - counts[0]["peak"]
    return [
        Figure(
            name="growth_in_frames",
            value=by_frames,
            unit="",
            target=1.05,
            note=_told(sizes.frames[last], lengths[last]),
        ),
        Figure(
            name="growth_in_shots",
            value=by_shots,
            unit="",
            target=1.05,
            note=_told(sizes.counts[last], counts[last]),
        ),
        Figure(name="memory_a_frame_kb", value=a_frame / 1024, unit="kB", target=1.0),
        Figure(
            name="memory_more_for_all_shots_mb",
            value=more / 2**20,
            unit="MB",
            note=f"{sizes.counts[-1]} shots over {sizes.counts[0]}, one worker",
        ),
    ]


def _told(sizes: tuple[int, ...], runs: list[dict[str, Any]]) -> str:
    pairs = zip(sizes, runs, strict=True)
    return ", ".join(f"{size}: {one['s']:.2g} s" for size, one in pairs)
