"""What a take is judged by: numbers over the frames of the cut, primary subject.

Measures read the whole take and may look both ways in time; the crew never does.
"""

from math import degrees, radians

import numpy as np

from .arrays import BoolArray, FloatArray
from .lag import delay_errors
from .perform import Plans
from .take import Take

LEVEL_DEG = 8.0  # camera within this of the eye line counts as level
ANGLED_DEG = 3.0  # and beyond this counts as above or below
ASKED_DEG = 5.0  # an angle in degrees is honoured within this
SIZE_KEPT = 0.25
MOVING_DEG_S = 1.0  # an axis that never turns faster is still
MOVING_M_S = 0.02
MOST_LAG_S = 1.0
LAG_STEP_S = 0.005
FAR_OUT = 3.0  # half frames; beyond, and behind the lens, how far means nothing
LEAST_TURN_DEG_S = 3.0  # below this r.m.s. a lag means nothing

Measures = dict[str, float | int | str | None]


def measure(take: Take) -> Measures:
    """Return a take's measures, flat, units in the names.

    Shares are of the cut's samples at which the primary subject is to be seen; None
    stands where a number would mean nothing (no such sample, or too little motion).
    """
    cut = ~take.handle
    seen = cut & ~np.isnan(take.u)
    miss_u, miss_v = take.u - take.aim_u, take.v - take.aim_v
    shot = take.shot
    seconds = float(cut.sum() / shot.samples_per_frame / shot.rate)
    distance = np.array([f.distance_m for f in shot.framings])
    at = np.searchsorted([f.start_s for f in shot.framings], take.times_s, "right") - 1
    spans = np.array([f.top - f.bottom for f in shot.framings])
    heights = np.array([shot.subjects[k].height_m for k in take.subject])
    asked = spans[at] * heights / (2 * shot.tangents[1] * distance[at])
    ratio = np.abs(np.log2(np.maximum(take.size, 1e-9) / asked))
    operator = shot.crew.operator
    own_pan = take.pan[_own(take, take.pan_plans)]
    return {
        "frames": int(cut.sum() // shot.samples_per_frame),
        "seconds": seconds,
        "seen": _share(seen[cut]),
        "in_frame": _share(take.in_frame[seen]),
        "body_in_frame": _share(take.body_in_frame[seen]),
        "in_safe": _share(take.in_safe[seen]),
        "size_kept": _share((ratio <= np.log2(1 + SIZE_KEPT))[seen]),
        "angle_kept": _share(_angle_kept(take)[seen]),
        "drift_rms": _rms(np.hypot(miss_u, miss_v)[seen]),
        "drift_max": _most(np.maximum(np.abs(miss_u), np.abs(miss_v))[seen]),
        "lag_s": _lag(take),
        "pan_decisions_per_s": _rate(take, take.pan_plans, seconds),
        "tilt_decisions_per_s": _rate(take, take.tilt_plans, seconds),
        "dolly_decisions_per_s": _rate(take, take.dolly_plans, seconds),
        "refused_plans": take.dolly_plans.refused
        + take.pan_plans.refused
        + take.focus_plans.refused,
        "whip_plans": int(take.pan_plans.whips.sum() + take.tilt_plans.whips.sum()),
        "reversals": _reversals(take.rail[cut, 1]),
        "moving_axes": int(
            sum(
                np.abs(track[cut, 1]).max() > least
                for track, least in (
                    (take.rail, MOVING_M_S),
                    (take.pan, np.radians(MOVING_DEG_S)),
                    (take.tilt, np.radians(MOVING_DEG_S)),
                )
            )
        ),
        "dolly_m": float(np.ptp(take.rail[cut, 0])),
        "dolly_max_speed_m_s": float(np.abs(take.rail[cut, 1]).max()),
        "dolly_max_accel_m_s2": float(np.abs(take.rail[cut, 2]).max()),
        "pan_range_deg": degrees(np.ptp(take.pan[cut, 0])),
        "pan_max_speed_deg_s": degrees(np.abs(take.pan[cut, 1]).max()),
        "pan_max_accel_deg_s2": degrees(np.abs(take.pan[cut, 2]).max()),
        "pan_speed_used": None
        if len(own_pan) == 0
        else float(np.abs(own_pan[:, 1]).max() / operator.max_speed),
        "tilt_range_deg": degrees(np.ptp(take.tilt[cut, 0])),
        "tilt_max_speed_deg_s": degrees(np.abs(take.tilt[cut, 1]).max()),
        "closest_m": _closest(take, cut),
        "soft": _share(take.soft[seen]),
        "strobing_deg_s": _strobing(take),
        "shake_pan_rms_deg": degrees(_rms(take.shake.pan[cut]) or 0.0),
        "shake_tilt_rms_deg": degrees(_rms(take.shake.tilt[cut]) or 0.0),
    }


def _share(flags: BoolArray) -> float | None:
    return float(flags.mean()) if len(flags) else None


def _rms(values: FloatArray) -> float | None:
    if len(values) == 0 or not np.isfinite(values).all():
        return None
    return float(np.sqrt(np.mean(values**2)))


def _most(values: FloatArray) -> float | None:
    return float(values.max()) if len(values) and np.isfinite(values).all() else None


def _rate(take: Take, plans: Plans, seconds: float) -> float:
    cut = take.times_s[~take.handle]
    starts = plans.starts_s
    return float(((starts >= cut[0]) & (starts <= cut[-1])).sum() / seconds)


def _own(take: Take, plans: Plans) -> BoolArray:
    """Return the samples that run on the operator's own limits, no whip's, (n,)."""
    at = np.searchsorted(plans.starts_s, take.times_s + 1e-9, "right") - 1
    return ~plans.whips[np.maximum(at, 0)] & ~take.handle


def _reversals(speed: FloatArray) -> int:
    """Count changes of direction between moves faster than a crawl."""
    moving = np.sign(speed[np.abs(speed) > MOVING_M_S])
    return int((np.diff(moving) != 0).sum())


def angle_range(asked: str | float) -> tuple[float, float]:
    """Return the angles of the lens over the eye line that honour an angle [rad]."""
    if isinstance(asked, str):
        low, high = {
            "below": (-90.0, -ANGLED_DEG),
            "level": (-LEVEL_DEG, LEVEL_DEG),
            "above": (ANGLED_DEG, 90.0),
        }[asked]
    else:
        low, high = asked - ASKED_DEG, asked + ASKED_DEG
    return radians(low), radians(high)


def _angle_kept(take: Take) -> BoolArray:
    """Return the samples whose camera stands as asked against the eye line, (n,)."""
    shot = take.shot
    at = np.searchsorted([f.start_s for f in shot.framings], take.times_s, "right") - 1
    low, high = np.array([angle_range(f.angle) for f in shot.framings])[at].T
    eyes = np.empty_like(take.base)
    for k in np.unique(take.subject):
        now = take.subject == k
        eyes[now] = shot.subjects[k].at(take.times_s[now], 1.0)
    d = take.base - eyes
    rise = np.arctan2(d[:, 1], np.hypot(d[:, 0], d[:, 2]))
    kept: BoolArray = (rise >= low) & (rise <= high)
    return kept


def _closest(take: Take, cut: BoolArray) -> float:
    """Return the least distance of any subject from the lens [m]."""
    least = np.inf
    for subject in take.shot.subjects:
        for fraction in (0.0, 0.5, 1.0):
            points = subject.at(take.times_s[cut], fraction)
            gap = np.linalg.norm(points - take.base[cut], axis=1).min()
            least = min(least, float(gap))
    return least


def _bearing_rates(take: Take) -> tuple[FloatArray, FloatArray]:
    """Return the subject's and the camera's turn rates about the up axis, (n,)."""
    points = np.empty_like(take.base)
    for k in np.unique(take.subject):
        now = take.subject == k
        points[now] = take.shot.subjects[k].at(take.times_s[now], 1.0)
    d = points - take.base
    bearing = np.unwrap(np.arctan2(-d[:, 0], -d[:, 2]))
    return np.gradient(bearing, take.times_s), take.pan[:, 1]


def _lag(take: Take) -> float | None:
    """Return the delay at which the pan rate best fits the subject's [s]."""
    if len(take.times_s) < 3:
        return None
    subject, camera = _bearing_rates(take)
    if np.sqrt(np.mean(subject**2)) < np.radians(LEAST_TURN_DEG_S):
        return None
    lags = np.arange(0.0, MOST_LAG_S + LAG_STEP_S / 2, LAG_STEP_S)
    first = int(np.searchsorted(take.times_s, take.times_s[0] + MOST_LAG_S))
    if len(take.times_s) - first < 3:
        return None
    errors = np.zeros_like(lags)
    delay_errors(take.times_s, subject, camera, first, lags, errors)
    return float(lags[int(np.argmin(errors))])


def _strobing(take: Take) -> float:
    """Return the fastest pan while the subject itself moves across the frame [deg/s].

    A note only: the seven-second rule holds for a background that the eye follows
    (common practice, no source).
    """
    if len(take.times_s) < 3:
        return 0.0
    slide = np.abs(np.gradient(np.clip(take.u, -FAR_OUT, FAR_OUT), take.times_s))
    off = (slide > 0.5) & ~take.handle
    return degrees(float(np.abs(take.pan[off, 1]).max())) if off.any() else 0.0
