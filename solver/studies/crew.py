"""The forward model of a studied take: a crew on the take's own subject and rig.

A trial is a crew member's numbers and where on screen (or beside the subject) the
member holds. The member is simulated on the subject, and the outcome is compared with
the take. A decision at the wrong time makes a trial wrong for a while only, so trials
are compared by the mean of log(sigma^2 + miss^2): a trial that is exact half of the
time beats one that is mediocre all the time.
"""

from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from ..action.framing import Framing
from ..action.subject import Subject
from ..arrays import ZERO, FloatArray
from ..crew.decide import Seen
from ..crew.head_target import Sight
from ..crew.observe import Observed, believe, preroll_frames
from ..crew.operator import HeadTask, run_operator
from ..crew.perform import (
    Plans,
    asked_of,
    dolly_plans,
    head_logs,
    known_plans,
    manner_of,
)
from ..crew.plan import evaluate_log, straight_on
from ..crew.planner import planner_of
from ..optics.lens import Lens
from ..presets import PRESETS, Member
from ..rigs.shape import Rig, StudiedRig
from ..shot import Shot
from .camera import CameraMove, noise_of
from .knobs import DOLLY_KNOBS, HEAD_KNOBS, MEMBER_KNOBS, Knob
from .look_again import look_again
from .looked import LASTS_S, AimPoint, aimed
from .shake import level_of

# Finer than this two curves agree: half frames, and metres of dolly.
SIGMA = 0.004
SIGMA_M = 0.003
SCATTER = 0.03  # of that mean over the samples of a take
BELIEF_S, BELIEF_RATIO = 1 / 48, 1.15  # steps of delay [s] and bandwidth of beliefs
LOOK_M = 0.1  # deviation of a look from the one that was fitted first
WINDOW_S = 1.0  # misses are kept by windows of this length


@dataclass(frozen=True, kw_only=True, slots=True)
class PresetTrial:
    """A trial's numbers and how it did.

    Attributes:
        preset: whose other numbers were used.
        values: of the knobs, (k,).
        loss: mean over windows; windows: loss by window, (m,).
    """

    preset: str
    values: FloatArray
    loss: float
    windows: FloatArray


