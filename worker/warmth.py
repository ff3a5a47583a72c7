"""Compiles everything that a shot can need, open or fixed, before a worker is ready."""

from pathlib import Path
from typing import Any

from ..jobs.asks import ask_of
from ..jobs.keys import solver_version
from ..jobs.parse import parse_job
from ..jobs.warm import warm_up
from ..solver.cut_action import cut_action
from ..solver.cut_end import trial_ends
from ..solver.search import candidates
from ..solver.setup import in_setup
from ..solver.trial import Rehearsal

_FRAMES = 12


def warm_for_all() -> None:
    """Operate a shot and judge another, in memory; nothing is read or written.

    The version of the solver is noted too: children that a worker starts later must
    name their takes by the same one, whatever has become of the files.
    """
    solver_version()
    warm_up()
    job = parse_job(_open_job())
    ask, _ = ask_of(job, job.shots[0], Path("/"))
    stage = Rehearsal(ask)
    found = candidates(ask, stage)
    action = cut_action(ask.shot)
    for each in found[:1]:
        trial = each.trial
        shot = in_setup(ask.shot, each.setup)
        trial_ends(shot, action, trial.cams, trial.screen)


def _open_job() -> dict[str, Any]:
    """Return the tables of a job with one shot whose setup is open."""
    frames = list(range(_FRAMES))
    walk = {
        "frame": frames,
        "x": [0.06 * k for k in frames],
        "y": [0.0 for _ in frames],
        "z": [0.01 * k * k for k in frames],
    }
    subject = {"name": "walker", "samples": walk, "at": "floor", "height_m": 1.7}
    shot = {
        "name": "warm",
        "frames": [0, _FRAMES - 1],
        "subjects": [subject],
        "rig": {"kind": "choose"},
        "lens_mm": "choose",
        "framing": {"size": "full"},
    }
    return {
        "schema": "carrellata.job/1",
        "sequence": "warm",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": {
            "film_back": "super35-4perf",
            "aspect": 2.39,
            "lens_kit_mm": [25.0, 50.0],
        },
        "crew": {"preset": "brisk"},
        "shots": [shot],
    }
