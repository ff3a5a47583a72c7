"""A feature film: every setup open, chosen across cuts, written and reviewed.

Solved as the command does, in processes of their own; on one core and on two.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from .figures import Figure, Sizes
from .sequences import feature

PROGRAM = """
import json, resource, sys, time
from pathlib import Path
from carrellata.jobs.takes.judgement import Judgement
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.run.warm import warm_up

warm_up(choosing=True)  # what a new machine compiles is timed by itself
start = time.perf_counter()
last = {}

def progress(what, n_steps):
    last["judge" if isinstance(what, Judgement) else "take"] = time.perf_counter()
    if "first" not in last and not isinstance(what, Judgement):
        last["first"] = time.perf_counter()

done = solve_job(Path(sys.argv[1]), Path(sys.argv[2]), progress=progress)
end = time.perf_counter()
statuses = [row.status for row in done.rows]
print(json.dumps({
    "judge": last["judge"] - start,
    "choose": last["first"] - last["judge"],
    "take": last["take"] - last["first"],
    "report": end - last["take"],
    "all": end - start,
    "solved": statuses.count("solved"),
    "no_setup": statuses.count("no_setup"),
    "failed": statuses.count("failed"),
}))
"""


def solved(job: Path, out: Path, n_cores: int) -> dict[str, Any]:
    """Solve a job as the command does, in a fresh process held to some cores."""
    shutil.rmtree(out, ignore_errors=True)
    cores = sorted(os.sched_getaffinity(0))[:n_cores]
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(job), str(out)],
        stdout=subprocess.PIPE,
        check=True,
        preexec_fn=lambda: os.sched_setaffinity(0, cores),
    )
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return told


def run(sizes: Sizes) -> list[Figure]:
    """Time the feature by its phases, on two cores and on one."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = feature(folder, sizes.feature_shots, sizes.feature_frames)
        two = solved(job, folder / "two", 2)
        one = solved(job, folder / "one", 1)
    phases = ("judge", "choose", "take", "report")
    told = ", ".join(f"{two[state]} {state}" for state in ("solved", "no_setup"))
    figures = [
        Figure(
            name="feature_s",
            value=two["all"],
            unit="s",
            target=30.0 if sizes.name == "full" else None,
            note=f"{sizes.feature_shots} shots, {sizes.feature_frames} frames, "
            f"two cores; {told}, {two['failed']} failed",
        )
    ]
    for phase in phases:
        figures.append(
            Figure(
                name=f"feature_{phase}_s",
                value=two[phase],
                unit="s",
                note=f"on one core {one[phase]:.3g} s",
            )
        )
    figures.append(
        Figure(
            name="feature_two_cores_over_one",
            value=one["all"] / two["all"],
            unit="x",
            better="higher",
            target=1.8 if sizes.name == "full" else None,
        )
    )
    return figures