@dataclass(kw_only=True)
class Bench:
    """What trials of one channel have in common; made by `head_bench`, `dolly_bench`.

    Attributes:
        shot: the take as a shot, its rig as far as it was used.
        ticks: when the crew decides, (n_ticks,) [s].
        times_s, wanted: the take, (n,) [s] and (channels, n) [rad or m].
        scale: of a miss, (channels,): half angles of view, or 1 m.
        sigma: below which two curves agree, in that scale, (channels, 1).
        knobs: the numbers of a trial.
        dolly: what the operator knows of the dolly; None on a grip's bench.
        along: the rail's direction, (3,), zero on an operator's bench.
        changes: of an operator's angles with a look's numbers, (4, 2, n).
        enough: loss at which the search stops.
        n_trials: run so far.
        seen: beliefs, kept for trials that share them.
    """

    shot: Shot
    ticks: FloatArray
    times_s: FloatArray
    wanted: FloatArray
    scale: FloatArray
    sigma: FloatArray
    knobs: tuple[Knob, ...]
    dolly: Plans | None
    along: FloatArray
    enough: float
    changes: FloatArray
    n_trials: int = 0
    seen: dict[tuple[float, ...], Seen] = field(default_factory=dict)

    @property
    def base(self) -> dict[str, Member]:
        """The presets' members of this channel."""
        return {
            name: crew.operator if self.dolly is not None else crew.grip
            for name, crew in PRESETS.items()
        }

    def member(self, preset: str, values: FloatArray) -> Member:
        """Return the member that a trial's numbers describe."""
        own = {
            knob.name: float(value)
            for knob, value in zip(self.knobs, values, strict=True)
            if knob.name in Member.__dataclass_fields__
        }
        return replace(self.base[preset], **own)

    def _believed(self, member: Member) -> Seen:
        # Beliefs lie on a grid: most of what a trial would cost is a new one.
        step = BELIEF_RATIO
        member = replace(
            member,
            reaction_s=round(member.reaction_s / BELIEF_S) * BELIEF_S,
            bandwidth_rad_s=step
            ** round(np.log(member.bandwidth_rad_s) / np.log(step)),
        )
        key = (member.reaction_s, member.bandwidth_rad_s, member.fade_s, member.gait)
        if key not in self.seen:
            if len(self.seen) > 400:
                self.seen.clear()
            self.seen[key] = believe(member, self.shot.subjects, self.ticks)
        return self.seen[key]

    def curves(self, preset: str, values: FloatArray) -> FloatArray:
        """Return what a trial does at the take's samples: (2, n) [rad] or (1, n) [m].

        A trial for which there is no plan gives NaN.
        """
        self.n_trials += 1
        member = self.member(preset, values)
        seen = self._believed(member)
        if self.dolly is None:
            plans = self._dolly(member, seen, values)
            rail: FloatArray = plans.at(self.times_s)[:, 0] - values[-2]
            return rail[None]
        lead, u, v = (float(value) for value in values[-3:])
        return self._looked(self._head(member, seen, lead, u, v))

    def _looked(self, curves: FloatArray) -> FloatArray:
        """Return a trial's curves with where it looks fitted again.

        Where it looks changes no decision to first order, so it is no knob.
        """
        if not np.isfinite(curves).all():
            return curves
        step = float(self.times_s[1] - self.times_s[0])
        known = np.array([1.0, 1.0, 0.0, 0.0]) / LOOK_M**2 * max(1.0, LASTS_S / step)
        out = np.array(curves)
        look_again(self.wanted, self.changes, self.scale, self.sigma[:, 0], known, out)
        return out

    def plans(self, trial: "PresetTrial") -> tuple[StudiedRig, Plans]:
        """Return the rig of a trial and the dolly's plans, for the operator to know."""
        member = self.member(trial.preset, trial.values)
        plans = self._dolly(member, self._believed(member), trial.values)
        return self._rig(trial.values), plans

    def _rig(self, values: FloatArray) -> StudiedRig:
        assert isinstance(self.shot.rig, StudiedRig)
        return self.shot.rig.longer(float(values[-2]), float(values[-1]))

    def _dolly(self, member: Member, seen: Seen, values: FloatArray) -> Plans:
        x, y, z = (float(c) for c in self.along * values[-3])
        shot = replace(
            self.shot,
            crew=replace(self.shot.crew, grip=member),
            rig=self._rig(values),
            side_offset=(x, y, z),
        )
        return dolly_plans(shot, Observed(grip=seen, operator=seen))

    def _head(
        self, member: Member, seen: Seen, lead: float, u: float, v: float
    ) -> FloatArray:
        assert self.dolly is not None
        planner = planner_of(member)
        ticks, one = self.ticks, self.shot.framings[0]
        cue = np.array(
            [[-np.inf, one.aim, u, v, lead, 0.0, one.distance_m, 0.0, np.nan]]
        )
        rows = min(len(ticks), int(2 * np.ptp(ticks) / max(member.rest_s, 1e-3)) + 4)
        logs = head_logs(len(ticks), rows + 4)
        task = HeadTask(
            rig=self.shot.rig.shape,
            own=planner,
            whip=planner,
            asked=asked_of(self.shot)._replace(cues=cue),
            manner=manner_of(member),
            sight=Sight(self.shot.roll_rad, *self.shot.tangents),
        )
        known = known_plans(self.dolly)
        unfaced = seen._replace(
            facing=np.full((len(seen.place), len(self.ticks)), np.nan)
        )
        pans, tilts, _ = run_operator(task, known, unfaced, ZERO, logs)
        out = np.empty((2, len(self.times_s), 3))
        for c, count in ((0, pans), (1, tilts)):
            evaluate_log(logs.plans[c], count, self.times_s, out[c])
        return out[:, :, 0]

    def misses(self, preset: str, values: FloatArray) -> FloatArray:
        """Return a trial's misses in units of the frame (or metres), (channels, n)."""
        off = self.curves(preset, values) - self.wanted
        if self.dolly is not None:
            # Whole turns are not a miss: a take does not record them.
            off[0] -= 2 * np.pi * np.round(np.median(off[0]) / (2 * np.pi))
        scaled: FloatArray = off / self.scale[:, None]
        return scaled

    def run(self, preset: str, values: FloatArray) -> PresetTrial:
        """Return a trial with its losses."""
        off = self.misses(preset, values)
        each = np.log(self.sigma**2 + off**2).mean(axis=0)
        step = self.times_s[1] - self.times_s[0]
        size = max(1, round(WINDOW_S / step))
        whole = len(each) // size * size
        parts = each[:whole].reshape(-1, size).mean(axis=1)
        windows = parts if whole else each[:1]
        return PresetTrial(
            preset=preset,
            values=np.array(values),
            loss=float(each.mean()),
            windows=windows,
        )


def _shot(
    camera: CameraMove,
    subject: Subject,
    rig: Rig,
    framing: Framing,
    rate: Fraction,
) -> Shot:
    first = round(float(camera.times_s[0]) * float(rate))
    last = round(float(camera.times_s[-1]) * float(rate))
    return Shot(
        name="studied",
        rate=rate,
        first=first,
        last=last,
        gate=camera.gate,
        lens=Lens(camera.focal),
        roll_rad=float(np.median(camera.roll)),
        rig=rig,
        crew=PRESETS["brisk"],
        subjects=(subject,),
        framings=(framing,),
    )


