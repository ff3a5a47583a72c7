"""What a take is judged by: numbers over the frames of the cut, primary subject.

Measures read the whole take and may look both ways in time; the crew never does.
"""

from math import degrees, isfinite, log2, radians, sqrt

import numpy as np

from ..action.acted import acted, acted_gap, acted_sight, of_each
from ..action.framing import angle_range
from ..arrays import FloatArray
from ..crew.perform import Plans
from ..frame.tally import (
    ANGLED,
    BODY_IN,
    DRIFT_MOST,
    DRIFT_SQUARE,
    IN_FRAME,
    N_TALLIES,
    OWN_PAN_SPEED,
    PAN_ACCEL,
    PAN_HIGH,
    PAN_LOW,
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
    TILT_SPEED,
    fastest_while_sliding,
    rates,
    starts_within,
    tally,
    tally_moves,
    unwrap,
)
from ..take import Take
from .lag import least_delay

SIZE_KEPT = 0.25
SIZE_KEPT_LOG2 = log2(1 + SIZE_KEPT)
MOVING_DEG_S = 1.0  # an axis that never turns faster is still
MOVING_M_S = 0.02
MOST_LAG_S = 1.0
LAG_STEP_S = 0.005
LAGS_S = np.arange(0.0, MOST_LAG_S + LAG_STEP_S / 2, LAG_STEP_S)
SLIDING = 0.5  # half frames a second across the frame
FAR_OUT = 3.0  # half frames; beyond, and behind the lens, how far means nothing
LEAST_TURN_DEG_S = 3.0  # below this r.m.s. a lag means nothing

Measures = dict[str, float | int | str | None]


def measure(take: Take) -> Measures:
    """Return a take's measures, flat, units in the names.

    Shares are of the cut's samples at which the primary subject is to be seen; None
    stands where a number would mean nothing (no such sample, or too little motion).
    """
    shot = take.shot
    first, last = np.searchsorted(take.frame, (shot.first, shot.last + 1))
    n_cut = last - first
    seconds = float(n_cut / shot.samples_per_frame / shot.rate)
    bearing, rise = _sight(take)
    found = _tallied(take, int(first), int(last), rise)
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
        "in_frame": share(IN_FRAME),
        "body_in_frame": share(BODY_IN),
        "in_safe": share(SAFE_IN),
        "size_kept": share(SIZED),
        "angle_kept": share(ANGLED),
        "drift_rms": root(found[DRIFT_SQUARE], shown),
        "drift_max": found[DRIFT_MOST]
        if shown and isfinite(found[DRIFT_MOST])
        else None,
        "lag_s": _lag(take, bearing),
        "pan_decisions_per_s": rate(take.pan_plans),
        "tilt_decisions_per_s": rate(take.tilt_plans),
        "dolly_decisions_per_s": rate(take.dolly_plans),
        "refused_plans": take.dolly_plans.refused
        + take.pan_plans.refused
        + take.focus_plans.refused,
        "whip_plans": int(take.pan_plans.whips.sum() + take.tilt_plans.whips.sum()),
        "reversals": int(found[REVERSED]),
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
        "soft": share(SOFT),
        "strobing_deg_s": _strobing(take, first, last),
        "shake_pan_rms_deg": degrees(root(found[SHAKE_PAN_SQUARE], n_cut) or 0.0),
        "shake_tilt_rms_deg": degrees(root(found[SHAKE_TILT_SQUARE], n_cut) or 0.0),
    }


def _tallied(take: Take, first: int, last: int, rise: FloatArray) -> list[float]:
    """Return the tallies of samples `first` up to `last`, `N_TALLIES` of them."""
    shot, framings = take.shot, take.shot.framings
    out = np.empty(N_TALLIES)
    tally(
        first,
        last,
        take.times_s,
        np.array([f.start_s for f in framings]),
        np.array([f.top - f.bottom for f in framings]),
        np.array([2 * shot.tangents[1] * f.distance_m for f in framings]),
        np.array([angle_range(f.angle) for f in framings]),
        SIZE_KEPT_LOG2,
        take.subject,
        np.array([subject.height_m for subject in shot.subjects]),
        (take.u, take.v, take.size),
        take.aim_u,
        take.aim_v,
        (take.in_frame, take.body_in_frame, take.in_safe, take.soft),
        rise,
        out,
    )
    tally_moves(
        first,
        last,
        take.times_s,
        take.rail,
        take.pan,
        take.tilt,
        take.pan_plans.starts_s,
        take.pan_plans.whips,
        MOVING_M_S,
        take.shake.pan,
        take.shake.tilt,
        out,
    )
    numbers: list[float] = out.tolist()
    return numbers


def _sight(take: Take) -> tuple[FloatArray, FloatArray]:
    """Return bearing of the eyes from the lens, and its rise over them, (n,) [rad]."""
    bearing, rise = np.empty(len(take.times_s)), np.empty(len(take.times_s))
    for k, mine in of_each(take.subject):
        who = acted(take.shot.subjects[k])
        acted_sight(who, take.times_s, mine, take.base, bearing, rise)
    unwrap(bearing)
    return bearing, rise


def _lag(take: Take, bearing: FloatArray) -> float | None:
    """Return the delay at which the pan rate best fits the subject's [s]."""
    times = take.times_s
    if len(times) < 3:
        return None
    subject = np.empty_like(bearing)
    rates(bearing, times, np.inf, subject)
    if sqrt(np.mean(subject**2)) < radians(LEAST_TURN_DEG_S):
        return None
    first = int(np.searchsorted(times, times[0] + MOST_LAG_S))
    if len(times) - first < 3:
        return None
    return float(least_delay(times, subject, take.pan[:, 1], first, LAGS_S))


def _strobing(take: Take, first: int, last: int) -> float:
    """Return the fastest pan while the subject itself moves across the frame [deg/s].

    A note only: the seven-second rule holds for a background that the eye follows
    (common practice, no source).
    """
    if len(take.times_s) < 3:
        return 0.0
    slide = np.empty_like(take.u)
    rates(take.u, take.times_s, FAR_OUT, slide)
    return degrees(fastest_while_sliding(slide, take.pan[:, 1], first, last, SLIDING))
