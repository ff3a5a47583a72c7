"""What does not change while a crew works live: one packed array, and how it is read.

Its blocks are named here once, for the packing in Python and for the kernels.
"""

from dataclasses import replace
from math import floor

import numpy as np

from ..action.subject import Subject
from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..crew.belief import CLOCK_S, Watch
from ..crew.decide import Asked, Manner
from ..crew.grip import Hold
from ..crew.head_target import Sight
from ..crew.observe import (
    ground_watch,
    height_watches,
    odds_of,
    preroll_frames,
)
from ..crew.perform import asked_of, hold_of, manner_of
from ..crew.persistence import HEIGHT_STEADY, STEADY
from ..crew.planner import (
    Planner,
    brake_planner_of,
    planner_of,
    whip_planner_of,
)
from ..crew.variability import (
    AMPLITUDE,
    EPOCH_S,
    Perception,
    performing,
)
from ..presets import Crew, Member
from ..rigs.shape import RigShape
from ..shake import shake_waves
from ..shot import Shot
from .packed import block, line, packed

PLANNER_BLOCKS = 8
PLANNER_ACCEL, PLANNER_HORIZON = 1, 4  # of the numbers in its first block
GRIP_OWN, GRIP_BRAKE, HEAD_OWN, HEAD_WHIP, PULLER_OWN = map(
    np.intp, range(0, 40, PLANNER_BLOCKS)
)
(
    CUES,
    WEIGHTS,
    MUST,
    HOLD,
    MANNERS,
    LENS,
    CLOCK,
    WATCHES,
    LATENESS,
    TIMING_HZ,
    TIMING_TURNS,
    TIMING_SHARES,
    SHAKE_HZ,
    SHAKE_TURNS,
    SHAKE_SHARES,
    SHAKE_SPREAD,
    WATCHING,
    RIG,
) = map(np.intp, range(40, 58))
OPERATOR, PULLER, GRIP = map(np.intp, range(3))
"""Who watches; a rig without a rail has no grip."""
MEMBERS = ("operator", "puller", "grip")
RIG_NUMBERS = ("form", "length", "radius", "start", "turn")
# A row of WATCHES: a Watch, how often its velocity outlasts a change and for how long
# at least [s], and the odds of its model. The ground's comes first.
STEADY_TIMES, LEAST_FADE, ODDS = range(7, 10)
RATE_DOWN, RATE_UP, FIRST_FRAME, FIRST_EPOCH, LEVEL = range(5)
ROLL, TAN_X, TAN_Y, NEAREST = range(4)
FIRST_WATCH, N_WATCHES, REACTION = range(3)


def by_eye(shot: Shot) -> Shot:
    """Return a shot whose crew performs its take, with a focus that is pulled by eye.

    Live there is no rehearsal, so that no marks are there to pull by.
    """
    crew = performing(replace(shot.crew, focus_method="eye"), shot.seed)
    return replace(shot, crew=crew)


def rows_to_start(subject: Subject) -> int:
    """Return how many samples there are up to the second that shows something new."""
    fresh = np.flatnonzero(subject.fresh)
    return int(fresh[min(1, len(fresh) - 1)]) + 1


def rows_before(subject: Subject, time_s: float) -> int:
    """Return how many samples a crew knows that starts at a time [s].

    They are those before it, and in any case those that `rows_to_start` counts.
    """
    before = int(subject.times_s.searchsorted(time_s - CLOCK_S))
    return max(before, rows_to_start(subject))


def watching(crew: Crew, *, dolly: bool) -> tuple[Member, ...]:
    """Return who watches, in the order of `MEMBERS`."""
    who = (crew.operator, crew.puller, crew.grip)
    return who if dolly else who[:GRIP]


