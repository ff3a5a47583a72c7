"""One take: the crew's plans over a shot, evaluated at every sample, and its layers."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .action.acted import acted, data_step_s
from .action.body import EYES
from .action.framing import framing_at, primary_of
from .arrays import BoolArray, FloatArray, IntArray
from .crew.perform import Performance, Plans, perform
from .crew.pose import ChannelLogs, base_poses, shake_over
from .frame.head import headroom_of, keep_heads
from .frame.hidden import NOTHING, hider_names, hiding
from .frame.look import (
    BODY_IN,
    CHIN_U,
    CHIN_V,
    CROWN_U,
    CROWN_V,
    HEAD_HELD,
    HEAD_IN,
    IN_FRAME,
    N_FLAGS,
    N_PLACES,
    SAFE_IN,
    SIZE,
    SOFT,
    CameraTrack,
    LookedFor,
    LookRows,
    SubjectData,
    ThroughLens,
    U,
    V,
    look,
)
from .frame.projection import Screen, shaking_of
from .frame.sight import (
    AT_EYES,
    SightCamera,
    Sighted,
    bodies_seen,
    sighted,
)
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
    `aim_u aim_v` is where the frame was asked to hold it. Of the shaken picture are
    `crown_u` to `headroom` (a share of the frame height, NaN where the crown is not
    ahead), `head_in_frame` (crown, chin and both sides), `head_held` (the same, but
    eyes and sides where the size cuts the crown) and `others_held` (all others who must
    be held). `hider` is what hides the primary, an index of `hider_names`, else -1;
    `sighted` is what the camera sees of everybody in the set, None without a set.
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
    crown_u: FloatArray
    crown_v: FloatArray
    chin_u: FloatArray
    chin_v: FloatArray
    headroom: FloatArray
    head_in_frame: BoolArray
    head_held: BoolArray
    others_held: BoolArray
    hider: IntArray
    dolly_plans: Plans
    pan_plans: Plans
    tilt_plans: Plans
    focus_plans: Plans
    sighted: Sighted | None = None

    @property
    def hidden_by(self) -> list[str | None]:
        """Name of what stands before the primary at each sample, None where nothing."""
        names = (*hider_names(self.shot.stage, self.shot.subjects), None)
        return [names[k] for k in self.hider.tolist()]

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
    plans = ChannelLogs(done.dolly.log, done.pan.log, done.tilt.log, done.focus.log)
    nearest = 1.0 / shot.lens.close_focus_m
    base_poses(shot.rig.shape, times, plans, nearest, tracks, base, focus_m)
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
        **seen_through(shot, times, base, pan, tilt, shake, place, focus_m),
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
    shake: ShakeTrack,
    place: FloatArray,
    focus_m: FloatArray,
) -> dict[str, Any]:
    """Return what a camera shows of a shot's subjects, as fields of a `Take`.

    Args:
        shot: its subjects, framings, lens and gate.
        times: of the samples, ascending, (n,) [s].
        base: lens without shake, (n, 3) [m].
        pan: (n, 3), the angle first [rad].
        tilt: (n, 3), the angle first [rad].
        shake: the layer.
        place: lens with shake, (n, 3) [m].
        focus_m: focus distance, (n,) [m].
    """
    framing = framing_at(shot.framings, times)
    primary = primary_of(shot.framings)[framing]
    tops = np.array([f.top for f in shot.framings])
    fractions = np.array([[f.aim * EYES, f.top, f.bottom] for f in shot.framings])
    camera = CameraTrack(
        times, base, pan, tilt, shot.roll_rad, shaking_of(shake), focus_m
    )
    screen = Screen(*shot.tangents, shot.gate.axis_v)
    through = ThroughLens(
        screen,
        shot.lens.focal_mm * 1e-3,
        hyperfocal_m(shot.lens.focal_mm, shot.stop, shot.coc_mm),
    )
    n = len(times)
    hider = hiding(shot.stage, shot.subjects, primary, times, place)
    seen = _in_set(shot, times, np.column_stack([place, pan[:, 0], tilt[:, 0]]))
    if seen is not None:
        mine = seen.hider[primary, AT_EYES, np.arange(n)]
        free = (hider == NOTHING) & (mine >= 0)
        hider[free] = mine[free]
    behind = hider != NOTHING
    rows = LookRows(
        np.empty((2, n)), np.empty((N_PLACES, n)), np.empty((N_FLAGS, n), np.bool_)
    )
    held = np.ones(n, dtype=np.bool_)
    for k, subject in enumerate(shot.subjects):
        mine = primary == k
        who = acted(subject)
        if mine.any():
            data = SubjectData(
                who, subject.times_s, subject.visible, data_step_s(subject)
            )
            wanted = LookedFor(mine, behind, framing, fractions / EYES, tops)
            look(data, wanted, camera, through, rows)
        weights = np.array([f.weights[k] for f in shot.framings])[framing]
        others = subject.must_hold & ~mine & (weights > 0)
        if others.any():
            keep_heads(who, camera, screen, tops[framing], others, held)
    places, flags = rows.places, rows.flags
    return {
        "near_m": rows.limits[0],
        "far_m": rows.limits[1],
        "soft": flags[SOFT],
        "subject": primary,
        "u": places[U],
        "v": places[V],
        "size": places[SIZE],
        "in_frame": flags[IN_FRAME],
        "body_in_frame": flags[BODY_IN],
        "in_safe": flags[SAFE_IN],
        "crown_u": places[CROWN_U],
        "crown_v": places[CROWN_V],
        "chin_u": places[CHIN_U],
        "chin_v": places[CHIN_V],
        "headroom": headroom_of(places[CROWN_V]),
        "head_in_frame": flags[HEAD_IN],
        "head_held": flags[HEAD_HELD],
        "others_held": held,
        "hider": hider,
        "sighted": seen,
    }


def _in_set(shot: Shot, times: FloatArray, cams: FloatArray) -> Sighted | None:
    """Return what a camera sees of everybody in the shot's set, None without one.

    Args:
        shot: the shot.
        times: of the samples, (n,) [s].
        cams: lens places with pan and tilt, (n, 5) [m, rad].
    """
    mesh, people = shot.stage.set, shot.subjects
    if mesh is None:
        return None
    bodies = bodies_seen(
        np.array([one.at(times, 0.0) for one in people]),
        np.array([one.at(times, 1.0) for one in people]),
        np.ones(len(people), dtype=np.bool_),
    )
    screen = Screen(*shot.tangents, shot.gate.axis_v)
    camera = SightCamera(cams, shot.roll_rad, screen)
    return sighted(shot.stage, mesh, bodies, camera)
