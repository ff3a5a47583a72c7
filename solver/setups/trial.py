"""A trial: the real grip and operator work a setup, and a judge looks at every frame.

A trial makes the very plans that `operate` makes for the same setup; it leaves out
what choosing needs not (focus, shake, samples between frames), so that many setups
can be tried. Its numbers agree with `measure` of the take, which a test holds.
"""

from dataclasses import dataclass
from math import degrees

import numpy as np

from ..arrays import FloatArray
from ..compiled import kernel
from ..measure import MOVING_M_S, SIZE_KEPT
from ..observe import Observed, observe, preroll_frames
from ..operator import SAFE
from ..perform import Plans, dolly_plans, head_plans
from ..plan import evaluate_plan
from ..rig import rig_place
from ..shot import Shot
from ..tally import starts_within
from .action import Action, action_of
from .setup import Ask, Setup, in_setup
from .stage import Stage, sight_hidden

VIEW_KEPT = np.radians(35)
BODY_RADIUS_M = 0.25  # of whoever stands in the way; common practice, no source
SIZE_KEPT_LOG2 = float(np.log2(1 + SIZE_KEPT))

(
    IN,
    SAFE_IN,
    HELD_IN,
    SIZED,
    SIZE_RMS,
    VIEWED,
    ANGLED,
    DRIFT,
    CLOSEST,
    TURN,
    SWING,
    REVERSALS,
    BLOCKED,
    RAIL_LOW,
    RAIL_HIGH,
) = range(15)
N_NUMBERS = 15


@kernel
def screen_point(point, cam, pan, tilt, roll, tx, ty):
    """Return u, v of a point and its depth; u and v are infinite behind the lens."""
    dx, dy, dz = point[0] - cam[0], point[1] - cam[1], point[2] - cam[2]
    sp, cp = np.sin(pan), np.cos(pan)
    st, ct = np.sin(tilt), np.cos(tilt)
    x = dx * cp - dz * sp
    back = dx * sp + dz * cp
    y = dy * ct + back * st
    z = back * ct - dy * st
    if z >= 0.0:
        return np.inf, np.inf, -z
    right = x * np.cos(roll) + y * np.sin(roll)
    up = y * np.cos(roll) - x * np.sin(roll)
    return right / (-z * tx), up / (-z * ty), -z


@kernel
def stands_between(feet, crown, cam, point):
    """Tell whether a body stands in the line from the lens to a point."""
    dx, dz = point[0] - cam[0], point[2] - cam[2]
    square = dx * dx + dz * dz
    if square < 1e-9:
        return False
    share = ((feet[0] - cam[0]) * dx + (feet[2] - cam[2]) * dz) / square
    if share <= 0.0 or share >= 1.0:
        return False
    off = np.hypot(cam[0] + share * dx - feet[0], cam[2] + share * dz - feet[2])
    height = cam[1] + share * (point[1] - cam[1])
    return off < BODY_RADIUS_M and feet[1] <= height <= crown[1]


