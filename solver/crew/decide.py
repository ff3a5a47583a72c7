"""The crew at work: grip, then operator, then focus puller, decision by decision.

Each channel follows its plan until what is newly believed differs from what the plan
expected by more than the tolerance and the rest is over (event-driven intermittent
control: Gawthrop, Loram, Lakie & Gollee 2011, Biol Cybern 104:31-51), or the plan is
stale and its own expected miss exceeds the tolerance, or it is spent and leaves the
channel moving, or a cue starts. Decisions fall
on ticks (frames); a plan starts from the state in which the last one left the channel.
The operator knows the dolly's plan in force at the tick, the puller all three.

Kernel notation: `log` (rows of PLAN_WIDTH) holds a channel's plans; `poly` the target
polynomials that the plans in force were made for.

A channel is simulated by `step_*(task, ..., seen, until, state, kept) -> state`, one
tick or as many as are asked for: `task` is what stays the same in a shot, `state` are
scalars, and `kept` are arrays that a step changes in place. The loop over ticks is
inside it, since named tuples of arrays that go in and out are counted array by array,
which costs several times what a tick does.
"""

from typing import NamedTuple

from ..arrays import BoolArray, FloatArray
from ..compiled.kernel import kernel
from .figure import moved_figure, noted_figure, point_of
from .planner import N_NODES

PLAN_STALE_S = 0.8  # a plan this old is renewed when its own expected miss is too big
PLAN_SPENT = 0.85  # share of the horizon after which a plan that still moves is renewed
COAST_S = 20.0  # slower than a tolerance in this time counts as standing
CUE_START, CUE_AIM, CUE_U, CUE_V, CUE_LEAD, CUE_LOOK, CUE_DISTANCE = range(7)
CUE_WHIP, CUE_CROWN = 7, 8
START_SHARE = 0.9  # of a limit that a channel may use as the shot starts


class Seen(NamedTuple):
    """What one member sees and believes at the ticks.

    Attributes:
        ticks: decision times, ascending, (n_ticks,) [s].
        place: believed, (n_subjects, n_ticks, 2 [floor, eyes], 3) [m].
        velocity: believed, of the same shape [m/s].
        fades: how long the velocity lasts, (n_subjects, 2 [ground, height], n_ticks)
            [s]: it fades with that time constant.
        crest: height of the bounce over the believed place, (n_subjects, n_ticks) [m].
        facing: as last seen, (n_subjects, n_ticks) [rad]; NaN where not given.
    """

    ticks: FloatArray
    place: FloatArray
    velocity: FloatArray
    fades: FloatArray
    crest: FloatArray
    facing: FloatArray


class Asked(NamedTuple):
    """What is asked of the frame.

    Attributes:
        cues: a row of framing numbers (CUE_*) for each cue.
        weights: of the subjects in each cue, (n_cues, n_subjects).
        must: whether a subject must be held, (n_subjects,).
    """

    cues: FloatArray
    weights: FloatArray
    must: BoolArray


class Manner(NamedTuple):
    """How a member decides; see `crew.Member`.

    `tolerance` is in units of the channel's miss, `rest` in seconds.
    """

    tolerance: float
    rest: float
    urgency: float


@kernel
def horizon(poly, c, span, age):
    """Return the target that channel c's plan was made for, straight on after its span.

    `poly` (n_channels, N_NODES) is indexed here: where a kernel takes a view, it counts
    references, which costs more than this whole function.
    """
    x = min(age / span, 1.0)
    value = 0.0
    for i in range(N_NODES - 1, -1, -1):
        value = value * x + poly[c, i]
    if age <= span:
        return value
    slope = 0.0
    for i in range(N_NODES - 1, 0, -1):
        slope += i * poly[c, i]
    return value + slope * (age / span - 1.0)


@kernel
def fit_horizon(pl, target, poly, c):
    """Fill the polynomial coefficients of channel c's node targets."""
    for i in range(N_NODES):
        s = 0.0
        for k in range(N_NODES):
            s += pl.poly[i, k] * target[k]
        poly[c, i] = s


@kernel
def rests(asked_ago, rest):
    """Tell whether a channel may not decide yet, whatever it sees."""
    return asked_ago < rest - 1e-9


@kernel
def wants_plan(age, asked_ago, rest, changed, miss, speed, lasts, tolerance):
    """Tell whether a channel decides now.

    `age` is the plan's, `lasts` how long it may run while it moves, `asked_ago` the
    time since the last decision [s]; `changed`, `miss` and `speed` are in the units of
    the tolerance.
    """
    if rests(asked_ago, rest):
        return False
    if changed > tolerance:
        return True
    if age >= PLAN_STALE_S - 1e-9 and miss > tolerance:
        return True
    return age >= lasts - 1e-9 and abs(speed) * COAST_S > tolerance


@kernel
def framed_point(figures, weights, cue, aim, ahead):
    """Return the weighted aim point of a cue's subjects, `ahead` [s] of a tick.

    `figures` are as `note_figures` fills them, `aim` the share of floor to eyes.
    """
    total = x = y = z = 0.0
    for s in range(weights.shape[1]):
        share = weights[cue, s]
        if share > 0.0:
            moved = moved_figure(noted_figure(figures, s), ahead)
            bx, by, bz = point_of(moved, aim)
            total += share
            x += share * bx
            y += share * by
            z += share * bz
    return x / total, y / total, z / total


@kernel
def only_subject(weights, cue):
    """Return the subject that alone is framed in a cue, or -1 if several are."""
    only = -1
    for s in range(weights.shape[1]):
        if weights[cue, s] > 0.0:
            if only >= 0:
                return -1
            only = s
    return only


@kernel
def primary_subject(weights, cue):
    """Return the subject with the largest weight in a cue, the first of equals."""
    lead = 0
    for s in range(weights.shape[1]):
        if weights[cue, s] > weights[cue, lead]:
            lead = s
    return lead
