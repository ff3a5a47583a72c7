"""The crew's whole performance of a shot: what each sees, and the plans each makes."""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil

import numpy as np

from ..action.acted import acted, of_each
from ..action.framing import Framing, framing_at, primary_of
from ..arrays import ZERO, BoolArray, FloatArray
from ..presets import Member
from ..shot import HOLDS, Shot
from .decide import Asked, Manner
from .grip import GripTask, Hold, run_grip
from .head_target import Sight
from .observe import Observed, believe, observe
from .operator import DollyPlans, HeadLogs, HeadTask, run_operator
from .plan import PLAN_WIDTH, evaluate_log, straight_on
from .planner import Planner, brake_planner_of, planner_of, whip_planner_of
from .puller import CameraPlans, PullerTask, run_puller
from .rehearse import rehearsed_focus
from .variability import Perception, performing


@dataclass(frozen=True, kw_only=True, slots=True)
class Plans:
    """A channel's plans: a log of (count, PLAN_WIDTH) rows, and its planner.

    `refused` counts decisions for which no plan existed and the plan in force went on;
    `whips` marks plans made with wider limits than the planner's: a whip's.
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
class Performance:
    """Every plan of a shot, in channel units, and when they were decided.

    `ticks` (k,) are the decision times [s]; `asked` (k, 2) is the screen point at
    which the subject was to be held at each.
    """

    ticks: FloatArray
    asked: FloatArray
    dolly: Plans
    pan: Plans
    tilt: Plans
    focus: Plans


@lru_cache(maxsize=64)
def cue_rows(framings: tuple[Framing, ...]) -> tuple[FloatArray, FloatArray]:
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
            f.crown_v,
        )
        for f in framings
    ]
    return np.array(rows), np.array([f.weights for f in framings])


def asked_of(shot: Shot) -> Asked:
    """Return what a shot asks of the frame, as kernels read it."""
    cues, weights = cue_rows(shot.framings)
    return Asked(cues, weights, np.array([s.must_hold for s in shot.subjects]))


def hold_of(shot: Shot) -> Hold:
    """Return what the dolly of a shot keeps, as kernels read it."""
    return Hold(
        HOLDS.index(shot.hold),
        float(shot.view_rad),
        shot.side_offset,
        float(shot.follow),
    )


def manner_of(member: Member, tolerance: float = 1.0) -> Manner:
    """Return how a member decides; `tolerance` is what one of theirs is."""
    return Manner(member.tolerance * tolerance, member.rest_s, member.urgency)


def known_plans(dolly: Plans) -> DollyPlans:
    """Return a dolly's plans as the operator knows of them."""
    planner = dolly.planner
    return DollyPlans(dolly.log, len(dolly.log), planner.horizon, planner.accel)


def head_logs(n_ticks: int, most: int) -> HeadLogs:
    """Return room for what an operator writes, at most `most` plans of an axis."""
    return HeadLogs(
        plans=np.zeros((2, most, PLAN_WIDTH)),
        whips=np.zeros((2, most), dtype=np.bool_),
        aims=np.zeros((n_ticks, 2)),
    )


def _log(ticks: FloatArray, rest_s: float, n_cues: int) -> FloatArray:
    """Return an empty plan log with room for every decision."""
    return np.empty((most_plans(ticks, rest_s, n_cues), PLAN_WIDTH))


def most_plans(ticks: FloatArray, rest_s: float, n_cues: int) -> int:
    """Return how many plans a channel makes at most, after a rest or at a cue."""
    span = float(ticks[-1]) - float(ticks[0])
    return min(len(ticks), ceil(2 * span / max(rest_s, 1e-3)) + 2) + n_cues + 2


def _plans(log: FloatArray, count: int, planner: Planner, refused: int) -> Plans:
    return Plans(
        log=log[:count].copy(),
        planner=planner,
        refused=refused,
        whips=np.zeros(count, dtype=np.bool_),
    )