@kernel
def judge(
    rig,
    rails,
    pans,
    tilts,
    ticks,
    aims,
    times,
    aim,
    top,
    low,
    eyes,
    seen,
    primary,
    asked_log2,
    held,
    bodies,
    heading,
    view,
    rise,
    roll,
    tx,
    ty,
    axis_v,
    cams,
    screen,
    out,
):
    """Fill the numbers of a trial (N_NUMBERS,), and camera and screen place a frame.

    `cams` (n, 5) is filled with place, pan and tilt, `screen` (n, 3) with u, v and the
    size, a share of the frame height.
    """
    n = times.shape[0]
    cam = np.zeros(3)
    r = p = t = 0
    tick = 0
    good = np.zeros(N_NUMBERS)
    shown = 0
    size_square = 0.0
    drift = 0.0
    closest = np.inf
    turn = 0.0
    pan_low, pan_high = np.inf, -np.inf
    rail_low, rail_high = np.inf, -np.inf
    direction = 0.0
    reversals = 0
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
        s, speed, _ = evaluate_plan(rails, r, now)
        pan, pan_speed, _ = evaluate_plan(pans, p, now)
        tilt, _, _ = evaluate_plan(tilts, t, now)
        cam[0], cam[1], cam[2] = rig_place(rig, s)
        cams[f, 0], cams[f, 1], cams[f, 2] = cam[0], cam[1], cam[2]
        cams[f, 3], cams[f, 4] = pan, tilt
        rail_low, rail_high = min(rail_low, s), max(rail_high, s)
        pan_low, pan_high = min(pan_low, pan), max(pan_high, pan)
        turn = max(turn, abs(pan_speed))
        if abs(speed) > MOVING_M_S:
            sign = 1.0 if speed > 0 else -1.0
            if direction * sign < 0:
                reversals += 1
            direction = sign
        for k in range(bodies.shape[0]):
            feet, crown = bodies[k, 0, f], bodies[k, 1, f]
            height = crown[1] - feet[1]
            share = 0.5
            if height > 1e-9:
                share = min(max((cam[1] - feet[1]) / height, 0.0), 1.0)
            gap = 0.0
            for c in range(3):
                gap += (feet[c] + share * (crown[c] - feet[c]) - cam[c]) ** 2
            closest = min(closest, np.sqrt(gap))
        if not seen[f]:
            screen[f, 0] = screen[f, 1] = screen[f, 2] = np.nan
            continue
        shown += 1
        u, v, _ = screen_point(aim[f], cam, pan, tilt, roll, tx, ty)
        v += axis_v
        screen[f, 0], screen[f, 1] = u, v
        if abs(u) <= 1 and abs(v) <= 1:
            good[IN] += 1
        if abs(u) <= SAFE and abs(v) <= SAFE:
            good[SAFE_IN] += 1
        miss = max(abs(u - aims[tick, 0]), abs(v - aims[tick, 1] - axis_v))
        drift = max(drift, min(miss, 9.0))
        others = True
        for k in range(held.shape[0]):
            if np.isnan(held[k, f, 0]):
                continue
            hu, hv, _ = screen_point(held[k, f], cam, pan, tilt, roll, tx, ty)
            others = others and abs(hu) <= 1 and abs(hv + axis_v) <= 1
        if others:
            good[HELD_IN] += 1
        for k in range(bodies.shape[0]):
            if k != primary[f] and stands_between(
                bodies[k, 0, f], bodies[k, 1, f], cam, aim[f]
            ):
                good[BLOCKED] += 1
                break
        tu, tv, _ = screen_point(top[f], cam, pan, tilt, roll, tx, ty)
        lu, lv, _ = screen_point(low[f], cam, pan, tilt, roll, tx, ty)
        size = np.hypot((tu - lu) * tx / ty, tv - lv) / 2
        screen[f, 2] = size
        off = 9.0
        if size > 0.0 and np.isfinite(size):
            off = min(9.0, abs(np.log2(size) - asked_log2[f]))
        size_square += off * off
        if off <= SIZE_KEPT_LOG2:
            good[SIZED] += 1
        dx, dz = cam[0] - eyes[f, 0], cam[2] - eyes[f, 2]
        bearing = np.arctan2(-dx, -dz) - heading[f] - view
        bearing -= 2 * np.pi * np.round(bearing / (2 * np.pi))
        if abs(bearing) <= VIEW_KEPT:
            good[VIEWED] += 1
        over = np.arctan2(cam[1] - eyes[f, 1], np.hypot(dx, dz))
        if rise[f, 0] <= over <= rise[f, 1]:
            good[ANGLED] += 1
    least = max(shown, 1)
    for k in range(N_NUMBERS):
        out[k] = good[k] / least
    out[SIZE_RMS] = np.sqrt(size_square / least)
    out[DRIFT] = drift
    out[CLOSEST] = closest
    out[TURN] = turn
    out[SWING] = pan_high - pan_low
    out[REVERSALS] = reversals
    out[RAIL_LOW] = rail_low
    out[RAIL_HIGH] = rail_high


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """What a setup did when it was worked.

    Attributes:
        setup: as tried.
        numbers: (N_NUMBERS,), see the constants.
        pan_rate, dolly_rate: decisions a second in the cut.
        hidden: share of frames in which something stands before the subject.
        refused: decisions for which no plan existed.
        cams: lens place, pan and tilt at the frames of the cut, (n, 5).
        screen: u, v and size of the primary at them, (n, 3).
    """

    setup: Setup
    numbers: FloatArray
    pan_rate: float
    dolly_rate: float
    hidden: float
    refused: int
    cams: FloatArray
    screen: FloatArray

    @property
    def turn_deg_s(self) -> float:
        """Fastest pan."""
        return degrees(float(self.numbers[TURN]))


class Rehearsal:
    """One shot on which setups are tried: what the crew sees is worked out once."""

    def __init__(self, ask: Ask, action: Action | None = None) -> None:
        """Take a shot and what is open in it."""
        self.ask = ask
        self.action = action_of(ask.shot) if action is None else action
        self._observed: dict[int, Observed] = {}
        self.n_trials = 0

    def observed(self, shot: Shot) -> Observed:
        """Return what the crew sees of the shot as it is set up."""
        n_before = preroll_frames(shot)
        if n_before not in self._observed:
            self._observed[n_before] = observe(shot, n_before)
        return self._observed[n_before]

    def tried(self, setup: Setup) -> Trial:
        """Let the crew work a setup, and judge what came of it."""
        self.n_trials += 1
        action, shot = self.action, in_setup(self.ask.shot, setup)
        observed = self.observed(shot)
        dolly = dolly_plans(shot, observed)
        pan, tilt, asked = head_plans(shot, observed, dolly)
        tx, ty = shot.tangents
        numbers = np.empty(N_NUMBERS)
        cams = np.empty((action.n_frames, 5))
        screen = np.empty((action.n_frames, 3))
        view = setup.view.bearing_rad if setup.view is not None else 0.0
        judge(
            shot.rig.shape,
            dolly.log,
            pan.log,
            tilt.log,
            observed.ticks,
            asked,
            action.times_s,
            action.aim,
            action.top,
            action.low,
            action.eyes,
            action.seen,
            action.primary,
            action.asked_log2,
            action.held,
            action.bodies,
            action.heading,
            view,
            action.rise,
            shot.roll_rad,
            tx,
            ty,
            shot.gate.axis_v,
            cams,
            screen,
            numbers,
        )
        return Trial(
            setup=setup,
            numbers=numbers,
            pan_rate=_rate(pan, action),
            dolly_rate=_rate(dolly, action),
            hidden=_hidden(self.ask.stage, cams[:, :3], action),
            refused=dolly.refused + pan.refused,
            cams=cams,
            screen=screen,
        )


def _rate(plans: Plans, action: Action) -> float:
    times = action.times_s
    first, last = float(times[0]), float(times[-1])
    n: int = starts_within(plans.starts_s, first, last)
    step = (last - first) / max(len(times) - 1, 1)
    return n / max(step * len(times), 1e-9)


def _hidden(stage: Stage, cams: FloatArray, action: Action) -> float:
    """Return the share of frames with the aim point behind a keep-out."""
    if not len(stage.keep_outs) or not action.seen.any():
        return 0.0
    return float(sight_hidden(stage, cams, action.aim)[action.seen].mean())
