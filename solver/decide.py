"""The crew at work: grip, then operator, then focus puller, decision by decision.

Each channel follows its plan until what is newly believed differs from what the plan
expected by more than the tolerance and the rest is over (event-driven intermittent
control: Gawthrop, Loram, Lakie & Gollee 2011, Biol Cybern 104:31-51), or the plan is
stale and its own expected miss exceeds the tolerance, or it is spent and leaves the
channel moving, or a cue starts. Decisions fall
on ticks (frames); a plan starts from the state in which the last one left the channel.
The operator knows the dolly's plan in force at the tick, the puller all three.

Kernel notation: `log` (rows of PLAN_WIDTH) holds a channel's plans; `poly` the target
polynomial that the plan in force was made for; `p`, `w` believed places and velocities
(n_subjects, n_ticks, 2 [floor, eyes], 3); `cues` rows of framing numbers (CUE_*).
"""

import numpy as np

from .compiled import kernel
from .crew import COAST_S, PLAN_SPENT, PLAN_STALE_S
from .planner import N_NODES

CUE_START, CUE_AIM, CUE_U, CUE_V, CUE_LEAD, CUE_LOOK, CUE_DISTANCE, CUE_WHIP = range(8)
START_SHARE = 0.9  # of a limit that a channel may use as the shot starts


@kernel
def horizon(poly, span, age):
    """Return the target that a plan was made for, straight on after its horizon."""
    x = min(age / span, 1.0)
    value = 0.0
    slope = 0.0
    for i in range(N_NODES - 1, -1, -1):
        slope = slope * x + value
        value = value * x + poly[i]
    return value + slope * max(0.0, age / span - 1.0)


@kernel
def fit_horizon(pl, target, poly):
    """Fill the polynomial coefficients of node targets."""
    for i in range(N_NODES):
        s = 0.0
        for k in range(N_NODES):
            s += pl.poly[i, k] * target[k]
        poly[i] = s


@kernel
def wants_plan(age, asked_ago, rest, changed, miss, speed, span, tolerance):
    """Tell whether a channel decides now.

    `age` is the plan's, `span` its horizon, `asked_ago` the time since the last
    decision [s]; `changed`, `miss` and `speed` are in the units of the tolerance.
    """
    if asked_ago < rest - 1e-9:
        return False
    if changed > tolerance:
        return True
    if age >= PLAN_STALE_S - 1e-9 and miss > tolerance:
        return True
    return age >= PLAN_SPENT * span and abs(speed) * COAST_S > tolerance


@kernel
def body_point(p, subject, tick, aim, c):
    """Return coordinate c of the believed point at `aim` of floor to eyes."""
    floor = p[subject, tick, 0, c]
    return floor + (p[subject, tick, 1, c] - floor) * aim


@kernel
def believed(p, w, subject, tick, aim, ahead, fade, c):
    """Return coordinate c of a body point believed `ahead` seconds after a tick.

    `fade` (3,) is the time constant of each axis's velocity [s].
    """
    reach = -fade[c] * np.expm1(-ahead / fade[c])
    return body_point(p, subject, tick, aim, c) + reach * body_point(
        w, subject, tick, aim, c
    )


@kernel
def framed_point(p, w, weights, tick, aim, ahead, fade, out):
    """Fill `out` (3,) with the weighted aim point believed `ahead` seconds later."""
    total = 0.0
    for c in range(3):
        out[c] = 0.0
    for s in range(weights.shape[0]):
        if weights[s] > 0.0:
            total += weights[s]
            for c in range(3):
                out[c] += weights[s] * believed(p, w, s, tick, aim, ahead, fade, c)
    for c in range(3):
        out[c] /= total
