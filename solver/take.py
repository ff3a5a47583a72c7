"""One take: the crew's plans over a shot, evaluated at every sample, and its layers."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from .arrays import BoolArray, FloatArray, IntArray
from .belief import perceive
from .body import EYES
from .camera import compose_shake, project
from .crew import WHIP, Member
from .lens import depth_of_field_m
from .operate import SAFE, run_grip, run_operator, run_puller
from .plan import PLAN_WIDTH, Planner, evaluate_log
from .shake import ShakeTrack, shake_layer
from .shot import HOLDS, Framing, Shot, Subject

PREROLL_S = 3.0  # the crew follows this long before the first solved frame
NEAREST_PREROLL_M = 1.5  # and only while the subject, carried back, keeps this far off
MAX_LEAST_DEPTH_M = 1e-3


@dataclass(frozen=True, kw_only=True, slots=True)
class Plans:
    """A channel's plans: a log of (count, PLAN_WIDTH) rows, and its planner.

    `refused` counts decisions for which no plan existed and the plan in force went on;
    `whips` marks plans made with a whip's limits.
    """

    log: FloatArray
    planner: Planner
    refused: int
    whips: BoolArray

    def at(self, times_s: FloatArray) -> FloatArray:
        """Return x, v, a at ascending times, (n, 3), channel units."""
        out = np.zeros((len(times_s), 3))
        evaluate_log(self.log, len(self.log), times_s, out)
        return out

    @property
    def starts_s(self) -> FloatArray:
        """When each plan starts, (count,) [s]."""
        return self.log[:, 0]


@dataclass(frozen=True, kw_only=True, slots=True)
class Take:
    """A solved shot, n samples in metres, radians and seconds, Y up.

    `rail`, `pan`, `tilt` are (n, 3): value, speed, acceleration, analytic. `base` and
    `place` (n, 3) are the lens without and with shake, `turn` (n, 4) the final
    quaternion x, y, z, w. `subject` (n,) indexes the primary subject; its `u v size`
    are NaN while it is hidden. `aim_u aim_v` is where the frame was asked to hold it.
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


@dataclass(frozen=True, kw_only=True, slots=True)
class _Seen:
    """What one member believes at the ticks: (n_subjects, n_ticks, 2, 3) each."""

    place: FloatArray
    velocity: FloatArray


def _believe(member: Member, subjects: tuple[Subject, ...], ticks: FloatArray) -> _Seen:
    shape = (len(subjects), len(ticks), 2, 3)
    place, velocity = np.zeros(shape), np.zeros(shape)
    for i, subject in enumerate(subjects):
        for j, points in enumerate((subject.floor, subject.eyes)):
            p, w = np.zeros((len(ticks), 3)), np.zeros((len(ticks), 3))
            perceive(
                subject.times_s,
                points,
                subject.fresh,
                ticks,
                member.reaction_s,
                member.bandwidth_rad_s,
                member.fade_s,
                member.gait,
                p,
                w,
            )
            place[i, :, j], velocity[i, :, j] = p, w
    return _Seen(place=place, velocity=velocity)


def _believed_facing(
    member: Member, subjects: tuple[Subject, ...], ticks: FloatArray
) -> FloatArray:
    """Return the facing last seen by each tick, (n_subjects, n_ticks) [rad]."""
    out = np.full((len(subjects), len(ticks)), np.nan)
    for i, subject in enumerate(subjects):
        times = subject.times_s[subject.fresh]
        seen = np.searchsorted(times, ticks - member.reaction_s + 1e-9, "right") - 1
        out[i] = subject.facing_rad[subject.fresh][np.maximum(seen, 0)]
    return out


def _cue_rows(framings: tuple[Framing, ...]) -> tuple[FloatArray, FloatArray]:
    """Return the kernels' cue rows (CUE_* columns) and weights (n_cues, n_subjects)."""
    rows = [
        (
            f.start_s,
            f.aim,
            f.u,
            f.v,
            f.lead_room,
            f.look_room,
            f.distance_m,
            float(f.whip),
        )
        for f in framings
    ]
    return np.array(rows), np.array([f.weights for f in framings])


def _ticks(shot: Shot) -> FloatArray:
    """Return decision times: every frame, from the pre-roll to the last handle.

    The pre-roll carries the first two samples backwards, and stays where that keeps
    the subject clear of the rig; it reads nothing else of the action.
    """
    first, last = shot.first - shot.handles[0], shot.last + shot.handles[1]
    rate = float(shot.rate)
    back = ceil(PREROLL_S * rate)
    clear = back
    for subject, weight in zip(shot.subjects, shot.framings[0].weights, strict=True):
        index = np.flatnonzero(subject.fresh)[:2]
        if weight <= 0 or len(index) < 2:
            continue
        one, two = index
        step = subject.times_s[two] - subject.times_s[one]
        velocity = (subject.floor[two] - subject.floor[one]) / step
        steps = np.arange(1, back + 1) / rate
        path = subject.floor[one] - steps[:, None] * velocity
        rail = shot.rig.places(np.linspace(0, shot.rig.length_m, 25))
        gap = np.hypot(
            path[:, None, 0] - rail[None, :, 0], path[:, None, 2] - rail[None, :, 2]
        ).min(axis=1)
        near = np.flatnonzero(gap < NEAREST_PREROLL_M)
        if len(near):
            clear = min(clear, int(near[0]))
    return shot.times_of(np.arange(first - clear, last + 2, dtype=np.float64))


