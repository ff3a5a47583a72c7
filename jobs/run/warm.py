"""Compiles the solver's kernels before work arrives.

The compiled code is kept on disk, where other processes find it. On a machine where
there is none yet, two processes compile at once: one grip, operator and the verdict on
setups, the other all else. Stand-ins take the place of what the other's kernels would
have found.
"""

import subprocess
import sys
import time
from dataclasses import replace
from fractions import Fraction

import numpy as np

from ...solver.action.claim import Claim
from ...solver.action.framing import Framing
from ...solver.action.subject import Subject
from ...solver.claims.everyone import frames_of_take
from ...solver.claims.measured import outcomes_of
from ...solver.compiled.kernel import has_machine_code
from ...solver.crew.decide import Seen
from ...solver.crew.observe import Observed, observe
from ...solver.crew.perform import Performance, dolly_plans, focus_plans, head_plans
from ...solver.measures.measure import measure
from ...solver.optics.camera import Gate
from ...solver.optics.lens import Lens
from ...solver.presets import PRESETS
from ...solver.rigs.shape import Rig
from ...solver.rigs.sticks import sticks
from ...solver.rigs.track import track
from ...solver.shake import LEVELS
from ...solver.shot import Shot
from ...solver.take import Take, operate, recorded
from ..processes.garbage import collect_seldom
from ..processes.pool import n_processors

WARMED = f"{__package__}.warmed"
WARMED_TO_CHOOSE = f"{__package__}.warmed_to_choose"
"""Modules for processes to be forked from: they compile as they are imported."""

_PATIENCE_S = 20.0  # for what the other process compiles; then it is compiled twice
_BESIDE = f"from {__name__} import work_beside; work_beside({{}})"
_LENS = Lens(35.0)
_N_FRAMES = 48  # long enough for a lag to be found


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
            _grip_and_operator()
            if choosing:
                _choose()
        finally:
            other.wait()
    _look_at(operate(given_shot()))
    _look_at(operate(_pair()))
    if choosing:
        _choose()


def is_warm(*, choosing: bool) -> bool:
    """Tell whether this machine has compiled the kernels before."""
    return has_machine_code("frame.tally", "tally_moves") and (
        not choosing or has_machine_code("setups.work", "work")
    )


def work_beside(choosing: bool) -> None:
    """Compile all that the process that called `warm_up` does not."""
    collect_seldom()
    observe(given_shot())
    if choosing:
        _lay()
    _await("crew.plan", "write_plan")
    _puller_and_take()


def _grip_and_operator() -> None:
    shot = given_shot()
    imagined = _imagined(shot)
    head_plans(shot, imagined, dolly_plans(shot, imagined))


def _choose() -> None:
    # Imported here: who solves given setups loads nothing that chooses.
    from .warm_setups import choose

    choose(given_shot())


def _lay() -> None:
    from .warm_setups import lay

    lay(given_shot())


def _puller_and_take() -> None:
    """Let the puller work on a camera that stands, and measure what comes of it."""
    shot = _shot(sticks(np.array([0.0, 1.5, 4.0])))
    ticks = _imagined(shot).ticks
    still = dolly_plans(shot, _imagined(shot))
    focus = focus_plans(shot, ticks, still, still, still)
    asked = np.zeros((len(ticks), 2))
    done = Performance(
        ticks=ticks, asked=asked, dolly=still, pan=still, tilt=still, focus=focus
    )
    _look_at(recorded(shot, done))
    focus.at(ticks)


def _look_at(take: Take) -> None:
    """Measure a take, with claims that look at places and at the camera's way."""
    measure(take)
    box = ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))
    closer = Claim(verb="closes_in", who=(take.shot.subjects[0].name,))
    shown = Claim(verb="shows", who=("box",), box=box)
    outcomes_of((shown, closer), frames_of_take(take))


def _await(module: str, function: str) -> None:
    """Wait until the other process has compiled a kernel that is needed here too."""
    until = time.monotonic() + _PATIENCE_S
    while not has_machine_code(module, function) and time.monotonic() < until:
        time.sleep(0.05)


def _imagined(shot: Shot) -> Observed:
    """Return what the crew would believe of somebody who stands still."""
    ticks = shot.times_of(np.arange(shot.last + 2, dtype=np.float64))
    body = np.array([[0.0, 0.0, 0.0], [0.0, 1.6, 0.0]])
    place = np.tile(body, (1, len(ticks), 1, 1))
    facing = np.full((1, len(ticks)), np.nan)
    fades = np.ones((1, 2, len(ticks)))
    crest = np.zeros((1, len(ticks)))
    seen = Seen(ticks, place, np.zeros(place.shape), fades, crest, facing)
    return Observed(grip=seen, operator=seen)


def given_shot() -> Shot:
    """Return a short shot of one who walks, from a rail."""
    return _shot(track(np.array([-1.0, 1.5, 4.0]), np.array([1.0, 1.5, 4.0])))


def _pair() -> Shot:
    """Return the shot with somebody else in it, who may stand before the other."""
    shot = given_shot()
    (one,) = shot.subjects
    beside = np.array([0.5, 0.0, -0.5])
    other = replace(
        one, name="other", floor=one.floor + beside, eyes=one.eyes + beside, share=0.5
    )
    framings = tuple(replace(each, weights=(1.0, 0.5)) for each in shot.framings)
    return replace(shot, subjects=(one, other), framings=framings)


def _shot(rig: Rig) -> Shot:
    times = np.arange(_N_FRAMES) / 24
    floor = np.column_stack([2 * times, 0 * times, times**2])
    subject = Subject(
        name="walker",
        times_s=times,
        floor=floor,
        eyes=floor + np.array([0.0, 1.6, 0.0]),
        facing_rad=np.full(_N_FRAMES, np.nan),
        fresh=np.ones(_N_FRAMES, dtype=np.bool_),
        visible=np.ones(_N_FRAMES, dtype=np.bool_),
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
        last=_N_FRAMES - 1,
        gate=Gate(24.0, 10.0),
        lens=_LENS,
        rig=rig,
        crew=PRESETS["steady"],
        subjects=(subject,),
        framings=(framing,),
        shake=LEVELS["shoulder"],
    )
