"""A take of 120 frames with all its layers and measures, setup given, no files."""

import tempfile
from pathlib import Path

from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.keys import Keys
from carrellata.solver.measures.measure import measure
from carrellata.solver.shot import Shot
from carrellata.solver.take import operate

from .clock import medians, paired
from .figures import Figure, Sizes
from .sequences import tracked

CALLS = 8  # calls a round


def shots(count: int) -> list[Shot]:
    """Return shots of 120 frames, as a job file gives them."""
    with tempfile.TemporaryDirectory() as name:
        path = tracked(Path(name), count)
        job = load_job(path)
        return [prepare(job, spec, path.parent).shot for spec in job.shots]


def run(sizes: Sizes) -> list[Figure]:
    """Time operating, measuring, and the table that is written of it."""
    with tempfile.TemporaryDirectory() as name:
        path = tracked(Path(name), CALLS)
        job = load_job(path)
        ready = [prepare(job, spec, path.parent) for spec in job.shots]
    keys = Keys(judge="0" * 64, take="0" * 64)

    def operated() -> None:
        for one in ready:
            operate(one.shot)

    def measured() -> None:
        for one in ready:
            measure(operate(one.shot))

    def table() -> None:
        for one in ready:
            solve_prepared(job, one, keys)

    runs = {"operate": operated, "measured": measured, "table": table}
    taken = medians(paired(runs, sizes.takes))
    ms = {name: s / CALLS * 1e3 for name, s in taken.items()}
    return [
        Figure(name="take_operate_ms", value=ms["operate"], unit="ms"),
        Figure(
            name="take_and_measures_ms",
            value=ms["measured"],
            unit="ms",
            target=1.0,
            note="120 frames and 16 of handles, shaken, no files",
        ),
        Figure(name="take_as_table_ms", value=ms["table"], unit="ms"),
    ]
