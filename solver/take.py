"""One take: the crew's plans over a shot, evaluated at every sample, and its layers."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .action.acted import acted, data_step_s, of_each
from .action.body import EYES
from .action.framing import framing_at, primary_of
from .arrays import BoolArray, FloatArray, IntArray
from .crew.perform import Performance, Plans, perform
from .crew.pose import base_poses, shake_over
from .frame.look import look
from .optics.lens import hyperfocal_m
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


def operate(shot: Shot) -> Take:
    """Let the crew operate a shot whose setup is given.

    Pose is causal: with the setup given, every pose up to t0 + reaction is the same,
    to the bit, whatever the subjects do after t0 (for t0 after the first two samples,
    which the pre-roll reads). Focus by marks is rehearsed and reads ahead.
    """
    return recorded(shot, perform(shot))


def recorded(shot: Shot, done: Performance) -> Take:
    """Return the take of a performance: the plans at every sample, and the shake."""
    frame, sub = sample_frames(shot)
    times = shot.times_of(frame + sub / shot.samples_per_frame)
    n = len(times)
    tracks, base, focus_m = np.empty((3, n, 3)), np.empty((n, 3)), np.empty(n)
    base_poses(
        shot.rig.shape,
        times,
        done.dolly.log,
        done.pan.log,
        done.tilt.log,
        done.focus.log,
        1.0 / shot.lens.close_focus_m,
        tracks,
        base,
        focus_m,
    )
    rail, pan, tilt = tracks
    shake = shake_layer(
        shot.shake,
        times_s=times,
        seed=shot.seed,
        focal_mm=shot.lens.focal_mm,
        gate=shot.gate,
    )
    layer = (shake.x, shake.y, shake.z, shake.pan, shake.tilt, shake.roll)
    place, turn = np.empty((n, 3)), np.empty((n, 4))
    shake_over(base, pan, tilt, shot.roll_rad, layer, place, turn)
    ticks, aims = done.ticks, done.asked
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
        focus_m=focus_m,
        **seen_through(shot, times, base, pan, tilt, focus_m),
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
        times: of the samples, ascending, (n,) [s].
        base: lens without shake, (n, 3) [m].
        pan: (n, 3), the angle first [rad].
        tilt: (n, 3), the angle first [rad].
        focus_m: focus distance, (n,) [m].
    """
    tx, ty = shot.tangents
    framing = framing_at(shot.framings, times)
    primary = primary_of(shot.framings)[framing]
    fractions = np.array([[f.aim * EYES, f.top, f.bottom] for f in shot.framings])
    n = len(times)
    limits, screen = np.empty((2, n)), np.empty((3, n))
    flags = np.empty((4, n), dtype=np.bool_)
    for k, mine in of_each(primary):
        subject = shot.subjects[k]
        look(
            acted(subject),
            subject.times_s,
            subject.visible,
            data_step_s(subject),
            times,
            mine,
            framing,
            fractions / EYES,
            base,
            pan,
            tilt,
            shot.roll_rad,
            tx,
            ty,
            shot.gate.axis_v,
            shot.lens.focal_mm * 1e-3,
            hyperfocal_m(shot.lens.focal_mm, shot.stop, shot.coc_mm),
            focus_m,
            limits,
            screen,
            flags,
        )
    return {
        "near_m": limits[0],
        "far_m": limits[1],
        "soft": flags[0],
        "subject": primary,
        "u": screen[0],
        "v": screen[1],
        "size": screen[2],
        "in_frame": flags[1],
        "body_in_frame": flags[2],
        "in_safe": flags[3],
    }
