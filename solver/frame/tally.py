"""One pass over a take for everything that `measure` counts, sums or looks for."""

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..elementary.exponential import log2

(
    SHOWN,
    IN_FRAME,
    BODY_IN,
    SAFE_IN,
    SOFT,
    HEAD_IN,
    HEAD_HELD,
    OTHERS_HELD,
    SIZED,
    ANGLED,
    DRIFT_SQUARE,
    DRIFT_MOST,
    REVERSED,
    PAN_REVERSED,
    TILT_REVERSED,
    RAIL_LOW,
    RAIL_HIGH,
    RAIL_SPEED,
    RAIL_ACCEL,
    PAN_LOW,
    PAN_HIGH,
    PAN_SPEED,
    PAN_ACCEL,
    OWN_PAN_SPEED,
    TILT_LOW,
    TILT_HIGH,
    TILT_SPEED,
    SHAKE_PAN_SQUARE,
    SHAKE_TILT_SQUARE,
) = range(29)
N_TALLIES = 29
N_FLAGGED = OTHERS_HELD - IN_FRAME + 1


@kernel
def extent(track, first, last):
    """Return least and greatest value, greatest speed and acceleration of (n, 3)."""
    low, high, speed, accel = np.inf, -np.inf, 0.0, 0.0
    for i in range(first, last):
        low, high = min(low, track[i, 0]), max(high, track[i, 0])
        speed, accel = max(speed, abs(track[i, 1])), max(accel, abs(track[i, 2]))
    return low, high, speed, accel


@kernel
def turned_back(speed, first, last, crawl):
    """Return the changes of direction between moves faster than a crawl."""
    count = 0
    direction = 0.0
    for i in range(first, last):
        if abs(speed[i]) > crawl:
            sign = 1.0 if speed[i] > 0.0 else -1.0
            if sign * direction < 0.0:
                count += 1
            direction = sign
    return count


@kernel
def own_speed(starts, whips, times, track, first, last):
    """Return the greatest speed under plans that are no whip's, -1 where none is."""
    k = -1
    most = -1.0
    for i in range(first, last):
        while k + 1 < starts.shape[0] and starts[k + 1] <= times[i] + 1e-9:
            k += 1
        if not whips[max(k, 0)]:
            most = max(most, abs(track[i, 1]))
    return most


@kernel
def starts_within(starts, first_s, last_s):
    """Return how many of (count,) starts lie between two times, both included."""
    count = 0
    for k in range(starts.shape[0]):
        if first_s <= starts[k] <= last_s:
            count += 1
    return count


class FramingsAsked(NamedTuple):
    """What is asked of the frame, an entry a framing.

    Attributes:
        starts: ascending, the first -inf [s].
        spans: of the body that are named, fractions of stature.
        frames: height of the frame at the asked distances [m].
        rises: least and greatest angle over the eyes, (n_framings, 2) [rad].
        heights: statures, (n_subjects,) [m].
        kept_log2: octaves off the asked size that still keep it.
    """

    starts: FloatArray
    spans: FloatArray
    frames: FloatArray
    rises: FloatArray
    heights: FloatArray
    kept_log2: float


class Picture(NamedTuple):
    """What a take shows of its primary subject, (n,) each; see `Take`."""

    times: FloatArray
    subject: IntArray
    u: FloatArray
    v: FloatArray
    size: FloatArray
    aim_u: FloatArray
    aim_v: FloatArray
    rise: FloatArray
    flags: tuple[BoolArray, ...]


class Moves(NamedTuple):
    """How a camera moves: channels (n, 3), starts and whips of its pan plans, shake."""

    times: FloatArray
    rail: FloatArray
    pan: FloatArray
    tilt: FloatArray
    starts: FloatArray
    whips: BoolArray
    shake_pan: FloatArray
    shake_tilt: FloatArray


@kernel
def tally(first, last, asked, shown, out):
    """Fill the tallies of how the subject is framed, of samples `first` up to `last`.

    `asked` is a `FramingsAsked`, `shown` a `Picture` with the flags in frame, body in
    frame, in safe, soft, head in frame, head held and others held.
    """
    for k in range(SHOWN, DRIFT_MOST + 1):
        out[k] = 0.0
    at = 0
    starts = asked.starts
    for i in range(first, last):
        while at + 1 < starts.shape[0] and starts[at + 1] <= shown.times[i]:
            at += 1
        u, v, size = shown.u[i], shown.v[i], shown.size[i]
        if np.isnan(u):
            continue
        out[SHOWN] += 1
        for k in range(N_FLAGGED):
            out[IN_FRAME + k] += shown.flags[k][i]
        if not np.isnan(size):
            height = asked.heights[shown.subject[i]]
            wanted = asked.spans[at] * height / asked.frames[at]
            if abs(log2(max(size, 1e-9) / wanted)) <= asked.kept_log2:
                out[SIZED] += 1
        if asked.rises[at, 0] <= shown.rise[i] <= asked.rises[at, 1]:
            out[ANGLED] += 1
        miss_u, miss_v = u - shown.aim_u[i], v - shown.aim_v[i]
        out[DRIFT_SQUARE] += miss_u * miss_u + miss_v * miss_v
        out[DRIFT_MOST] = max(out[DRIFT_MOST], max(abs(miss_u), abs(miss_v)))


@kernel
def tally_moves(first, last, moves, crawl, turning, out):
    """Fill the tallies of how the camera moves, a `Moves`.

    A dolly slower than `crawl` [m/s], and an axis slower than `turning` [rad/s], has no
    direction.
    """
    rail, pan, tilt = moves.rail, moves.pan, moves.tilt
    out[RAIL_LOW], out[RAIL_HIGH], out[RAIL_SPEED], out[RAIL_ACCEL] = extent(
        rail, first, last
    )
    out[PAN_LOW], out[PAN_HIGH], out[PAN_SPEED], out[PAN_ACCEL] = extent(
        pan, first, last
    )
    out[TILT_LOW], out[TILT_HIGH], out[TILT_SPEED], _ = extent(tilt, first, last)
    out[REVERSED] = turned_back(rail[:, 1], first, last, crawl)
    out[PAN_REVERSED] = turned_back(pan[:, 1], first, last, turning)
    out[TILT_REVERSED] = turned_back(tilt[:, 1], first, last, turning)
    out[OWN_PAN_SPEED] = own_speed(
        moves.starts, moves.whips, moves.times, pan, first, last
    )
    pan_square = tilt_square = 0.0
    for i in range(first, last):
        pan_square += moves.shake_pan[i] * moves.shake_pan[i]
        tilt_square += moves.shake_tilt[i] * moves.shake_tilt[i]
    out[SHAKE_PAN_SQUARE], out[SHAKE_TILT_SQUARE] = pan_square, tilt_square
