"""The knots of a channel: where the pieces of its plans meet.

A channel's path is the plan in force at each time, a piecewise cubic, and a new plan
starts from the state that the one before has reached. So value and speed at the ends
of the pieces say all: between two knots the path is the cubic that has their values
and speeds (Hermite's).
"""

import numpy as np

from ..arrays import FloatArray
from .perform import Plans
from .plan import LENGTHS

_SAME_S = 1e-9  # knots closer than this are one


def channel_knots(plans: Plans, first_s: float, last_s: float) -> FloatArray:
    """Return the knots of a channel from one time to another.

    Args:
        plans: the channel's plans.
        first_s: time of the first knot [s].
        last_s: time of the last knot [s], >= first_s.

    Returns:
        (k, 3): time [s], value and speed in channel units, ascending in time; one
        row where both times are the same.
    """
    starts, lengths = plans.starts_s, plans.log[:, LENGTHS:]
    joints = starts[:, None] + lengths.cumsum(axis=1)
    # Of the joints of a plan those count that come before the next plan.
    inside = joints[:-1][joints[:-1] < starts[1:, None]]
    times = np.concatenate((starts, inside, joints[-1]))
    times.sort()
    times = times[(times > first_s + _SAME_S) & (times < last_s - _SAME_S)]
    times = np.concatenate(((first_s,), times, (last_s,)))
    apart = times[1:] - times[:-1] > _SAME_S
    times = np.concatenate((times[:1], times[1:][apart]))
    knots = plans.at(times)
    knots[:, 1:] = knots[:, :2]
    knots[:, 0] = times
    return knots
