"""One pass over a take for everything that `measure` counts, sums or looks for."""

import numpy as np

from ..compiled.kernel import kernel

(
    SHOWN,
    IN_FRAME,
    BODY_IN,
    SAFE_IN,
    SIZED,
    ANGLED,
    SOFT,
    DRIFT_SQUARE,
    DRIFT_MOST,
    REVERSED,
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
) = range(24)
N_TALLIES = 24


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


@kernel
def tally(
    first,
    last,
    times,
    starts,
    spans,
    frames,
    rises,
    kept_log2,
    subject,
    heights,
    screen,
    aim_u,
    aim_v,
    flags,
    rise,
    out,
):
    """Fill the tallies of how the subject is framed.

    Args:
        first: sample of the cut's start.
        last: one beyond its end.
        times: of the samples, ascending, (n,) [s].
        starts: of the framings, ascending, the first -inf, (n_framings,) [s].
        spans: of the body that are named, fractions of stature, (n_framings,).
        frames: height of the frame at the asked distances, (n_framings,) [m].
        rises: least and greatest angle over the eyes, (n_framings, 2) [rad].
        kept_log2: octaves off the asked size that still keep it.
        subject: index of the primary, (n,).
        heights: statures, (n_subjects,) [m].
        screen: its u, v and size, a tuple of (n,).
        aim_u: u at which the frame was asked to hold it, (n,).
        aim_v: v at which the frame was asked to hold it, (n,).
        flags: in frame, body in frame, in safe and soft, a tuple of (n,).
        rise: of the lens over the eyes, (n,) [rad].
        out: filled, (N_TALLIES,).
    """
    for k in range(SHOWN, DRIFT_MOST + 1):
        out[k] = 0.0
    at = 0
    for i in range(first, last):
        while at + 1 < starts.shape[0] and starts[at + 1] <= times[i]:
            at += 1
        u, v, size = screen[0][i], screen[1][i], screen[2][i]
        if np.isnan(u):
            continue
        out[SHOWN] += 1
        out[IN_FRAME] += flags[0][i]
        out[BODY_IN] += flags[1][i]
        out[SAFE_IN] += flags[2][i]
        out[SOFT] += flags[3][i]
        if not np.isnan(size):
            wanted = spans[at] * heights[subject[i]] / frames[at]
            if abs(np.log2(max(size, 1e-9) / wanted)) <= kept_log2:
                out[SIZED] += 1
        if rises[at, 0] <= rise[i] <= rises[at, 1]:
            out[ANGLED] += 1
        miss_u, miss_v = u - aim_u[i], v - aim_v[i]
        out[DRIFT_SQUARE] += miss_u * miss_u + miss_v * miss_v
        out[DRIFT_MOST] = max(out[DRIFT_MOST], max(abs(miss_u), abs(miss_v)))


@kernel
def tally_moves(
    first,
    last,
    times,
    rail,
    pan,
    tilt,
    starts,
    whips,
    crawl,
    shake_pan,
    shake_tilt,
    out,
):
    """Fill the tallies of how the camera moves; `starts` and `whips` of pan plans."""
    out[RAIL_LOW], out[RAIL_HIGH], out[RAIL_SPEED], out[RAIL_ACCEL] = extent(
        rail, first, last
    )
    out[PAN_LOW], out[PAN_HIGH], out[PAN_SPEED], out[PAN_ACCEL] = extent(
        pan, first, last
    )
    out[TILT_LOW], out[TILT_HIGH], out[TILT_SPEED], _ = extent(tilt, first, last)
    out[REVERSED] = turned_back(rail[:, 1], first, last, crawl)
    out[OWN_PAN_SPEED] = own_speed(starts, whips, times, pan, first, last)
    pan_square = tilt_square = 0.0
    for i in range(first, last):
        pan_square += shake_pan[i] * shake_pan[i]
        tilt_square += shake_tilt[i] * shake_tilt[i]
    out[SHAKE_PAN_SQUARE], out[SHAKE_TILT_SQUARE] = pan_square, tilt_square


@kernel
def rates(values, times, most, out):
    """Fill the rates of change of values clipped to +-most, as numpy's `gradient`.

    Second order within, one-sided at the ends, (n,) each, n >= 2.
    """
    n = values.shape[0]
    even = True
    for i in range(2, n):
        even = even and times[i] - times[i - 1] == times[1] - times[0]
    for i in range(n):
        here = _clipped(values[i], most)
        if i == 0:
            out[i] = (_clipped(values[1], most) - here) / (times[1] - times[0])
            continue
        before = _clipped(values[i - 1], most)
        one = times[i] - times[i - 1]
        if i == n - 1:
            out[i] = (here - before) / one
            continue
        after, two = _clipped(values[i + 1], most), times[i + 1] - times[i]
        if even:
            out[i] = (after - before) / (2.0 * one)
            continue
        a = -two / (one * (one + two))
        b = (two - one) / (one * two)
        c = one / (two * (one + two))
        out[i] = a * before + b * here + c * after


@kernel
def _clipped(value, most):
    return value if np.isnan(value) else min(max(value, -most), most)


@kernel
def unwrap(angles):
    """Take whole turns off angles (n,), in place, so that no step exceeds half one."""
    turns = 0.0
    last = angles[0]
    for i in range(1, angles.shape[0]):
        step = angles[i] - last
        last = angles[i]
        if abs(step) >= np.pi:
            rest = (step + np.pi) % (2 * np.pi) - np.pi
            if rest == -np.pi and step > 0.0:
                rest = np.pi
            turns += rest - step
        angles[i] += turns


@kernel
def fastest_while_sliding(slide, speed, first, last, least):
    """Return the greatest speed where |slide| exceeds `least`, 0 where nowhere."""
    most = 0.0
    for i in range(first, last):
        if abs(slide[i]) > least:
            most = max(most, abs(speed[i]))
    return most
