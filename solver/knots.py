"""The knots of a channel: where the pieces of its plans meet.

A channel's path is the plan in force at each time, a piecewise cubic, and a new plan
starts from the state that the one before has reached. So value and speed at the ends
of the pieces say all: between two knots the path is the cubic that has their values
and speeds (Hermite's).
"""

import numpy as np

from .arrays import FloatArray
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
    starts = plans.starts_s
    ends = np.append(starts[1:], np.inf)
    lengths = plans.log[:, LENGTHS:]
    joints = starts[:, None] + np.cumsum(lengths, axis=1)
    inside = joints[joints < ends[:, None]]
    times = np.sort(np.concatenate([starts, inside]))
    times = times[(times > first_s + _SAME_S) & (times < last_s - _SAME_S)]
    times = np.concatenate([[first_s], times, [last_s]])
    times = times[np.append(True, np.diff(times) > _SAME_S)]
    return np.column_stack([times, plans.at(times)[:, :2]])
