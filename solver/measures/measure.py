"""What a take is judged by: numbers over the frames of the cut, primary subject.

Measures read the whole take and may look both ways in time; the crew never does.
"""

from math import degrees, isfinite, log2, radians, sqrt

import numpy as np

from ..action.acted import acted, acted_gap, acted_sight, of_each
from ..action.framing import angle_range, framing_at, primary_points
from ..arrays import FloatArray
from ..crew.perform import Plans
from ..frame.head import UNCUT
from ..frame.hidden import NOTHING
from ..frame.tally import (
    ANGLED,
    BODY_IN,
    DRIFT_MOST,
    DRIFT_SQUARE,
    HEAD_HELD,
    IN_FRAME,
    N_TALLIES,
    OTHERS_HELD,
    OWN_PAN_SPEED,
    PAN_ACCEL,
    PAN_HIGH,
    PAN_LOW,
    PAN_REVERSED,
    PAN_SPEED,
    RAIL_ACCEL,
    RAIL_HIGH,
    RAIL_LOW,
    RAIL_SPEED,
    REVERSED,
    SAFE_IN,
    SHAKE_PAN_SQUARE,
    SHAKE_TILT_SQUARE,
    SHOWN,
    SIZED,
    SOFT,
    TILT_HIGH,
    TILT_LOW,
    TILT_REVERSED,
    TILT_SPEED,
    FramingsAsked,
    Moves,
    Picture,
    starts_within,
    tally,
    tally_moves,
)
from ..take import Take
from .moves import Camera, Followed, followed
from .on_stage import Measures, laid_of, on_stage

SIZE_KEPT = 0.25
SIZE_KEPT_LOG2 = log2(1 + SIZE_KEPT)
MOVING_DEG_S = 1.0  # an axis that never turns faster is still
MOVING_M_S = 0.02


