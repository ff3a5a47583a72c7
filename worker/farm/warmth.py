"""Compiles everything that a shot can need, open or fixed, before a worker is ready."""

from pathlib import Path
from typing import Any

from ...jobs.job.parse import parse_job
from ...jobs.run.asks import ask_of
from ...jobs.run.make_take import solve_prepared
from ...jobs.run.shots import prepare
from ...jobs.run.warm import warm_up
from ...jobs.takes.keys import Keys, solver_version
from ...solver.cuts.at_cut import cut_action
from ...solver.cuts.end import trial_ends
from ...solver.setups.search import candidates
from ...solver.setups.trial import Rehearsal

_FRAMES = 12


def warm_for_all() -> None:
    """Solve a shot and judge another, in memory; nothing is read or written.

    The version of the solver is noted too: children that a worker starts later must
    name their takes by the same one, whatever has become of the files.
    """
    solver_version()
    warm_up()
    job = parse_job(_job())
    fixed = prepare(job, job.shots[1], Path("/"))
    solve_prepared(job, fixed, Keys(judge="", take=""))
    ask, _ = ask_of(job, job.shots[0], Path("/"))
    stage = Rehearsal(ask)
    found = candidates(ask, stage)
    action = cut_action(ask.shot)
    for each in found[:1]:
        trial = each.trial
        trial_ends(ask.shot, each.setup.lens, action, trial.cams, trial.screen)


def _job() -> dict[str, Any]:
    """Return the tables of a job with an open shot and a fixed one."""
    frames = list(range(_FRAMES))
    walk = {
        "frame": frames,
        "x": [0.06 * k for k in frames],
        "y": [0.0 for _ in frames],
        "z": [0.01 * k * k for k in frames],
    }
    subject = {"name": "walker", "samples": walk, "at": "floor", "height_m": 1.7}
    shot = {
        "name": "open",
        "frames": [0, _FRAMES - 1],
        "subjects": [subject],
        "rig": {"kind": "choose"},
        "lens_mm": "choose",
        "framing": {"size": "full", "lead_room": 0.1},
        "shake": "settled",
    }
    rail = {"kind": "track", "from": [-2, 1.5, 5], "to": [4, 1.5, 5]}
    fixed = {**shot, "name": "fixed", "rig": rail, "lens_mm": 25.0, "handles": 0}
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
        "shots": [shot, fixed],
    }
