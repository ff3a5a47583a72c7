"""What a set of 100 000 triangles costs: lines of sight, a take, an open shot, a start.

Times are of the processor, of runs in turns with and without the set.
"""

import json
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

import five_seconds
import numpy as np
from asks import open_ask, person

from carrellata.jobs.takes.set_metadata import set_metadata
from carrellata.solver.frame.projection import Screen
from carrellata.solver.frame.sight import SightCamera, bodies_seen, sighted
from carrellata.solver.measures.measure import measure
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask, in_setup
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.stage.stage import Stage
from carrellata.solver.take import operate

from .clock import medians, paired, ratio
from .figures import Figure, Sizes
from .halls import SIZE_M, hall

TRIANGLES = 100_000
FRAMES, PEOPLE = 120, 4
CALLS = 8  # calls a round
EXAMPLE = Path(__file__).parents[2] / "jobs/examples/ferry_dash/job.toml"
PROGRAM = """
import json, resource, sys
from pathlib import Path
from carrellata.jobs.run.local import solve_job
import tempfile
with tempfile.TemporaryDirectory() as out:
    outcome = solve_job(Path(sys.argv[1]), Path(out), workers=1)
assert not outcome.failed
found = [name for name in sys.modules if ".jobs.scene" in name or name == "pxr"]
print(json.dumps({"modules": found}))
"""


def run(sizes: Sizes) -> list[Figure]:
    """Time what a set costs."""
    mesh = hall(TRIANGLES)
    started = time.perf_counter()
    assert len(mesh.tree.size)
    tree_s = time.perf_counter() - started
    repeats = max(sizes.takes, 5)
    return [
        *_sight(mesh, repeats),
        *_take(mesh, repeats),
        *_open_shot(mesh, sizes),
        Figure(
            name="set_tree_ms",
            value=tree_s * 1e3,
            unit="ms",
            note="once a process, with loading its kernels",
        ),
        _start(),
    ]


def _sight(mesh: SetMesh, repeats: int) -> list[Figure]:
    """Time the lines of sight to four people in 120 frames of the hall."""
    stage = Stage(set=mesh)
    along = np.linspace(0.0, 1.0, FRAMES)
    floor = np.zeros((PEOPLE, FRAMES, 3))
    for k in range(PEOPLE):
        floor[k, :, 0] = -12.0 + 1.5 * k + 8.0 * along
        floor[k, :, 2] = -3.5 + 1.2 * k
    eyes = floor + np.array([0.0, 1.6, 0.0])
    bodies = bodies_seen(floor, eyes, np.ones(PEOPLE, np.bool_))
    cams = np.zeros((FRAMES, 5))
    cams[:, 0], cams[:, 1], cams[:, 2] = -6.0, 1.6, 8.5
    camera = SightCamera(cams, 0.0, Screen(0.9, 0.6, 0.0))
    runs = {"sight": _often(lambda: sighted(stage, mesh, bodies, camera))}
    taken = medians(paired(runs, repeats, clock=time.process_time))
    seen = sighted(stage, mesh, bodies, camera)
    return [
        Figure(
            name="set_sight_ms",
            value=taken["sight"] / CALLS * 1e3,
            unit="ms",
            note=f"{FRAMES} frames, {PEOPLE} people, {len(mesh.corners)} triangles, "
            f"{int((seen.hider >= -1).sum())} lines in the picture",
        )
    ]


