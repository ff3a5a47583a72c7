"""One take: the crew's plans over a shot, evaluated at every sample, and its layers."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .arrays import BoolArray, FloatArray, IntArray
from .body import EYES
from .camera import compose_shake, project
from .lens import depth_of_field_m
from .operator import SAFE
from .perform import (
    Plans,
    depth_of,
    framing_at,
    perform,
    primary_of,
    primary_points,
)
from .shake import ShakeTrack, shake_layer
from .shot import Shot


@dataclass(frozen=True, kw_only=True, slots=True)
class Take:
    """A solved shot, n samples in metres, radians and seconds, Y up.

    `rail`, `pan`, `tilt` are (n, 3): value, speed, acceleration, analytic. `base` and
    `place` (n, 3) are the lens without and with shake, `turn` (n, 4) the final
    quaternion x, y, z, w. `subject` (n,) indexes the primary subject; its `u v size`
    are NaN while it is hidden; behind the lens `u v` are infinite and `size` is NaN.
    `aim_u aim_v` is where the frame was asked to hold it.
    """

    shot: Shot
    times_s: FloatArray
    frame: IntArray
    sub: IntArray
    rail: FloatArray
    pan: FloatArray
    tilt: FloatArray
    base: FloatArray
    shake: ShakeTrack
    place: FloatArray
    turn: FloatArray
    focus_m: FloatArray
    near_m: FloatArray
    far_m: FloatArray
    soft: BoolArray
    subject: IntArray
    u: FloatArray
    v: FloatArray
    size: FloatArray
    aim_u: FloatArray
    aim_v: FloatArray
    in_frame: BoolArray
    body_in_frame: BoolArray
    in_safe: BoolArray
    dolly_plans: Plans
    pan_plans: Plans
    tilt_plans: Plans
    focus_plans: Plans

    @property
    def handle(self) -> BoolArray:
        """Samples outside the cut, (n,)."""
        return (self.frame < self.shot.first) | (self.frame > self.shot.last)

    def decided(self, plans: Plans) -> BoolArray:
        """Samples at which a new plan of a channel starts, (n,)."""
        at = np.searchsorted(self.times_s, plans.starts_s - 1e-9)
        inside = (plans.starts_s >= self.times_s[0] - 1e-9) & (at < len(self.times_s))
        out = np.zeros(len(self.times_s), dtype=np.bool_)
        out[at[inside]] = True
        return out


def sample_frames(shot: Shot) -> tuple[IntArray, IntArray]:
    """Return the frame and sub number of every sample of a take, (n,) each."""
    frames = np.arange(shot.first - shot.handles[0], shot.last + shot.handles[1] + 1)
    subs = np.arange(shot.samples_per_frame)
    return np.repeat(frames, len(subs)), np.tile(subs, len(frames))


def hidden_at(shot: Shot, times: FloatArray, primary: IntArray) -> BoolArray:
    """Return the samples at which the primary subject is not to be seen, (n,).

    A sample shows the subject when the nearest data at or before it does, and is no
    older than two data steps.
    """
    out = np.zeros(len(times), dtype=np.bool_)
    for k in np.unique(primary):
        subject = shot.subjects[k]
        now = primary == k
        at = np.searchsorted(subject.times_s, times[now] + 1e-9, "right") - 1
        step = np.median(np.diff(subject.times_s)) if len(subject.times_s) > 1 else 0.0
        age = times[now] - subject.times_s[np.maximum(at, 0)]
        out[now] = (at < 0) | ~subject.visible[np.maximum(at, 0)] | (age > 2 * step)
    return out


def operate(shot: Shot) -> Take:
    """Let the crew operate a shot whose setup is given.

    Pose is causal: with the setup given, every pose up to t0 + reaction is the same,
    to the bit, whatever the subjects do after t0 (for t0 after the first two samples,
    which the pre-roll reads). Focus by marks is rehearsed and reads ahead.
    """
    done = perform(shot)
    ticks, aims = done.ticks, done.asked
    frame, sub = sample_frames(shot)
    times = shot.times_of(frame + sub / shot.samples_per_frame)
    rail, pan, tilt = (p.at(times) for p in (done.dolly, done.pan, done.tilt))
    base = shot.rig.places(rail[:, 0])
    shake = shake_layer(
        shot.shake,
        times_s=times,
        seed=shot.seed,
        focal_mm=shot.lens.focal_mm,
        gate=shot.gate,
    )
    roll = np.full(len(times), shot.roll_rad)
    place, turn = compose_shake(
        base,
        pan[:, 0],
        tilt[:, 0],
        roll,
        shake.xyz,
        shake.pan,
        shake.tilt,
        shake.roll,
    )
    dioptres = np.clip(done.focus.at(times)[:, 0], 1e-4, 1.0 / shot.lens.close_focus_m)
    tick = np.clip(np.searchsorted(ticks, times + 1e-9, "right") - 1, 0, len(ticks) - 1)
    return Take(
        shot=shot,
        times_s=times,
        frame=frame,
        sub=sub,
        rail=rail,
        pan=pan,
        tilt=tilt,
        base=base,
        shake=shake,
        place=place,
        turn=turn,
        focus_m=1 / dioptres,
        **seen_through(shot, times, base, pan[:, 0], tilt[:, 0], 1 / dioptres),
        aim_u=aims[tick, 0],
        aim_v=aims[tick, 1] + shot.gate.axis_v,
        dolly_plans=done.dolly,
        pan_plans=done.pan,
        tilt_plans=done.tilt,
        focus_plans=done.focus,
    )


def seen_through(
    shot: Shot,
    times: FloatArray,
    base: FloatArray,
    pan: FloatArray,
    tilt: FloatArray,
    focus_m: FloatArray,
) -> dict[str, Any]:
    """Return what a camera shows of a shot's subjects, as fields of a `Take`.

    Args:
        shot: its subjects, framings, lens and gate.
        times: of the samples, (n,) [s].
        base: lens without shake, (n, 3) [m].
        pan: (n,) [rad]; likewise tilt.
        tilt: see pan.
        focus_m: focus distance, (n,) [m].
    """
    tx, ty = shot.tangents
    roll = np.full(len(times), shot.roll_rad)
    framing = framing_at(shot, times)
    primary = primary_of(shot)[framing]
    hidden = hidden_at(shot, times, primary)
    axis_v = shot.gate.axis_v

    def screen(fractions: list[float]) -> tuple[FloatArray, FloatArray]:
        points = primary_points(shot, times, np.array(fractions) / EYES)
        u, v, _ = project(points, base, pan, tilt, roll, tx, ty)
        return np.where(hidden, np.nan, u), np.where(hidden, np.nan, v + axis_v)

    u, v = screen([f.aim * EYES for f in shot.framings])
    top_u, top_v = screen([f.top for f in shot.framings])
    low_u, low_v = screen([f.bottom for f in shot.framings])
    in_frame = (np.abs(u) <= 1) & (np.abs(v) <= 1)
    body = np.stack([top_u, top_v, low_u, low_v])
    ends = np.abs(body).max(axis=0) <= 1
    # Behind the lens a point is infinitely far out of frame, and a span has no size.
    top_u, top_v, low_u, low_v = np.where(np.isfinite(body).all(axis=0), body, np.nan)
    eyes = primary_points(shot, times, np.ones(len(shot.framings)))
    depth = depth_of(eyes, base, pan, tilt)
    near, far = depth_of_field_m(shot.lens.focal_mm, shot.stop, shot.coc_mm, focus_m)
    return {
        "near_m": near,
        "far_m": far,
        "soft": ~hidden & ((depth < near) | (depth > far)),
        "subject": primary,
        "u": u,
        "v": v,
        "size": np.hypot((top_u - low_u) * tx / ty, top_v - low_v) / 2,
        "in_frame": in_frame,
        "body_in_frame": in_frame & ends,
        "in_safe": (np.abs(u) <= SAFE) & (np.abs(v) <= SAFE),
    }