def dolly_plans(shot: Shot, observed: Observed) -> Plans:
    """Let the grip work through a shot."""
    ticks = observed.ticks
    grip = shot.crew.grip
    planner = planner_of(grip, length_m=shot.rig.length_m)
    if shot.rig.length_m == 0.0:
        still = straight_on(ticks[0], 0.0, 0.0)
        return _plans(still, 1, planner, 0)
    asked = asked_of(shot)
    log = _log(ticks, grip.rest_s, len(asked.cues))
    task = GripTask(
        rig=shot.rig.shape,
        planner=planner,
        brake=brake_planner_of(grip, length_m=shot.rig.length_m),
        hold=hold_of(shot),
        asked=asked,
        manner=manner_of(grip),
    )
    count, refused = run_grip(task, observed.grip, ZERO, log)
    return _plans(log, count, planner, refused)


def head_plans(
    shot: Shot, observed: Observed, dolly: Plans
) -> tuple[Plans, Plans, FloatArray]:
    """Let the operator work through a shot; return pan, tilt and the asked points."""
    ticks = observed.ticks
    operator = shot.crew.operator
    asked = asked_of(shot)
    task = HeadTask(
        rig=shot.rig.shape,
        own=planner_of(operator),
        whip=whip_planner_of(operator),
        asked=asked,
        manner=manner_of(operator),
        sight=Sight(shot.roll_rad, *shot.tangents),
    )
    logs = head_logs(len(ticks), most_plans(ticks, operator.rest_s, len(asked.cues)))
    pans, tilts, refused = run_operator(
        task, known_plans(dolly), observed.operator, ZERO, logs
    )
    pan, tilt = (
        Plans(
            log=logs.plans[c, :count].copy(),
            planner=task.own,
            refused=refused,
            whips=logs.whips[c, :count].copy(),
        )
        for c, count in ((0, pans), (1, tilts))
    )
    return pan, tilt, logs.aims


def focus_plans(
    shot: Shot, ticks: FloatArray, dolly: Plans, pan: Plans, tilt: Plans
) -> Plans:
    """Let the puller work through a shot whose other channels are planned."""
    puller = shot.crew.puller
    nearest = 1.0 / shot.lens.close_focus_m
    camera = CameraPlans(dolly.log, pan.log, tilt.log)
    by_marks = shot.crew.focus_method == "marks"
    truth = np.empty(len(ticks))
    framing = framing_at(shot.framings, ticks)
    for k, mine in of_each(primary_of(shot.framings)[framing]):
        rehearsed_focus(
            acted(shot.subjects[k]),
            ticks,
            mine,
            shot.rig.shape,
            camera,
            nearest,
            truth,
        )
    half_depth = shot.stop * shot.coc_mm * 1e-3 / (shot.lens.focal_mm * 1e-3) ** 2
    task = PullerTask(
        rig=shot.rig.shape,
        planner=planner_of(puller),
        asked=asked_of(shot),
        manner=manner_of(puller, half_depth),
        marks=by_marks,
        truth=truth,
        nearest=nearest,
    )
    # A puller who pulls by marks follows the rehearsal, and believes nothing.
    level = shot.crew.variability
    seen = believe(
        puller,
        shot.subjects,
        ticks[:0] if by_marks else ticks,
        Perception(level=level, seed=shot.seed, member="puller"),
    )
    log = _log(ticks, puller.rest_s, len(shot.framings))
    count, refused = run_puller(task, camera, seen._replace(ticks=ticks), log)
    return _plans(log, count, task.planner, refused)


def perform(shot: Shot) -> Performance:
    """Let grip, operator and puller work through a shot, in this order.

    They vary with the take's seed by the crew's level; see `variability`.
    """
    level = shot.crew.variability
    if level > 0.0:
        shot = replace(shot, crew=performing(shot.crew, shot.seed))
    observed = observe(shot, dolly=shot.rig.length_m > 0.0, level=level)
    ticks = observed.ticks
    dolly = dolly_plans(shot, observed)
    pan, tilt, asked = head_plans(shot, observed, dolly)
    focus = focus_plans(shot, ticks, dolly, pan, tilt)
    return Performance(
        ticks=ticks, asked=asked, dolly=dolly, pan=pan, tilt=tilt, focus=focus
    )
