"""Heads that are lost so far, counted while the operator works on.

Half of all setups that are tried lose heads, and most of them early. What was lost at
the frames that are over is lost whatever comes, so that such a setup need not be worked
to its end. Every other frame is looked at: those between can only add to the lost.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..crew.plan import evaluate_plan
from ..frame.head import head_kept
from ..frame.projection import shake_at, turn_of
from ..rigs.rig import rig_place
from .judge import head_at

LOOKED_AT = 2  # every so many frames


class Lost(NamedTuple):
    """Frames without the head of the primary, and of another one; and up to where.

    Attributes:
        primary: frames at which the head of the primary subject is lost.
        others: at which that of anybody else who must be held is.
        frame: the next to be looked at.
        rail, pan, tilt: plans in force at the one before.
    """

    primary: int
    others: int
    frame: int
    rail: int
    pan: int
    tilt: int


NOTHING_LOST = Lost(0, 0, 0, 0, 0, 0)


class Operated(NamedTuple):
    """A rig with the plans made so far: the first rows of each log.

    Attributes:
        rails: of the dolly, all.
        heads: of pan and of tilt, (2 * most, PLAN_WIDTH).
        made: how many of pan and of tilt, (2,).
    """

    rails: FloatArray
    heads: FloatArray
    made: FloatArray


@kernel
def lost_until(lost, until, rig, operated, action, lensed):
    """Return the `Lost` at the frames before a time, from an earlier count.

    Args:
        lost: the earlier count.
        until: time at which the operator may decide next [s].
        rig: shape of the rig.
        operated: the `Operated`.
        action: the `Action`.
        lensed: the `judge.Lensed`.
    """
    primary_lost, others_lost, f, r, p, t = lost
    times, seen, bodies, tops = action.times_s, action.seen, action.bodies, action.tops
    primary, held, held_by = action.primary, action.held, action.held_by
    rails, heads, made = operated.rails, operated.heads, operated.made
    shaking, roll, screen = lensed.shaking, lensed.roll_rad, lensed.screen
    most = heads.shape[0] // 2
    on_rail = rig.length > 0.0
    cam = rig_place(rig, 0.0)
    while f < times.shape[0] and times[f] < until:
        now = times[f]
        if seen[f]:
            if on_rail:
                while r + 1 < rails.shape[0] and rails[r + 1, 0] <= now:
                    r += 1
                s, _, _ = evaluate_plan(rails, r, now)
                cam = rig_place(rig, s)
            while p + 1 < made[0] and heads[p + 1, 0] <= now:
                p += 1
            while t + 1 < made[1] and heads[most + t + 1, 0] <= now:
                t += 1
            pan, _, _ = evaluate_plan(heads, p, now)
            tilt, _, _ = evaluate_plan(heads, most + t, now)
            seen_from, shake = (
                (cam, turn_of(pan, tilt, roll)),
                shake_at(shaking, f),
            )
            _, whole, eyes = head_at(bodies, primary[f], f, seen_from, shake, screen)
            primary_lost += not head_kept(whole, eyes, tops[f])
            for k in range(held_by.shape[0]):
                if np.isnan(held[k, f, 0]):
                    continue
                _, whole, eyes = head_at(
                    bodies, held_by[k], f, seen_from, shake, screen
                )
                if not head_kept(whole, eyes, tops[f]):
                    others_lost += 1
                    break
        f += LOOKED_AT
    return Lost(primary_lost, others_lost, f, r, p, t)


@kernel
def broken_by(lost, shown, may_be_out):
    """Return what lost heads break for certain, as `score.Judged.broken` counts it.

    Args:
        lost: the `Lost`.
        shown: frames that show the subject.
        may_be_out: share of them in which a head may be lost, over 0.
    """
    frames = max(shown, 1)
    first = lost.primary / frames / may_be_out - 1.0
    return max(first, 0.0) + max(lost.others / frames / may_be_out - 1.0, 0.0)
