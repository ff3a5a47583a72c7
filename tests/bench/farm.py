"""What the queue costs: shots on a real farm over the same shots here, and no-ops."""

import shutil
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from carrellata.jobs.run.local import solve_job

from .figures import Figure, Sizes
from .sequences import tracked

ROUNDS = 3


def run(sizes: Sizes) -> list[Figure]:
    """Time a batch on a farm of one worker process beside the same job solved here."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "faults"))
    from farms import TestFarm, until

    from carrellata.worker.farm.app import BATCH, send_canary

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        farm = TestFarm(folder)
        try:
            farm.sound_worker(processes=1)
            (folder / "in").mkdir()
            job = tracked(folder / "in", sizes.queued)
            app = farm.farm().app
            solve_job(job, folder / "here", workers=1)
            farm.end(farm.submit(job, "warm").batch)
            here, there, nothing = [], [], []
            for k in range(ROUNDS):
                shutil.rmtree(folder / "here")
                start = time.perf_counter()
                solve_job(job, folder / "here", workers=1)
                here.append((time.perf_counter() - start) / sizes.queued)
                start = time.perf_counter()
                farm.end(farm.submit(job, f"out{k}").batch)
                there.append((time.perf_counter() - start) / sizes.queued)
                start = time.perf_counter()
                for _ in range(sizes.queued):
                    send_canary(app, BATCH, time.time())
                until(farm.is_empty)
                nothing.append((time.perf_counter() - start) / sizes.queued)
        finally:
            farm.stop()
    pairs = list(zip(here, there, strict=True))
    over = median(b - a for a, b in pairs)
    return [
        Figure(
            name="farm_shot_ms",
            value=median(there) * 1e3,
            unit="ms",
            note=f"{sizes.queued} shots, one worker process, a real server, the review",
        ),
        Figure(
            name="farm_no_op_task_ms",
            value=median(nothing) * 1e3,
            unit="ms",
            note="a message that asks for nothing, through the same queue",
        ),
        Figure(name="farm_overhead_ms", value=over * 1e3, unit="ms"),
        Figure(
            name="farm_over_here",
            value=median(b / a for a, b in pairs),
            unit="x",
            target=1.2 if sizes.name == "full" else None,
            note="the same job solved by one process without a queue",
        ),
    ]
