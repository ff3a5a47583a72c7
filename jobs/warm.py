"""Compiles the solver's kernels before work arrives.

The compiled code is kept on disk, where other processes find it. On a machine where
there is none yet, two processes compile at once, each what the other needs later: what
one has compiled the other reads from disk when its turn comes.
"""

import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from fractions import Fraction

import numpy as np

from ..solver.active_set import WORK_ROWS
from ..solver.camera import Gate
from ..solver.compiled import has_machine_code
from ..solver.crew import PRESETS
from ..solver.lens import Lens
from ..solver.measure import measure
from ..solver.observe import observe
from ..solver.perform import dolly_plans, head_plans, perform
from ..solver.plan import solve_plan
from ..solver.planner import MOST_ROWS, N_BLOCKS, N_NODES
from ..solver.rig import Rig, sticks, track
from ..solver.setups.action import action_of
from ..solver.setups.propose import propose_rails, propose_sticks
from ..solver.setups.search import candidates
from ..solver.setups.setup import KINDS, SIDES, VIEWS_RAD, Ask, View
from ..solver.setups.stage import Stage
from ..solver.shot import Framing, Shot, Subject
from ..solver.take import operate
from .pool import n_processors

_PATIENCE_S = 20.0  # for what the other process compiles; then it is compiled twice
_BESIDE = f"from {__name__} import work_beside; work_beside({{}})"
_LENS = Lens(35.0)


def warm_up(*, choosing: bool = False) -> None:
    """Operate a shot of a few frames, so that later ones find compiled code.

    Args:
        choosing: choose a setup for it too.
    """
    with_other = not is_warm(choosing=choosing) and n_processors() > 1
    if with_other:
        program = _BESIDE.format(choosing)
        other = subprocess.Popen([sys.executable, "-c", program])
        try:
            _plan()
            _grip()
            _whole()
        finally:
            other.wait()
    measure(operate(_shot(_rail())))
    if choosing:
        candidates(_ask())


def is_warm(*, choosing: bool) -> bool:
    """Tell whether this machine has compiled the kernels before."""
    return has_machine_code("puller", "run_puller") and (
        not choosing or has_machine_code("setups.trial", "judge")
    )


def work_beside(choosing: bool) -> None:
    """Compile what the process that called `warm_up` comes to last."""
    stages: Sequence[Callable[[], object]] = (_observe, _operator)
    if choosing:
        stages = (_observe, _lay, _operator, lambda: candidates(_ask()))
    for stage in stages:
        stage()


def _plan() -> None:
    planner = PRESETS["steady"].operator.planner()
    work = np.empty((WORK_ROWS, MOST_ROWS))
    solve_plan(planner, 0.0, 0.0, 0.0, np.zeros(N_NODES), np.zeros(N_BLOCKS), work)


def _observe() -> None:
    observe(_shot(_rail()))


def _grip() -> None:
    shot = _shot(_rail())
    dolly_plans(shot, observe(shot))


def _whole() -> None:
    perform(_shot(_rail()))


def _operator() -> None:
    """Compile the operator, once the other process has compiled what plans."""
    until = time.monotonic() + _PATIENCE_S
    while not has_machine_code("plan", "solve_plan") and time.monotonic() < until:
        time.sleep(0.05)
    shot = _shot(sticks(np.array([0.0, 1.5, 4.0])))
    observed = observe(shot)
    head_plans(shot, observed, dolly_plans(shot, observed))


def _lay() -> None:
    ask = _ask()
    action = action_of(ask.shot)
    propose_sticks(ask, action)
    propose_rails(ask, action, ask.lenses)


def _rail() -> Rig:
    return track(np.array([-1.0, 1.5, 4.0]), np.array([1.0, 1.5, 4.0]))


def _ask() -> Ask:
    """Return the shot with its setup open, on a stage with a box to look past."""
    views = tuple(
        View(name=name, angle_rad=angle, side=side)
        for name, angle in VIEWS_RAD.items()
        for side in SIDES
    )
    return Ask(
        shot=_shot(_rail()),
        lenses=(_LENS, Lens(50.0)),
        rig=None,
        kinds=KINDS,
        views=views,
        height_m=None,
        stage=Stage(
            keep_outs=np.array([[[9.0, 0.0, -9.0], [9.5, 1.0, -8.0]]]),
            names=("box",),
            sight_forbidden=np.zeros(1, dtype=np.bool_),
        ),
    )


def _shot(rig: Rig) -> Shot:
    times = np.arange(12) / 24
    floor = np.column_stack([2 * times, 0 * times, times**2])
    subject = Subject(
        name="walker",
        times_s=times,
        floor=floor,
        eyes=floor + np.array([0.0, 1.6, 0.0]),
        facing_rad=np.full(12, np.nan),
        fresh=np.ones(12, dtype=np.bool_),
        visible=np.ones(12, dtype=np.bool_),
    )
    framing = Framing(
        start_s=-np.inf,
        top=1.0,
        bottom=0.0,
        aim=0.5,
        u=0.0,
        v=0.0,
        lead_room=0.1,
        look_room=0.1,
        distance_m=4.0,
        weights=(1.0,),
    )
    return Shot(
        name="warm",
        rate=Fraction(24),
        first=0,
        last=11,
        gate=Gate(24.0, 10.0),
        lens=_LENS,
        rig=rig,
        crew=PRESETS["steady"],
        subjects=(subject,),
        framings=(framing,),
    )
