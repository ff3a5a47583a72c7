"""What no crew could better: what a setup breaks for certain, before it is worked.

The bound is on the safe side: it knows only that the lens is somewhere on the rail and
that the aim point is in frame, wherever in the frame.
"""

from math import atan, hypot
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..compiled import kernel
from .action import Action
from .clearance import RAIL_SAMPLES, rail_gap, rail_samples
from .judge import SIZE_KEPT_LOG2
from .score import MUST_CLEAR_M, MUST_IN, MUST_SIZE
from .setup import Ask, Setup

MAY_BE_OUT = 1.0 - MUST_IN + 1e-9  # share of frames
LOOKED_AT = 2  # every so many frames; enough where most are lost


class Figures(NamedTuple):
    """What of an action a bound reads; see `Action`."""

    aim: FloatArray
    top: FloatArray
    low: FloatArray
    held: FloatArray
    seen: BoolArray
    asked_log2: FloatArray
    bodies: FloatArray


class Outlook:
    """What setups of a shot break of its musts at least; the stage is left out."""

    def __init__(self, ask: Ask, action: Action) -> None:
        """Take a shot with what its setup may be, and its action."""
        self._gate = ask.shot.gate
        self._figures = Figures(*(getattr(action, name) for name in Figures._fields))
        self._optics: dict[float, tuple[float, float]] = {}

    def may_break(self, setup: Setup, *, at_most: float) -> bool:
        """Tell whether all that a setup breaks may add up to no more than `at_most`.

        Args:
            setup: on sticks or with a rail.
            at_most: sum of what is broken, as `score.Judged.broken` counts it.
        """
        if at_most == np.inf:
            return True
        focal = setup.lens.focal_mm
        if focal not in self._optics:
            tx, ty = self._gate.half_tangents(focal)
            corner = atan(hypot(tx, ty * (1.0 + abs(self._gate.axis_v))))
            self._optics[focal] = corner, ty
        can: bool = may_frame(
            setup.rig.shape, self._figures, *self._optics[focal], at_most
        )
        return can


@kernel
def apart(cam, one, two, near):
    """Return the angle between two points from a place, and how much it may be off.

    The place is known to within `near` [m]. An error of pi tells nothing.
    """
    ax, ay, az = one[0] - cam[0], one[1] - cam[1], one[2] - cam[2]
    bx, by, bz = two[0] - cam[0], two[1] - cam[1], two[2] - cam[2]
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    angle = np.arctan2(np.sqrt(x * x + y * y + z * z), ax * bx + ay * by + az * bz)
    if near == 0.0:
        return angle, near
    first = np.sqrt(ax * ax + ay * ay + az * az)
    second = np.sqrt(bx * bx + by * by + bz * bz)
    if min(first, second) <= near:
        return angle, np.pi
    return angle, np.arcsin(near / first) + np.arcsin(near / second)


@kernel
def size_possible(cam, figures, frame, near, half, ty):
    """Tell whether the size of a frame can be kept from a place, its aim point in it.

    On the image plane an angle takes least room about the axis, and most outward from
    the corner of the frame.
    """
    aim, top, low = figures.aim[frame], figures.top[frame], figures.low[frame]
    asked_log2 = figures.asked_log2[frame]
    span, off = apart(cam, top, low, near)
    least = np.tan(max(span - off, 0.0) / 2) / ty
    if np.log2(max(least, 1e-9)) - asked_log2 > SIZE_KEPT_LOG2:
        return False
    up, off = apart(cam, aim, top, near)
    up += off
    down, off = apart(cam, aim, low, near)
    down += off
    if half + max(up, down) >= np.pi / 2:
        return True
    most = np.tan(half + up) + np.tan(half + down) - 2 * np.tan(half)
    return np.log2(max(most / (2 * ty), 1e-9)) - asked_log2 >= -SIZE_KEPT_LOG2


@kernel
def may_frame(rig, figures, half, ty, at_most):
    """Tell whether what a rig breaks for certain adds up to no more than `at_most`.

    `half` is the angle from the optical axis to the corner of the frame, `ty` the
    tangent of half its height.
    """
    if rig.length > 0.0:
        lack = MUST_CLEAR_M - rail_gap(rig, figures.bodies)
        at_most -= max(0.0, lack) / MUST_CLEAR_M
        if at_most < 0.0:
            return False
    # Where the aim point is out of frame, nothing is known of the others nor of the
    # size; but that breaks a must of its own.
    most_apart = 2 * MAY_BE_OUT + (1.0 - MUST_IN) * at_most
    most_missized = 1.0 - MUST_SIZE + MAY_BE_OUT + MUST_SIZE * at_most
    places = rail_samples(rig)
    near = rig.length / (RAIL_SAMPLES - 1) / 2  # no part is further from one of them
    aim, held, seen = figures.aim, figures.held, figures.seen
    shown = apart_count = missized = 0
    pair = fit = 0  # the place that did for the frame before is tried first
    n = places.shape[0]
    for f in range(aim.shape[0]):
        if seen[f]:
            shown += 1
    # Frames in between can only add to what is lost.
    for f in range(0, aim.shape[0], LOOKED_AT):
        if not seen[f]:
            continue
        lost = True
        for i in range(n):
            at = (pair + i) % n
            within = True
            for k in range(held.shape[0]):
                if np.isnan(held[k, f, 0]):
                    continue
                angle, off = apart(places[at], aim[f], held[k, f], near)
                within = within and angle - off <= 2 * half
            if within:
                pair, lost = at, False
                break
        apart_count += lost
        lost = True
        for i in range(n):
            at = (fit + i) % n
            if size_possible(places[at], figures, f, near, half, ty):
                fit, lost = at, False
                break
        missized += lost
        if apart_count > most_apart * shown or missized > most_missized * shown:
            return False
    return True
