"""The crew's whole performance of a shot: what each sees, and the plans each makes."""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil

import numpy as np

from ..action.acted import acted, of_each
from ..action.framing import Framing, framing_at, primary_of
from ..arrays import ZERO, BoolArray, FloatArray
from ..shot import HOLDS, Shot
from .grip import run_grip
from .observe import Observed, believe, observe
from .operator import run_operator
from .plan import PLAN_WIDTH, evaluate_log, straight_on
from .planner import Planner, planner_of, whip_planner_of
from .puller import run_puller
from .rehearse import rehearsed_focus


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
        )
        for f in framings
    ]
    return np.array(rows), np.array([f.weights for f in framings])


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
    seen = observed.grip
    cues, weights = cue_rows(shot.framings)
    log = _log(ticks, grip.rest_s, len(cues))
    count, refused = run_grip(
        shot.rig.shape,
        planner,
        ticks,
        ZERO,
        seen.place,
        seen.velocity,
        weights,
        cues,
        HOLDS.index(shot.hold),
        shot.view_rad,
        shot.side_offset,
        shot.follow,
        grip.tolerance,
        grip.rest_s,
        grip.fades_s,
        log,
    )
    return _plans(log, count, planner, refused)


def head_plans(
    shot: Shot, observed: Observed, dolly: Plans
) -> tuple[Plans, Plans, FloatArray]:
    """Let the operator work through a shot; return pan, tilt and the asked points."""
    ticks = observed.ticks
    operator = shot.crew.operator
    own, whip = planner_of(operator), whip_planner_of(operator)
    seen = observed.operator
    cues, weights = cue_rows(shot.framings)
    tx, ty = shot.tangents
    most = most_plans(ticks, operator.rest_s, len(cues))
    logs = np.empty((2, most, PLAN_WIDTH))
    whips = np.empty((2, most), dtype=np.bool_)
    aims = np.empty((len(ticks), 2))
    pans, tilts, refused = run_operator(
        shot.rig.shape,
        dolly.log,
        len(dolly.log),
        own,
        whip,
        ticks,
        ZERO,
        seen.place,
        seen.velocity,
        observed.facing,
        weights,
        np.array([s.must_hold for s in shot.subjects]),
        cues,
        operator.tolerance,
        operator.rest_s,
        operator.fades_s,
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


def focus_plans(
    shot: Shot, ticks: FloatArray, dolly: Plans, pan: Plans, tilt: Plans
) -> Plans:
    """Let the puller work through a shot whose other channels are planned."""
    puller = shot.crew.puller
    planner = planner_of(puller)
    cues, weights = cue_rows(shot.framings)
    nearest = 1.0 / shot.lens.close_focus_m
    by_marks = shot.crew.focus_method == "marks"
    truth = np.empty(len(ticks))
    framing = framing_at(shot.framings, ticks)
    for k, mine in of_each(primary_of(shot.framings)[framing]):
        rehearsed_focus(
            acted(shot.subjects[k]),
            ticks,
            mine,
            shot.rig.shape,
            dolly.log,
            pan.log,
            tilt.log,
            nearest,
            truth,
        )
    half_depth = shot.stop * shot.coc_mm * 1e-3 / (shot.lens.focal_mm * 1e-3) ** 2
    # A puller who works by marks goes by the rehearsal, and believes nothing.
    seen = believe(puller, shot.subjects, ticks[:0] if by_marks else ticks)
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
        dolly.log,
        pan.log,
        tilt.log,
        by_marks,
        puller.tolerance * half_depth,
        puller.rest_s,
        puller.fades_s,
        nearest,
        log,
    )
    return _plans(log, count, planner, refused)


def perform(shot: Shot) -> Performance:
    """Let grip, operator and puller work through a shot, in this order."""
    observed = observe(shot, dolly=shot.rig.length_m > 0.0)
    ticks = observed.ticks
    dolly = dolly_plans(shot, observed)
    pan, tilt, asked = head_plans(shot, observed, dolly)
    focus = focus_plans(shot, ticks, dolly, pan, tilt)
    return Performance(
        ticks=ticks, asked=asked, dolly=dolly, pan=pan, tilt=tilt, focus=focus
    )
