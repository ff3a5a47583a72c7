"""A feature film: every setup open, chosen across cuts, written and reviewed.

Solved as the command does, in processes of their own; on two cores and on one, or on
those that `--cores` names.
"""

import hashlib
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

TARGETS_S = {2: 22.0, 16: 6.0}
PHASES = ("first", "judge", "choose", "take", "report")

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
    now = time.perf_counter()
    kind = "judge" if isinstance(what, Judgement) else "take"
    last.setdefault("first " + kind, now)
    last[kind] = now

done = solve_job(Path(sys.argv[1]), Path(sys.argv[2]), progress=progress)
end = time.perf_counter()
statuses = [row.status for row in done.rows]
print(json.dumps({
    "first": last["first judge"] - start,
    "judge": last["judge"] - start,
    "choose": last["first take"] - last["judge"],
    "take": last["take"] - last["first take"],
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
    """Time the feature by its phases, on the first number of cores and on the others.

    Raises:
        RuntimeError: the takes are not the same bytes on all of them.
    """
    most, *others = sizes.cores
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = feature(folder, sizes.feature_shots, sizes.feature_frames)
        found = {n: solved(job, folder / str(n), n) for n in sizes.cores}
        takes = {n: digest_of(folder / str(n)) for n in sizes.cores}
    if len(set(takes.values())) > 1:
        message = f"takes differ with the number of cores: {takes}"
        raise RuntimeError(message)
    first = found[most]
    told = ", ".join(f"{first[state]} {state}" for state in ("solved", "no_setup"))
    full = sizes.name == "full"
    figures = [
        Figure(
            name="feature_s",
            value=first["all"],
            unit="s",
            target=TARGETS_S.get(most) if full else None,
            note=f"{sizes.feature_shots} shots, {sizes.feature_frames} frames, "
            f"{most} cores; {told}, {first['failed']} failed; takes "
            f"{takes[most][:12]}",
        )
    ]
    figures += [
        Figure(
            name=f"feature_{phase}_s",
            value=first[phase],
            unit="s",
            target=1.0 if full and phase == "first" else None,
            note=", ".join(f"on {n} cores {found[n][phase]:.3g} s" for n in others),
        )
        for phase in PHASES
    ]
    figures += [
        Figure(
            name=f"feature_{most}_cores_over_{n}",
            value=found[n]["all"] / first["all"],
            unit="x",
            better="higher",
            target=1.9 if full and (most, n) == (2, 1) else None,
            note=f"{found[n]['all']:.3g} s; the same takes",
        )
        for n in others
    ]
    return figures


def digest_of(out: Path) -> str:
    """Return a digest of all takes that lie in a folder, by name."""
    digest = hashlib.sha256()
    for path in sorted(out.rglob("takes/**/*.parquet")):
        digest.update(path.relative_to(out).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()