def measure(take: Take) -> Measures:
    """Return a take's measures, flat, units in the names.

    Shares are of the cut's samples at which the primary subject is to be seen, hidden
    neither by its data nor by a keep-out or a person; `seen` is that share of the cut,
    `hidden` the share in which something stands before it. `head_in_frame` is of the
    final, shaken picture: crown, chin
    and both sides (eyes and sides where the size cuts the crown). None
    stands where a number would mean nothing (no such sample, or too little motion).
    """
    shot = take.shot
    first, last = np.searchsorted(take.frame, (shot.first, shot.last + 1))
    n_cut = last - first
    seconds = float(n_cut / shot.samples_per_frame / shot.rate)
    first, last = int(first), int(last)
    found = _tallied(take, first, last, _rise(take))
    follows = _followed(take, first, last)
    room = _headroom(take, first, last)
    shown = found[SHOWN]

    def share(index: int) -> float | None:
        return float(found[index] / shown) if shown else None

    def root(square: float, n: float) -> float | None:
        return sqrt(square / n) if n and isfinite(square) else None

    def rate(plans: Plans) -> float:
        times = take.times_s
        inside: int = starts_within(plans.starts_s, times[first], times[last - 1])
        return inside / seconds

    own_speed = found[OWN_PAN_SPEED]
    return {
        "frames": int(n_cut // shot.samples_per_frame),
        "seconds": seconds,
        "seen": float(shown / n_cut) if n_cut else None,
        "hidden": float((take.hider[first:last] != NOTHING).mean()) if n_cut else None,
        "head_in_frame": share(HEAD_HELD),
        "others_in_frame": share(OTHERS_HELD),
        "headroom_p10": room[0],
        "headroom_p50": room[1],
        "headroom_p90": room[2],
        "in_frame": share(IN_FRAME),
        "body_in_frame": share(BODY_IN),
        "in_safe": share(SAFE_IN),
        "size_kept": share(SIZED),
        "angle_kept": share(ANGLED),
        "drift_rms": root(found[DRIFT_SQUARE], shown),
        "drift_max": found[DRIFT_MOST]
        if shown and isfinite(found[DRIFT_MOST])
        else None,
        "onset_lag_s": follows.onset_lag_s,
        "pan_ripple": follows.pan_ripple,
        "pan_ripple_deg_s": _degrees(follows.pan_ripple_rad_s),
        "tilt_ripple": follows.tilt_ripple,
        "tilt_ripple_deg_s": _degrees(follows.tilt_ripple_rad_s),
        "pan_overshoot_deg": _degrees(follows.pan_overshoot_rad),
        "dolly_overshoot_m": follows.dolly_overshoot_m,
        "pan_decisions_per_s": rate(take.pan_plans),
        "tilt_decisions_per_s": rate(take.tilt_plans),
        "dolly_decisions_per_s": rate(take.dolly_plans),
        "refused_plans": take.dolly_plans.refused
        + take.pan_plans.refused
        + take.focus_plans.refused,
        "whip_plans": int(take.pan_plans.whips.sum() + take.tilt_plans.whips.sum()),
        "reversals": int(found[REVERSED]),
        "pan_reversals": int(found[PAN_REVERSED]),
        "tilt_reversals": int(found[TILT_REVERSED]),
        "moving_axes": int(found[RAIL_SPEED] > MOVING_M_S)
        + int(found[PAN_SPEED] > radians(MOVING_DEG_S))
        + int(found[TILT_SPEED] > radians(MOVING_DEG_S)),
        "dolly_m": found[RAIL_HIGH] - found[RAIL_LOW],
        "dolly_max_speed_m_s": found[RAIL_SPEED],
        "dolly_max_accel_m_s2": found[RAIL_ACCEL],
        "pan_range_deg": degrees(found[PAN_HIGH] - found[PAN_LOW]),
        "pan_max_speed_deg_s": degrees(found[PAN_SPEED]),
        "pan_max_accel_deg_s2": degrees(found[PAN_ACCEL]),
        "pan_speed_used": None
        if own_speed < 0.0
        else own_speed / shot.crew.operator.max_speed,
        "tilt_range_deg": degrees(found[TILT_HIGH] - found[TILT_LOW]),
        "tilt_max_speed_deg_s": degrees(found[TILT_SPEED]),
        "closest_m": min(
            acted_gap(acted(subject), take.times_s, take.base, first, last)
            for subject in shot.subjects
        ),
        **_distances(take, first, last),
        **on_stage(shot, take.hider[first:last], laid_of(take)),
        "soft": share(SOFT),
        "strobing_deg_s": _strobing(take, first, last),
        "shake_pan_rms_deg": degrees(root(found[SHAKE_PAN_SQUARE], n_cut) or 0.0),
        "shake_tilt_rms_deg": degrees(root(found[SHAKE_TILT_SQUARE], n_cut) or 0.0),
    }


def _distances(take: Take, first: int, last: int) -> Measures:
    """Return how far the primary is from the lens, and would be at the asked size [m].

    The asked distance is the one in force at the start.
    """
    shot = take.shot
    times = take.times_s[first:last]
    aims = np.array([f.aim for f in shot.framings])
    points = primary_points(shot.subjects, shot.framings, times, aims)
    off = np.linalg.norm(points - take.base[first:last], axis=1)
    asked = shot.framings[int(framing_at(shot.framings, times[:1])[0])].distance_m
    return {
        "asked_m": asked,
        "nearest_m": float(off.min()),
        "furthest_m": float(off.max()),
    }


def _tallied(take: Take, first: int, last: int, rise: FloatArray) -> list[float]:
    """Return the tallies of samples `first` up to `last`, `N_TALLIES` of them."""
    shot, framings = take.shot, take.shot.framings
    out = np.empty(N_TALLIES)
    asked = FramingsAsked(
        starts=np.array([f.start_s for f in framings]),
        spans=np.array([f.top - f.bottom for f in framings]),
        frames=np.array([2 * shot.tangents[1] * f.distance_m for f in framings]),
        rises=np.array([angle_range(f.angle) for f in framings]),
        heights=np.array([subject.height_m for subject in shot.subjects]),
        kept_log2=SIZE_KEPT_LOG2,
    )
    picture = Picture(
        times=take.times_s,
        subject=take.subject,
        u=take.u,
        v=take.v,
        size=take.size,
        aim_u=take.aim_u,
        aim_v=take.aim_v,
        rise=rise,
        flags=(
            take.in_frame,
            take.body_in_frame,
            take.in_safe,
            take.soft,
            take.head_in_frame,
            take.head_held,
            take.others_held,
        ),
    )
    tally(first, last, asked, picture, out)
    moves = Moves(
        times=take.times_s,
        rail=take.rail,
        pan=take.pan,
        tilt=take.tilt,
        starts=take.pan_plans.starts_s,
        whips=take.pan_plans.whips,
        shake_pan=take.shake.pan,
        shake_tilt=take.shake.tilt,
    )
    tally_moves(first, last, moves, MOVING_M_S, radians(MOVING_DEG_S), out)
    numbers: list[float] = out.tolist()
    return numbers


def _followed(take: Take, first: int, last: int) -> Followed:
    """Return how the camera follows its primary; where it changes, none is followed."""
    camera = Camera(take.times_s, take.base, take.pan, take.tilt, take.rail)
    if np.ptp(take.subject[first:last]) > 0:
        return Followed(None, None, None, None, None, None, None)
    who = take.shot.subjects[int(take.subject[first])]
    return followed(camera, who.at(take.times_s, 0.0), first, last)


def _headroom(take: Take, first: int, last: int) -> list[float | None]:
    """Return the 10th, 50th and 90th percentile of the headroom, where it is asked."""
    shot = take.shot
    tops = np.array([f.top for f in shot.framings])
    uncut = tops[framing_at(shot.framings, take.times_s[first:last])] >= UNCUT
    room = take.headroom[first:last][uncut]
    room = np.sort(room[np.isfinite(room)])
    if not len(room):
        return [None, None, None]
    return [_share_below(room, share) for share in (0.1, 0.5, 0.9)]


def _share_below(values: FloatArray, share: float) -> float:
    """Return the quantile of ascending values, linear between two of them."""
    at = share * (len(values) - 1)
    k = min(int(at), max(len(values) - 2, 0))
    low, high = float(values[k]), float(values[min(k + 1, len(values) - 1)])
    on = at - k
    # From the nearer end, so that the ends are met to the bit.
    return low + (high - low) * on if on < 0.5 else high - (high - low) * (1.0 - on)


def _degrees(angle: float | None) -> float | None:
    return None if angle is None else degrees(angle)


def _rise(take: Take) -> FloatArray:
    """Return the angle of the lens over the primary's eyes, (n,) [rad]."""
    bearing, rise = np.empty(len(take.times_s)), np.empty(len(take.times_s))
    for k, mine in of_each(take.subject):
        who = acted(take.shot.subjects[k])
        acted_sight(who, take.times_s, mine, take.base, bearing, rise)
    return rise


def _strobing(take: Take, first: int, last: int) -> float:
    """Return the fastest pan while the eye has only the background [deg/s].

    That is where the subject is hidden or out of the frame: an eye that follows the
    subject does not see the background streak. The seven-second rule holds for a
    background that the eye follows (common practice, no source).
    """
    alone = ~take.head_in_frame & ~take.in_frame
    pan = np.abs(take.pan[first:last, 1][alone[first:last]])
    return degrees(float(pan.max(initial=0.0)))
