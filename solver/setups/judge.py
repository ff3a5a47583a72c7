"""The judge of a trial: looks at every frame of a camera's plans and counts."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ..action.body import EYES
from ..action.framing import Framing
from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..crew.operator import SAFE
from ..crew.plan import evaluate_plan
from ..elementary.arctangent import atan2
from ..elementary.exponential import log2
from ..elementary.trigonometry import sin_cos
from ..frame.head import head_kept, head_on_screen
from ..frame.hidden import stands_between
from ..frame.projection import (
    Screen,
    Shaking,
    from_lens,
    on_screen,
    shake_at,
    span_on_screen,
    turn_of,
)
from ..measures.measure import MOVING_DEG_S, MOVING_M_S, SIZE_KEPT
from ..rigs.rig import rig_place

MUST_HOLD = ((0.4, 0.99), (0.25, 0.98), (0.0, 0.95))
MUST_SIZE = 0.60
MUST_CLEAR_M = 1.0  # of rail and anyone's path
"""Shares of the frames, and room, that a setup must keep; heads by the least span of
the body that is asked for, fractions of stature: a face that fills the frame is cut by
steps that a whole figure has room for. The size may be as much larger as `SIZE_KEPT`
says, and down to `LOOSE_SIZE` of it: who jumps about is held in a looser frame."""
LOOSE_SIZE = 2 / 3
LOOSE_LOG2 = float(np.log2(LOOSE_SIZE))
VIEW_KEPT_COS = np.cos(np.radians(35))
MOVING_RAD_S = float(np.radians(MOVING_DEG_S))
SIZE_KEPT_LOG2 = float(np.log2(1 + SIZE_KEPT))

(
    IN,
    SAFE_IN,
    HEAD_HELD,
    OTHERS_HELD,
    SIZED,
    NEAR_SIZE,
    VIEWED,
    ANGLED,
    BLOCKED,
    SIZE_RMS,
    HEADROOM_OFF,
    RIPPLE,
    DRIFT,
    CLOSEST,
    TURN,
    SWING,
    REVERSALS,
    PAN_REVERSALS,
    TILT_REVERSALS,
    RAIL_LOW,
    RAIL_HIGH,
    PATH_GAP,
    PAN_RATE,
    TILT_RATE,
    DOLLY_RATE,
    REFUSED,
) = range(26)
N_NUMBERS = 26
N_SHARES = BLOCKED + 1  # of the frames that show the subject


def must_hold(framings: Sequence[Framing]) -> float:
    """Return the share of the frames in which heads must be held, 0 to 1."""
    span = min([framing.top - framing.bottom for framing in framings])
    for least, share in MUST_HOLD:
        if span >= least:
            return share
    return MUST_HOLD[-1][1]


class PlanLogs(NamedTuple):
    """Logs of the plans of dolly, pan and tilt, and what was asked at the ticks."""

    rails: FloatArray
    pans: FloatArray
    tilts: FloatArray
    ticks: FloatArray
    aims: FloatArray


class Lensed(NamedTuple):
    """Through what a trial is seen: the `Screen`, the roll [rad] and the `Shaking`."""

    screen: Screen
    roll_rad: float
    shaking: Shaking


class TrialRows(NamedTuple):
    """What a trial fills: a row a frame, and its numbers.

    `cams` (n, 5) has place, pan and tilt, `screen` (n, 3) u, v and the size, a share of
    the frame height; `numbers` (N_NUMBERS,).
    """

    cams: FloatArray
    screen: FloatArray
    numbers: FloatArray


@kernel
def back_and_forth(direction, speed, crawl):
    """Return the direction of a move from now on, and whether it has turned back."""
    if abs(speed) <= crawl:
        return direction, 0
    sign = 1.0 if speed > 0 else -1.0
    return sign, 1 if direction * sign < 0 else 0


@kernel
def point_of(points, k):
    """Return point k of (n, 3)."""
    return points[k, 0], points[k, 1], points[k, 2]


@kernel
def head_at(bodies, who, f, seen_from, shake, screen):
    """Return the crown's height on screen, and whether head and eyes are in frame.

    `seen_from` is the place of the lens and its turn, `shake` as of `shake_at`.
    """
    place, turn = seen_from
    shift, turned = shake
    foot = (bodies[who, 0, f, 0], bodies[who, 0, f, 1], bodies[who, 0, f, 2])
    crown = (bodies[who, 1, f, 0], bodies[who, 1, f, 1], bodies[who, 1, f, 2])
    floor = from_lens(foot, place, turn)
    top = from_lens(crown, place, turn)
    eyes = (
        floor[0] + EYES * (top[0] - floor[0]),
        floor[1] + EYES * (top[1] - floor[1]),
        floor[2] + EYES * (top[2] - floor[2]),
    )
    floor = from_lens(floor, shift, turned)
    eyes = from_lens(eyes, shift, turned)
    _, crown_v, _, _, whole, eyes_in = head_on_screen(floor, eyes, screen)
    return crown_v, whole, eyes_in


@kernel
def bearing_rate(walked, cams, times, f):
    """Return how fast the bearing of a stride's place changes about frame f [rad/s]."""
    one, two = max(f - 1, 0), min(f + 1, times.shape[0] - 1)
    first = atan2(cams[one, 0] - walked[one, 0], cams[one, 2] - walked[one, 2])
    then = atan2(cams[two, 0] - walked[two, 0], cams[two, 2] - walked[two, 2])
    turn = then - first
    return (turn - 2 * np.pi * np.round(turn / (2 * np.pi))) / (times[two] - times[one])


