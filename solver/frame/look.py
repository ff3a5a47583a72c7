"""What the frame shows of the primary subject, sample by sample; see `Take`."""

import numpy as np

from ..action.acted import acted_point, hidden_now, sample_before
from ..arrays import BEFORE
from ..compiled.kernel import kernel
from ..crew.operator import SAFE

AIM, TOP, LOW = range(3)  # columns of the body points that are looked at


@kernel
def on_screen(x, y, z, head, tx, ty, axis_v):
    """Return u and v of a point seen from the lens, as `camera.project` defines them.

    `head` holds cosine and sine of pan, tilt and roll. Behind the lens both are
    infinite.
    """
    x, z = head[0] * x - head[1] * z, head[1] * x + head[0] * z
    y, z = head[2] * y + head[3] * z, head[2] * z - head[3] * y
    x, y = head[4] * x + head[5] * y, head[4] * y - head[5] * x
    depth = -z
    if depth > 0.0:
        return x / (depth * tx), y / (depth * ty) + axis_v
    return np.copysign(np.inf, x), np.copysign(np.inf, y)


@kernel
def sharp_between(focal, reach, focus):
    """Return near and far limit of sharpness [m], as `lens.depth_of_field_m`."""
    dioptres = 1.0 / focus
    margin = reach * dioptres - 1.0
    near = (reach - focal) / (1.0 + (reach - 2.0 * focal) * dioptres)
    return near, (reach - focal) / margin if margin > 0.0 else np.inf


@kernel
def look(
    who,
    times,
    visible,
    step,
    at,
    mine,
    framing,
    fractions,
    base,
    pan,
    tilt,
    roll,
    tx,
    ty,
    axis_v,
    focal,
    reach,
    focus,
    limits,
    screen,
    flags,
):
    """Fill what is shown at the samples of which one subject is the primary.

    Args:
        who: its `ActedSamples`.
        times: of all its samples, (m,) [s].
        visible: see `Subject`, (m,).
        step: between its samples, the median [s].
        at: ascending, (n,) [s].
        mine: samples of which it is the primary, (n,).
        framing: index of the framing in force, (n,).
        fractions: AIM, TOP and LOW of each framing, floor to eyes, (n_framings, 3).
        base: lens without shake, (n, 3) [m].
        pan: (n, 3), the angle first [rad].
        tilt: (n, 3), the angle first [rad].
        roll: a number [rad].
        tx: tangent of half the horizontal angle of view.
        ty: tangent of half the vertical angle of view.
        axis_v: height of the lens axis in the frame.
        focal: focal length [m].
        reach: hyperfocal distance [m].
        focus: focus distance, (n,) [m].
        limits: filled with near and far limit [m], (2, n).
        screen: filled with u, v and the size, (3, n).
        flags: filled with soft, in frame, body in frame and in safe, (4, n).
    """
    before = last = BEFORE
    head = np.zeros(6)
    head[4], head[5] = np.cos(roll), np.sin(roll)
    for i in range(at.shape[0]):
        if not mine[i]:
            continue
        now = at[i]
        near, far = sharp_between(focal, reach, focus[i])
        limits[0, i], limits[1, i] = near, far
        last = sample_before(times, last, now + 1e-9)
        if hidden_now(times, visible, step, last, now):
            for c in range(3):
                screen[c, i] = np.nan
            for c in range(4):
                flags[c, i] = False
            continue
        before = sample_before(who.times_s, before, now)
        head[0], head[1] = np.cos(pan[i, 0]), np.sin(pan[i, 0])
        head[2], head[3] = np.cos(tilt[i, 0]), np.sin(tilt[i, 0])
        x, y, z = acted_point(who, before, now, fractions[framing[i], AIM])
        u, v = on_screen(
            x - base[i, 0], y - base[i, 1], z - base[i, 2], head, tx, ty, axis_v
        )
        x, y, z = acted_point(who, before, now, fractions[framing[i], TOP])
        top_u, top_v = on_screen(
            x - base[i, 0], y - base[i, 1], z - base[i, 2], head, tx, ty, axis_v
        )
        x, y, z = acted_point(who, before, now, fractions[framing[i], LOW])
        low_u, low_v = on_screen(
            x - base[i, 0], y - base[i, 1], z - base[i, 2], head, tx, ty, axis_v
        )
        screen[0, i], screen[1, i] = u, v
        # Behind the lens a point is infinitely far out of frame, a span has no size.
        furthest = max(max(abs(top_u), abs(top_v)), max(abs(low_u), abs(low_v)))
        screen[2, i] = np.nan
        if furthest < np.inf:
            screen[2, i] = np.hypot((top_u - low_u) * tx / ty, top_v - low_v) / 2
        x, y, z = acted_point(who, before, now, 1.0)
        depth = (
            -(x - base[i, 0]) * head[1] * head[2]
            + (y - base[i, 1]) * head[3]
            - (z - base[i, 2]) * head[0] * head[2]
        )
        off = max(abs(u), abs(v))
        flags[0, i] = depth < near or depth > far
        flags[1, i] = off <= 1
        flags[2, i] = off <= 1 and furthest <= 1
        flags[3, i] = off <= SAFE
