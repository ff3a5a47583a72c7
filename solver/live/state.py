"""What changes while a crew works live: one packed array, its blocks and their rows."""

from math import ceil

import numpy as np

from ..arrays import FloatArray
from ..crew.belief import FILTER_WIDTH
from ..crew.observe import height_watches
from ..crew.persistence import STEADY_S
from ..crew.plan import PLAN_WIDTH
from ..crew.planner import N_NODES
from ..crew.variability import LATENESS_S, SPEED_S
from ..shot import Shot
from .given import watching
from .packed import packed

(
    POSE,
    COUNTS,
    SAMPLES,
    FILTERS,
    SPEEDS,
    CREST,
    GRIP_NUMBERS,
    GRIP_TARGET,
    HEAD_NUMBERS,
    HEAD_CHANNELS,
    HEAD_TARGETS,
    PULLER_NUMBERS,
    PULLER_TARGET,
    PLANS,
) = map(np.intp, range(14))
# Of POSE: the tick that is done, counted from the pre-roll's first; its time and frame;
# value, speed and acceleration of rail, pan and tilt; lens without and with shake;
# quaternion x, y, z, w; focus; where in the frame the subject was to be held.
TICKS, TIME, FRAME, RAIL, PAN, TILT = 0, 1, 2, 3, 6, 9
BASE, PLACE, TURN, FOCUS, ASKED_U, ASKED_V = 12, 15, 18, 22, 23, 24
N_POSE = 25
# Of a subject's row in COUNTS: samples that are kept, time of the newest of all, how
# many showed something new, which row the oldest has; then of each member how many were
# taken in, and when the newest is seen.
N_KEPT, NEWEST, N_FRESH, OLDEST, TAKEN = range(5)
# Of a row of SAMPLES: time, facing, floor and eyes; then of each member when it is seen
# and by how much its place on the ground is misjudged.
SAMPLE_S, FACING, BODY, SEEN_S = 0, 1, 2, 8
# Behind a filter in its row of FILTERS: how many rows of SPEEDS are its, and which is
# the first. Such a row holds a time and the velocity that was believed then.
N_SPEEDS, FIRST_SPEED = FILTER_WIDTH, FILTER_WIDTH + 1
DOLLY_PLAN, PAN_PLAN, TILT_PLAN, FOCUS_PLAN = range(4)


def empty_state(shot: Shot, samples_per_tick: int) -> FloatArray:
    """Return the state of a crew that has seen nothing yet.

    Args:
        shot: as `by_eye` returns it.
        samples_per_tick: of a subject from one tick to the next, at most, >= 1.
    """
    who = watching(shot.crew, dolly=shot.rig.length_m > 0.0)
    subjects, members, rate = len(shot.subjects), len(who), float(shot.rate)
    filters = subjects * sum(1 + len(height_watches(one)) for one in who)
    lasts_s = max(one.reaction_s for one in who) + SPEED_S
    lasts_s += shot.crew.variability * LATENESS_S
    kept = (ceil(lasts_s * rate) + 3) * samples_per_tick
    counts = np.zeros((subjects, TAKEN + 2 * members))
    counts[:, NEWEST] = -np.inf
    counts[:, TAKEN + 1 :: 2] = -np.inf
    pose = np.zeros(N_POSE)
    pose[TICKS], pose[TURN + 3] = -1.0, 1.0
    most_speeds = ceil(STEADY_S * rate) + 3
    return packed(
        [
            pose,
            counts,
            np.zeros((subjects * kept, SEEN_S + 3 * members)),
            np.zeros((filters, FIRST_SPEED + 1)),
            np.zeros((filters * most_speeds, 3)),
            np.zeros((members, subjects)),
            np.zeros(12),
            np.zeros(N_NODES),
            np.zeros(12),
            np.zeros((4, 2)),
            np.zeros((2, N_NODES)),
            np.zeros(4),
            np.zeros(N_NODES),
            np.zeros((4, PLAN_WIDTH)),
        ]
    )