@kernel
def body_gap(bodies, k, f, cam):
    """Return the distance of body k from the lens at a frame, nearest at its height."""
    low, high = bodies[k, 0, f, 1], bodies[k, 1, f, 1]
    share = 0.5
    if high - low > 1e-9:
        share = min(max((cam[1] - low) / (high - low), 0.0), 1.0)
    square = 0.0
    for c in range(3):
        foot = bodies[k, 0, f, c]
        off = foot + share * (bodies[k, 1, f, c] - foot) - cam[c]
        square += off * off
    return np.sqrt(square)


@kernel
def judge(rig, plans, action, view, lensed, verdict):
    """Fill the shares and most other numbers of a trial, camera and screen a frame.

    Args:
        rig: shape of the rig.
        plans: the `PlanLogs`.
        action: the `Action`.
        view: asked bearing of the lens, from the heading [rad].
        lensed: the `Lensed`, its shake a row a frame.
        verdict: filled up to RAIL_HIGH.
    """
    # Named once: who is handed a tuple of arrays is handed all that it holds.
    times, seen, bodies, rise = action.times_s, action.seen, action.bodies, action.rise
    primary, tops, asked_crowns = action.primary, action.tops, action.crown_v
    held, held_by, ahead, asked_log2 = (
        action.held,
        action.held_by,
        action.ahead,
        action.asked_log2,
    )
    points, tops_at, lows_at, eyes_at = action.aim, action.top, action.low, action.eyes
    rails, pans, tilts, ticks = plans.rails, plans.pans, plans.tilts, plans.ticks
    aims, shaking, roll = plans.aims, lensed.shaking, lensed.roll_rad
    cams, shown_at, out = verdict.cams, verdict.screen, verdict.numbers
    screen = lensed.screen
    n = times.shape[0]
    view_x, view_z = sin_cos(view)
    on_rail = rig.length > 0.0
    s = speed = 0.0
    cam = rig_place(rig, s)
    r = p = t = 0
    tick = 0
    pan_speeds = np.empty(n)
    good = np.zeros(N_SHARES)
    shown = roomy = 0
    size_square = headroom_off = drift = turned = 0.0
    closest = np.inf
    pan_low, pan_high = np.inf, -np.inf
    rail_low, rail_high = np.inf, -np.inf
    rail_way = pan_way = tilt_way = 0.0
    rail_back = pan_back = tilt_back = 0
    for f in range(n):
        now = times[f]
        while r + 1 < rails.shape[0] and rails[r + 1, 0] <= now:
            r += 1
        while p + 1 < pans.shape[0] and pans[p + 1, 0] <= now:
            p += 1
        while t + 1 < tilts.shape[0] and tilts[t + 1, 0] <= now:
            t += 1
        while tick + 1 < ticks.shape[0] and ticks[tick + 1] <= now + 1e-9:
            tick += 1
        if on_rail:
            s, speed, _ = evaluate_plan(rails, r, now)
            cam = rig_place(rig, s)
        pan, pan_speed, _ = evaluate_plan(pans, p, now)
        tilt, tilt_speed, _ = evaluate_plan(tilts, t, now)
        cams[f, 0], cams[f, 1], cams[f, 2] = cam[0], cam[1], cam[2]
        cams[f, 3], cams[f, 4] = pan, tilt
        pan_speeds[f] = pan_speed
        rail_low, rail_high = min(rail_low, s), max(rail_high, s)
        pan_low, pan_high = min(pan_low, pan), max(pan_high, pan)
        turned = max(turned, abs(pan_speed))
        rail_way, back = back_and_forth(rail_way, speed, MOVING_M_S)
        rail_back += back
        pan_way, back = back_and_forth(pan_way, pan_speed, MOVING_RAD_S)
        pan_back += back
        tilt_way, back = back_and_forth(tilt_way, tilt_speed, MOVING_RAD_S)
        tilt_back += back
        for k in range(bodies.shape[0]):
            closest = min(closest, body_gap(bodies, k, f, cam))
        if not seen[f]:
            shown_at[f, 0] = shown_at[f, 1] = shown_at[f, 2] = np.nan
            continue
        shown += 1
        turn = turn_of(pan, tilt, roll)
        seen_from, shake = (cam, turn), shake_at(shaking, f)
        x, y, z = from_lens(point_of(points, f), cam, turn)
        u, v = on_screen(x, y, z, screen)
        shown_at[f, 0], shown_at[f, 1] = u, v
        off = max(abs(u), abs(v))
        good[IN] += off <= 1
        good[SAFE_IN] += off <= SAFE
        asked_u, asked_v = aims[tick, 0], aims[tick, 1] + screen.axis_v
        drift = max(drift, min(max(abs(u - asked_u), abs(v - asked_v)), 9.0))
        crown_v, whole, eyes_in = head_at(
            bodies, primary[f], f, seen_from, shake, screen
        )
        good[HEAD_HELD] += head_kept(whole, eyes_in, tops[f])
        if not np.isnan(asked_crowns[f]):
            asked_crown = asked_crowns[f] + screen.axis_v
            headroom_off += min(abs(crown_v - asked_crown), 9.0) / 2
            roomy += 1
        kept = True
        for k in range(held_by.shape[0]):
            if kept and not np.isnan(held[k, f, 0]):
                _, whole, eyes_in = head_at(
                    bodies, held_by[k], f, seen_from, shake, screen
                )
                kept = head_kept(whole, eyes_in, tops[f])
        good[OTHERS_HELD] += kept
        for k in range(bodies.shape[0]):
            if k != primary[f] and stands_between(bodies, k, f, cam, points):
                good[BLOCKED] += 1
                break
        top = from_lens(point_of(tops_at, f), cam, turn)
        low = from_lens(point_of(lows_at, f), cam, turn)
        size, _ = span_on_screen(top, low, screen)
        shown_at[f, 2] = size
        off = -9.0
        if size > 0.0:
            off = min(9.0, max(-9.0, log2(size) - asked_log2[f]))
        size_square += off * off
        good[SIZED] += abs(off) <= SIZE_KEPT_LOG2
        good[NEAR_SIZE] += LOOSE_LOG2 <= off <= SIZE_KEPT_LOG2
        eyes = point_of(eyes_at, f)
        dx, dz = cam[0] - eyes[0], cam[2] - eyes[2]
        level = np.sqrt(dx * dx + dz * dz)
        ahead_x, ahead_z = ahead[f, 0], ahead[f, 1]
        asked_x = ahead_x * view_z + ahead_z * view_x
        asked_z = ahead_z * view_z - ahead_x * view_x
        good[VIEWED] += -(dx * asked_x + dz * asked_z) >= VIEW_KEPT_COS * level
        good[ANGLED] += rise[f, 0] * level <= cam[1] - eyes[1] <= rise[f, 1] * level
    least = max(shown, 1)
    for k in range(N_SHARES):
        out[k] = good[k] / least
    out[SIZE_RMS] = np.sqrt(size_square / least)
    out[HEADROOM_OFF] = headroom_off / max(roomy, 1)
    out[RIPPLE] = ripple_of(action, cams, pan_speeds)
    out[DRIFT] = drift
    out[CLOSEST] = closest
    out[TURN] = turned
    out[SWING] = pan_high - pan_low
    out[REVERSALS] = rail_back
    out[PAN_REVERSALS] = pan_back
    out[TILT_REVERSALS] = tilt_back
    out[RAIL_LOW] = rail_low
    out[RAIL_HIGH] = rail_high


@kernel
def ripple_of(action, cams, pan_speeds):
    """Return the r.m.s. of pan rate less bearing rate where the motion is even [rad/s].

    0 where it is even at no frame.
    """
    square = 0.0
    count = 0
    for f in range(cams.shape[0]):
        if action.even[f]:
            rate = bearing_rate(action.walked, cams, action.times_s, f)
            square += (pan_speeds[f] - rate) ** 2
            count += 1
    return np.sqrt(square / max(count, 1))