def sample_frames(shot: Shot) -> tuple[IntArray, IntArray]:
    """Return the frame and sub number of every sample of a take, (n,) each."""
    frames = np.arange(shot.first - shot.handles[0], shot.last + shot.handles[1] + 1)
    subs = np.arange(shot.samples_per_frame)
    return np.repeat(frames, len(subs)), np.tile(subs, len(frames))


def _log(ticks: FloatArray, rest_s: float, n_cues: int) -> FloatArray:
    """Return an empty plan log with room for every decision."""
    span = ticks[-1] - ticks[0]
    most = min(len(ticks), ceil(2 * span / max(rest_s, 1e-3)) + 2) + n_cues + 2
    return np.zeros((most, PLAN_WIDTH))


def _plans(log: FloatArray, count: int, planner: Planner, refused: int) -> Plans:
    return Plans(
        log=log[:count].copy(),
        planner=planner,
        refused=refused,
        whips=np.zeros(count, dtype=np.bool_),
    )


def _run_grip(shot: Shot, ticks: FloatArray) -> Plans:
    grip = shot.crew.grip
    planner = grip.planner(length_m=shot.rig.length_m)
    if shot.rig.length_m == 0.0:
        still = np.zeros((1, PLAN_WIDTH))
        still[0, 0] = ticks[0]
        return _plans(still, 1, planner, 0)
    seen = _believe(grip, shot.subjects, ticks)
    cues, weights = _cue_rows(shot.framings)
    log = _log(ticks, grip.rest_s, len(cues))
    count, refused = run_grip(
        shot.rig.shape,
        planner,
        ticks,
        seen.place,
        seen.velocity,
        weights,
        cues,
        HOLDS.index(shot.hold),
        shot.view_rad,
        np.array(shot.side_offset),
        grip.tolerance,
        grip.rest_s,
        grip.fade_s,
        log,
    )
    return _plans(log, count, planner, refused)


def _run_operator(
    shot: Shot, ticks: FloatArray, dolly: Plans
) -> tuple[Plans, Plans, FloatArray]:
    operator = shot.crew.operator
    own, whip = operator.planner(), operator.planner(faster=WHIP)
    seen = _believe(operator, shot.subjects, ticks)
    cues, weights = _cue_rows(shot.framings)
    tx, ty = shot.tangents
    one = _log(ticks, operator.rest_s, len(cues))
    logs = np.stack([one, one])
    whips = np.zeros((2, len(one)), dtype=np.bool_)
    aims = np.zeros((len(ticks), 2))
    pans, tilts, refused = run_operator(
        shot.rig.shape,
        dolly.log,
        len(dolly.log),
        own,
        whip,
        ticks,
        seen.place,
        seen.velocity,
        _believed_facing(operator, shot.subjects, ticks),
        weights,
        np.array([s.must_hold for s in shot.subjects]),
        cues,
        operator.tolerance,
        operator.rest_s,
        operator.fade_s,
        operator.urgency,
        shot.roll_rad,
        tx,
        ty,
        logs,
        whips,
        aims,
    )
    pan, tilt = (
        Plans(
            log=logs[c, :count].copy(),
            planner=own,
            refused=refused,
            whips=whips[c, :count].copy(),
        )
        for c, count in ((0, pans), (1, tilts))
    )
    return pan, tilt, aims


def _framing_at(shot: Shot, times: FloatArray) -> IntArray:
    starts = np.array([f.start_s for f in shot.framings])
    return np.searchsorted(starts, times + 1e-9, "right") - 1


def _primary(shot: Shot) -> IntArray:
    """Return the primary subject's index for each framing."""
    return np.array([int(np.argmax(f.weights)) for f in shot.framings])


def _primary_points(shot: Shot, times: FloatArray, fractions: FloatArray) -> FloatArray:
    """Return the primary's body point per sample, as acted, (n, 3).

    `fractions` (n_framings,) is the point for each framing, floor to eyes.
    """
    framing = _framing_at(shot, times)
    out = np.empty((len(times), 3))
    for k, subject in enumerate(_primary(shot)):
        now = framing == k
        if now.any():
            out[now] = shot.subjects[subject].at(times[now], float(fractions[k]))
    return out


