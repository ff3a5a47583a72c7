"""One long action: its five open cameras, its cut, and three cameras chosen unseen.

The published figure for cameras that do not see one another is 1.17 ms on average, for
a team of three over ten seconds (Bucker et al. 2020, Do You See What I See?, abstract).
Its method is not run beside ours: what of the paper was read here, abstract and
introduction, does not say what is searched nor what it costs.
"""

import shutil
import tempfile
import time
from itertools import combinations
from pathlib import Path

import numpy as np
from covered import five_cameras, pair
from covered_job import FIRST, RATE, write

from carrellata.jobs.job.load import load_job
from carrellata.jobs.places.place import place_of
from carrellata.jobs.run.local import processes
from carrellata.jobs.run.phases import merge
from carrellata.jobs.run.run import run_phases
from carrellata.jobs.run.solve_shot import Work
from carrellata.jobs.run.warm import warm_up
from carrellata.jobs.takes.actions import read_action
from carrellata.jobs.takes.store import Store
from carrellata.solver.coverage.cut import CutAsk, choose_cut
from carrellata.solver.coverage.cutting import NEVER
from carrellata.solver.coverage.lengths import Lengths
from carrellata.solver.coverage.pictures import pictures_of
from carrellata.solver.coverage.together import choose_together

from .clock import medians, paired
from .figures import Figure, Sizes

SECONDS = 100.0
SETUPS = 24  # of a camera, as many as a judgement keeps


def covered(folder: Path) -> None:
    """Judge, choose, take and cut an action, as a solve does, without its pages."""
    shutil.rmtree(folder / "out", ignore_errors=True)
    job = load_job(folder / "job.json")
    store = Store(folder=place_of(str(folder / "out"), "out") / job.sequence)
    work = Work(job=job, folder=folder, store=store)
    with processes(work, job.shots, 1) as executor:
        rows = run_phases(work, tuple(range(len(job.shots))), executor)
        merge(work, rows)
    found = read_action(store.folder, "talk")
    assert found is not None
    assert found.pictures
    assert len(found.cameras) == len(job.shots)


def job_of(folder: Path) -> None:
    """Write the job of a long action that is covered as a dialogue."""
    last = FIRST + round(SECONDS * RATE) - 1
    action = {
        "name": "talk",
        "scene": "quay",
        "frames": [FIRST, last],
        "subjects": [
            {"name": "ann", "file": "ann.csv", "at": "floor", "height_m": 1.7},
            {"name": "ben", "file": "ben.csv", "at": "floor", "height_m": 1.85},
        ],
        "coverage": "dialogue",
    }
    write(folder, people=pair(SECONDS, first=FIRST), actions=[action])


def run(sizes: Sizes) -> list[Figure]:
    """Time an action with its cut, the cut alone, and the choice of three cameras."""
    warm_up(choosing=True)
    shown = [pictures_of(take, name) for name, take in five_cameras(SECONDS).items()]
    ask = CutAsk(lengths=Lengths(varied=0.9, seed=1))
    rng = np.random.default_rng(3)
    own = [rng.integers(0, 9_000_000, SETUPS) for _ in range(3)]
    clashes = {
        each: np.where(rng.random((SETUPS, SETUPS)) < 0.4, NEVER, 0)
        for each in combinations(range(3), 2)
    }
    quick = {
        "cut": lambda: choose_cut(shown, ask),
        "three": lambda: choose_together(own, clashes),
    }
    with tempfile.TemporaryDirectory() as name:
        job_of(Path(name))
        whole = paired(
            {"action": lambda: covered(Path(name))},
            min(sizes.repeats, 5),
            clock=time.process_time,
        )
    found = medians(whole) | medians(paired(quick, sizes.repeats))
    return [
        Figure(
            name="action_s",
            value=found["action"],
            unit="s",
            target=3.0,
            note=f"{SECONDS:g} s of two people, five open cameras and the cut; "
            "processor time of one core",
        ),
        Figure(
            name="action_cut_s",
            value=found["cut"],
            unit="s",
            target=0.3,
            note="of it the cut: tables, programme and what others would cost",
        ),
        Figure(
            name="action_three_unseen_ms",
            value=1e3 * found["three"],
            unit="ms",
            target=1.0,
            note=f"{SETUPS} setups each, from the table; published 1.17 ms for another "
            "method, not run here",
        ),
    ]