def _changes(camera: CameraMove, subject: Subject, framing: Framing) -> FloatArray:
    points = subject.at(camera.times_s, framing.aim)
    look = AimPoint(u=framing.u, v=framing.v)
    return aimed(camera, points, camera.place, look).changes


def _ticks(shot: Shot) -> FloatArray:
    before = preroll_frames(shot)
    return shot.times_of(np.arange(shot.first - before, shot.last + 2, dtype=float))


def _enough(sigma: FloatArray, noise: FloatArray) -> float:
    """Return the loss of a trial that leaves only noise, at which the search stops.

    The mean of log(sigma^2 + e^2) over normal e, by Gauss-Hermite quadrature.
    """
    at, weights = np.polynomial.hermite_e.hermegauss(32)
    left = np.log(sigma[:, None] ** 2 + (noise[:, None] * at) ** 2)
    return float((left @ weights).mean() / weights.sum()) + SCATTER


def fast_of(camera: CameraMove) -> FloatArray:
    """Return the part that no trial explains, noise and shake, (2,) [half frames]."""
    level = level_of(camera)
    percent = level.percent if level.present else 0.0
    shake = percent / 100 * 2 * camera.tangents[0] / camera.half
    out: FloatArray = np.hypot(camera.angle_noise, shake)
    return out


def recorded_dolly(times_s: FloatArray, rail: FloatArray) -> Plans:
    """Return a dolly's own path as plans: at each sample it runs straight on.

    Args:
        times_s: (n,) [s].
        rail: places along it, (n,) [m].
    """
    log = straight_on(times_s, rail, np.gradient(rail, times_s))
    planner = planner_of(PRESETS["brisk"].grip)._replace(horizon=np.inf)
    return Plans(log=log, planner=planner, refused=0, whips=np.zeros(0, dtype=np.bool_))


def head_bench(
    camera: CameraMove,
    subject: Subject,
    *,
    rig: Rig,
    dolly: Plans,
    framing: Framing,
    rate: Fraction,
    most_s: float,
    fast: FloatArray,
) -> Bench:
    """Return the bench on which operators are tried.

    Args:
        camera: the take.
        subject: what it is thought to follow.
        rig: where the lens was; its rail is `dolly`'s.
        dolly: where on the rail it was, and was going.
        framing: gives the body point; lead room, u and v are the trials'.
        rate: ticks of the crew, frames a second.
        most_s: only the beginning of a longer take is compared [s].
        fast: what no trial explains, (2,) [half frames]; see `fast_of`.
    """
    shot = _shot(camera, subject, rig, framing, rate)
    n = min(len(camera.times_s), round(most_s * camera.rate_hz))
    ticks = _ticks(shot)
    sigma = np.maximum(SIGMA, fast)
    return Bench(
        shot=shot,
        ticks=ticks[ticks <= camera.times_s[n - 1] + 2 * float(1 / rate)],
        times_s=camera.times_s[:n],
        wanted=camera.angles[:, :n],
        scale=camera.half,
        sigma=sigma[:, None],
        knobs=(*MEMBER_KNOBS, *HEAD_KNOBS),
        dolly=dolly,
        along=np.zeros(3),
        enough=_enough(sigma, fast),
        changes=_changes(camera, subject, framing)[:, :, :n],
    )


def dolly_bench(
    camera: CameraMove,
    subject: Subject,
    *,
    rig: Rig,
    rail: FloatArray,
    framing: Framing,
    rate: Fraction,
    most_s: float,
    fast_m: float,
) -> Bench:
    """Return the bench on which grips are tried, for a dolly that holds abreast.

    Args:
        camera: the take.
        subject: what it is thought to follow.
        rig: the fitted track or arc.
        rail: place along it, (n,) [m].
        framing: gives the body point.
        rate: ticks of the crew, frames a second.
        most_s: only the beginning of a longer take is compared [s].
        fast_m: what no trial explains besides noise, shake along the rail [m].
    """
    shot = _shot(camera, subject, rig, framing, rate)
    n = min(len(camera.times_s), round(most_s * camera.rate_hz))
    ticks = _ticks(shot)
    fast = np.array([np.hypot(noise_of(rail), fast_m)])
    sigma = np.maximum(SIGMA_M, fast)
    ends = rig.places(np.array([0.0, rig.length_m]))
    along = (ends[1] - ends[0]) / max(float(np.linalg.norm(ends[1] - ends[0])), 1e-9)
    return Bench(
        shot=shot,
        ticks=ticks[ticks <= camera.times_s[n - 1] + 2 * float(1 / rate)],
        times_s=camera.times_s[:n],
        wanted=rail[None, :n],
        scale=np.ones(1),
        sigma=sigma[:, None],
        knobs=(*MEMBER_KNOBS, *DOLLY_KNOBS),
        dolly=None,
        along=along,
        enough=_enough(sigma, fast),
        changes=np.zeros((0, 1, n)),
    )