def _depth(points: FloatArray, base: FloatArray, pan: FloatArray, tilt: FloatArray):  # type: ignore[no-untyped-def]
    """Return the distance along the lens axis, (n,) [m]."""
    d = points - base
    return (
        -d[:, 0] * np.sin(pan) * np.cos(tilt)
        + d[:, 1] * np.sin(tilt)
        - d[:, 2] * np.cos(pan) * np.cos(tilt)
    )


def _run_puller(
    shot: Shot, ticks: FloatArray, dolly: Plans, pan: Plans, tilt: Plans
) -> Plans:
    puller = shot.crew.puller
    planner = puller.planner()
    cues, weights = _cue_rows(shot.framings)
    ones = np.ones(len(shot.framings))
    eyes = _primary_points(shot, ticks, ones)
    base = shot.rig.places(dolly.at(ticks)[:, 0])
    depth = _depth(eyes, base, pan.at(ticks)[:, 0], tilt.at(ticks)[:, 0])
    nearest = 1.0 / shot.lens.close_focus_m
    truth = np.minimum(nearest, 1.0 / np.maximum(depth, MAX_LEAST_DEPTH_M))
    longest = max(len(p.log) for p in (dolly, pan, tilt))
    logs = np.zeros((3, longest, PLAN_WIDTH))
    for i, plans in enumerate((dolly, pan, tilt)):
        logs[i, : len(plans.log)] = plans.log
    half_depth = shot.stop * shot.coc_mm * 1e-3 / (shot.lens.focal_mm * 1e-3) ** 2
    seen = _believe(puller, shot.subjects, ticks)
    log = _log(ticks, puller.rest_s, len(cues))
    count, refused = run_puller(
        planner,
        ticks,
        truth,
        seen.place,
        seen.velocity,
        weights,
        cues,
        shot.rig.shape,
        logs,
        np.array([len(p.log) for p in (dolly, pan, tilt)]),
        shot.crew.focus_method == "marks",
        puller.tolerance * half_depth,
        puller.rest_s,
        puller.fade_s,
        nearest,
        log,
    )
    return _plans(log, count, planner, refused)


def _hidden(shot: Shot, times: FloatArray, primary: IntArray) -> BoolArray:
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
    ticks = _ticks(shot)
    dolly = _run_grip(shot, ticks)
    pan_plans, tilt_plans, aims = _run_operator(shot, ticks, dolly)
    focus_plans = _run_puller(shot, ticks, dolly, pan_plans, tilt_plans)
    frame, sub = sample_frames(shot)
    times = shot.times_of(frame + sub / shot.samples_per_frame)
    rail, pan, tilt = (p.at(times) for p in (dolly, pan_plans, tilt_plans))
    base = shot.rig.places(rail[:, 0])
    tx, ty = shot.tangents
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
    framing = _framing_at(shot, times)
    primary = _primary(shot)[framing]
    hidden = _hidden(shot, times, primary)
    axis_v = shot.gate.axis_v

    def screen(fractions: list[float]) -> tuple[FloatArray, FloatArray]:
        points = _primary_points(shot, times, np.array(fractions) / EYES)
        u, v, _ = project(points, base, pan[:, 0], tilt[:, 0], roll, tx, ty)
        return np.where(hidden, np.nan, u), np.where(hidden, np.nan, v + axis_v)

    u, v = screen([f.aim * EYES for f in shot.framings])
    top_u, top_v = screen([f.top for f in shot.framings])
    low_u, low_v = screen([f.bottom for f in shot.framings])
    in_frame = (np.abs(u) <= 1) & (np.abs(v) <= 1)
    ends = np.abs(np.stack([top_u, top_v, low_u, low_v])).max(axis=0) <= 1
    eyes = _primary_points(shot, times, np.ones(len(shot.framings)))
    depth = _depth(eyes, base, pan[:, 0], tilt[:, 0])
    dioptres = np.clip(focus_plans.at(times)[:, 0], 1e-4, 1.0 / shot.lens.close_focus_m)
    near, far = depth_of_field_m(
        shot.lens.focal_mm, shot.stop, shot.coc_mm, 1 / dioptres
    )
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
        near_m=near,
        far_m=far,
        soft=~hidden & ((depth < near) | (depth > far)),
        subject=primary,
        u=u,
        v=v,
        size=np.hypot((top_u - low_u) * tx / ty, top_v - low_v) / 2,
        aim_u=aims[tick, 0],
        aim_v=aims[tick, 1] + axis_v,
        in_frame=in_frame,
        body_in_frame=in_frame & ends,
        in_safe=(np.abs(u) <= SAFE) & (np.abs(v) <= SAFE),
        dolly_plans=dolly,
        pan_plans=pan_plans,
        tilt_plans=tilt_plans,
        focus_plans=focus_plans,
    )