def _take(mesh: SetMesh, repeats: int) -> list[Figure]:
    """Time what the set adds to a finished take of four people."""
    cast = []
    for k in range(PEOPLE):
        path = np.zeros((FRAMES + 1, 3))
        path[:, 0] = -6.0 + 0.5 * k + 1.3 * np.arange(FRAMES + 1) / 24
        path[:, 2] = -3.5 + 0.7 * k
        cast.append(person(path, name=f"p{k}", share=1.0 / PEOPLE))
    ask = _in_hall(open_ask(cast, kinds=("track",), kit=(25, 35)), mesh)
    shot = in_setup(ask.shot, candidates(ask)[0].setup)
    inside, bare = replace(shot, stage=ask.stage), replace(shot, stage=Stage())
    take = operate(inside)

    def told() -> None:
        measure(operate(inside))
        set_metadata(take)

    runs = {
        "inside": _often(told),
        "bare": _often(lambda: measure(operate(bare))),
        "drawn": _often(lambda: set_metadata(take)),
    }
    taken = paired(runs, repeats, clock=time.process_time)
    ms = {name: seconds / CALLS * 1e3 for name, seconds in medians(taken).items()}
    pairs = zip(taken["inside"], taken["bare"], strict=True)
    return [
        Figure(
            name="set_take_ms",
            value=median(a - b for a, b in pairs) / CALLS * 1e3,
            unit="ms",
            target=5.0,
            note=f"over {ms['bare']:.2f} ms without; {FRAMES} frames, {PEOPLE} people, "
            "operated, measured and drawn",
        ),
        Figure(
            name="set_drawn_ms", value=ms["drawn"], unit="ms", note="lines of drawings"
        ),
    ]


def _open_shot(mesh: SetMesh, sizes: Sizes) -> list[Figure]:
    """Time shots with everything open in the hall, and the same without it."""
    asked = []
    for piece in five_seconds.pieces():
        size = np.ptp(piece.floor, axis=0)
        if (
            len(piece.floor) > 40
            and size[0] < SIZE_M[0] / 2
            and size[2] < SIZE_M[2] / 2
        ):
            middle = (piece.floor.min(axis=0) + piece.floor.max(axis=0)) / 2
            off = np.array([0.0, piece.floor[0, 1], -3.5]) - middle * [1.0, 0.0, 1.0]
            asked.append(open_ask(person(piece.floor + off, piece.rate_hz)))
    asked = asked[:: max(1, len(asked) // sizes.asks)][: sizes.asks]
    inside = [_in_hall(ask, mesh) for ask in asked]
    found: list[tuple[int, bool]] = []

    def search(asks: list[Ask]) -> None:
        found.clear()
        for ask in asks:
            stage = Rehearsal(ask)
            best = candidates(ask, stage)[0]
            found.append((stage.n_trials, best.holds))

    runs = {"bare": lambda: search(asked), "inside": lambda: search(inside)}
    taken = paired(runs, min(sizes.repeats, 5), clock=time.process_time)
    ms = {name: s / len(asked) * 1e3 for name, s in medians(taken).items()}
    tried = sorted(trials for trials, _ in found)
    return [
        Figure(
            name="set_open_shot_over_bare",
            value=ratio(taken, "inside", "bare"),
            unit="x",
            target=2.0,
            note=f"{ms['inside']:.0f} ms a shot in the set, {ms['bare']:.0f} without; "
            f"{len(asked)} shots of which {sum(holds for _, holds in found)} hold in "
            f"it, {tried[0]} to {tried[-1]} setups each",
        )
    ]


def _start() -> Figure:
    """Return how many modules of sets a job without one loads."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(EXAMPLE)],
        stdout=subprocess.PIPE,
        check=True,
    )
    loaded = json.loads(done.stdout.splitlines()[-1])["modules"]
    return Figure(
        name="set_modules_without_one",
        value=len(loaded),
        unit="",
        target=0.0,
        note="readers of scenes that a solve of the example's 12 shots has loaded",
    )


def _often(call: Callable[[], object]) -> Callable[[], None]:
    """Return a function that calls another so often as a round takes."""

    def called() -> None:
        for _ in range(CALLS):
            call()

    return called


def _in_hall(ask: Ask, mesh: SetMesh) -> Ask:
    """Return an ask in the hall, which is a room to whoever it holds."""
    eyes = np.concatenate([one.eyes[::10] for one in ask.shot.subjects])
    return replace(ask, stage=replace(ask.stage, set=mesh.hollowed(eyes)))