def packed_shot(shot: Shot) -> FloatArray:
    """Return what kernels need of a shot as `by_eye` returns it.

    Of its subjects no more is read than `rows_before` says of its first frame.
    """
    crew, length = shot.crew, shot.rig.length_m
    grip = {"length_m": length}
    planners = (
        planner_of(crew.grip, **grip),
        brake_planner_of(crew.grip, **grip),
        planner_of(crew.operator),
        whip_planner_of(crew.operator),
        planner_of(crew.puller),
    )
    asked, hold = asked_of(shot), hold_of(shot)
    half_depth = shot.stop * shot.coc_mm * 1e-3 / (shot.lens.focal_mm * 1e-3) ** 2
    who = watching(crew, dolly=length > 0.0)
    first = shot.first - shot.handles[0] - preroll_frames(shot)
    earliest = min(float(one.times_s[0]) for one in shot.subjects)
    epochs = np.arange(
        floor(earliest / EPOCH_S) - 1,
        floor(shot.time_of(shot.last + shot.handles[1] + 2.0) / EPOCH_S) + 2,
    )
    level = crew.variability
    perceptions = [
        Perception(level=level, seed=shot.seed, member=name)
        for name in MEMBERS[: len(who)]
    ]
    waves = [
        one.timing_waves(subject.name)
        for subject in shot.subjects
        for one in perceptions
    ]
    return packed(
        [
            *(part for one in planners for part in _planner_blocks(one)),
            asked.cues,
            asked.weights,
            asked.must.astype(np.float64),
            np.array([hold.kind, hold.bearing, *hold.offset, hold.follow]),
            np.array(
                [
                    manner_of(crew.operator),
                    manner_of(crew.puller, half_depth),
                    manner_of(crew.grip),
                ]
            ),
            np.array(
                [
                    shot.roll_rad,
                    *shot.tangents,
                    1.0 / shot.lens.close_focus_m,
                ]
            ),
            np.array(
                [
                    shot.rate.denominator,
                    shot.rate.numerator,
                    first,
                    epochs[0],
                    level,
                ]
            ),
            np.array([row for one in who for row in _watch_rows(one)]),
            np.array([one.late_s(epochs) for one in perceptions]),
            np.concatenate([frequency for frequency, _ in waves]),
            np.concatenate([turns for _, turns in waves]),
            AMPLITUDE,
            *shake_waves(
                shot.shake,
                seed=shot.seed,
                focal_mm=shot.lens.focal_mm,
                gate=shot.gate,
            ),
            _watching(who),
            np.array([getattr(shot.rig.shape, name) for name in RIG_NUMBERS]),
        ]
    )


def _watching(who: tuple[Member, ...]) -> FloatArray:
    """Return a row for each member: where its watches begin, how many, its reaction."""
    counts = [1 + len(height_watches(one)) for one in who]
    firsts = np.cumsum([0, *counts[:-1]])
    return np.column_stack([firsts, counts, [one.reaction_s for one in who]])


def _planner_blocks(planner: Planner) -> tuple[FloatArray, ...]:
    return np.array(planner[:5]), *planner[5:]


def _watch_rows(member: Member) -> list[list[float]]:
    ground, heights = ground_watch(member), height_watches(member)
    return [
        [*map(float, ground), STEADY, member.fade_s, 0.0],
        *(
            [*map(float, one), HEIGHT_STEADY, member.height_fade_s, odds_of(one)]
            for one in heights
        ),
    ]


@kernel
def rig_in(fixed, origin, direction, table):
    """Return the rig's shape, whose arrays are given: frozen, as everywhere."""
    n = line(fixed, RIG)
    return RigShape(int(n[0]), n[1], origin, direction, n[2], n[3], n[4], table)


@kernel
def planner_in(fixed, first):
    """Return the planner whose blocks begin with block `first`."""
    numbers = line(fixed, first)
    return Planner(
        numbers[0],
        numbers[1],
        numbers[2],
        numbers[3],
        numbers[4],
        line(fixed, first + 1),
        line(fixed, first + 2),
        block(fixed, first + 3),
        block(fixed, first + 4),
        block(fixed, first + 5),
        block(fixed, first + 6),
        block(fixed, first + 7),
    )


@kernel
def asked_in(fixed):
    """Return what is asked of the frame."""
    must = line(fixed, MUST) > 0.0
    return Asked(block(fixed, CUES), block(fixed, WEIGHTS), must)


@kernel
def hold_in(fixed):
    """Return what the dolly keeps."""
    n = line(fixed, HOLD)
    return Hold(int(n[0]), n[1], (n[2], n[3], n[4]), n[5])


@kernel
def manner_in(fixed, who):
    """Return how a member decides."""
    n = line(fixed, MANNERS)
    return Manner(n[3 * who], n[3 * who + 1], n[3 * who + 2])


@kernel
def sight_in(fixed):
    """Return how the camera sees."""
    n = line(fixed, LENS)
    return Sight(n[ROLL], n[TAN_X], n[TAN_Y])


@kernel
def watch_in(watches, k):
    """Return the Watch of row k of the watches."""
    return Watch(
        watches[k, 0],
        watches[k, 1],
        watches[k, 2],
        watches[k, 3],
        watches[k, 4],
        watches[k, 5] > 0.0,
        watches[k, 6] > 0.0,
    )


@kernel
def tick_time(clock, tick):
    """Return when a tick is, counted from the first of the pre-roll [s]."""
    return (clock[FIRST_FRAME] + tick) * clock[RATE_DOWN] / clock[RATE_UP]
