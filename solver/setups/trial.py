"""A trial: the real grip and operator work a setup, and a judge looks at every frame.

A trial makes the very plans that `operate` makes for the same setup; it leaves out
what choosing needs not (focus, shake, samples between frames), so that many setups
can be tried. Its numbers agree with `measure` of the take, which a test holds.
"""

from collections.abc import Sequence
from copy import copy
from typing import NamedTuple

import numpy as np

from ..action.claim import ClaimOutcome
from ..action.rehearsed import Action, sized_anew
from ..arrays import FloatArray
from ..claims.everyone import CameraFrames, blocking_of, frame_table
from ..claims.measured import outcomes_of
from ..crew.observe import Observed
from ..crew.planner import Planner, brake_planner_of, planner_of
from ..frame.sight import SightCamera
from ..optics.lens import Lens
from ..presets import Member
from ..rigs.faults import rail_faults
from ..stage.stage import Stage, sight_hidden
from .batch import Ending, TrialBatch, room_for, rows_of, work_all
from .in_set import InSet, seen_in_set, watching_of
from .judge import DOLLY_RATE, MUST_CLEAR_M, PAN_RATE, Lensed, must_hold
from .propose import Known, way_of
from .prospect import Within
from .setup import Ask, Setup, rehearsed
from .work import (
    Through,
    hands_of,
    through_of,
    watched,
    watched_of,
)


class Trial(NamedTuple):
    """What a setup did when it was simulated.

    Attributes:
        setup: as tried.
        numbers: (N_NUMBERS,), see the constants of `judge`; rates are decisions a
            second in the cut, REFUSED those for which no plan existed.
        hidden: share of frames in which a keep-out stands before the subject; in a set
            the share of the subject's points in the picture that something hides.
        seconds: length of the cut.
        cams: lens place, pan and tilt at the frames of the cut, (n, 5).
        screen: u, v and size of the primary at them, (n, 3).
        claims: what came of each of the shot's.
        in_set: what the set does to it; None without a set.
    """

    setup: Setup
    numbers: FloatArray
    hidden: float
    seconds: float
    cams: FloatArray
    screen: FloatArray
    claims: tuple[ClaimOutcome, ...] = ()
    in_set: InSet | None = None

    @property
    def pan_rate(self) -> float:
        """Pan decisions a second."""
        return float(self.numbers[PAN_RATE])

    @property
    def dolly_rate(self) -> float:
        """Dolly decisions a second."""
        return float(self.numbers[DOLLY_RATE])


def _dolly_planners(grip: Member) -> tuple[Planner, Planner]:
    """Return the planners of a dolly, and of one that brakes hard, of any length."""
    return planner_of(grip, length_m=0.0), brake_planner_of(grip, length_m=0.0)


class Rehearsal:
    """One shot on which setups are tried: what they share is computed once."""

    def __init__(self, ask: Ask, seen: Observed | None = None) -> None:
        """Take a shot and what is open in it.

        Args:
            ask: the shot.
            seen: what grip and operator believe, of `watched`, where it is known from
                another shot of the same action and crew.
        """
        self.ask = ask
        self.seen = watched(ask.shot) if seen is None else seen
        self.action = rehearsed(ask.shot)
        self.way = way_of(self.action)
        self.n_trials = 0
        self._hands = hands_of(ask.shot.crew)
        self._dolly = _dolly_planners(ask.shot.crew.grip)
        self._through: dict[Lens, Through] = {}
        self._watched = watched_of(ask.shot, self.seen)
        self.blocking = blocking_of(ask.shot) if ask.shot.claims else None
        self._watching = None if ask.stage.set is None else watching_of(ask.shot)

    @property
    def known(self) -> Known:
        """What proposals are made from."""
        return Known(self.ask, self.action, self.way)

    def changed(self, ask: Ask) -> "Rehearsal":
        """Return the rehearsal of a changed ask of the same subjects.

        Args:
            ask: may differ in what can be laid and where, in lenses, in the sizes of
                its framings and in the limits of its dolly.
        """
        other = copy(self)
        other.ask, other.n_trials = ask, 0
        other._dolly = _dolly_planners(ask.shot.crew.grip)
        if ask.shot.framings is not self.ask.shot.framings:
            shot = ask.shot
            other.action = sized_anew(
                self.action, shot.subjects, shot.framings, shot.tangents[1]
            )
            other._through = {}
        return other

    def tried(self, setup: Setup) -> Trial:
        """Let the crew work a setup, and judge what came of it."""
        (trial,) = self.tried_within([setup], np.inf)
        assert trial is not None
        return trial

    def tried_within(
        self, setups: Sequence[Setup], at_most: float, *, first: bool = False
    ) -> list[Trial | None]:
        """Let the crew work setups, each as long as it may be the best of them.

        Args:
            setups: what is tried, in this order, through one lens.
            at_most: sum of what the first may break, as `score.Judged.broken` counts
                it; the others no more than any before them.
            first: end with the first that is known to break nothing.

        Returns:
            For each its trial, or None where it was given up or not begun.
        """
        ask, action = self.ask, self.action
        self.n_trials += len(setups)
        lens = setups[0].lens
        through = self._through.get(lens)
        if through is None:
            through = self._through[lens] = through_of(ask.shot, setups[0])
        faults = [0.0] * len(setups)
        if ask.rig is None and ask.stage.set is None:
            stage = ask.stage
            faults = [sum(rail_faults(stage, one.rig).values()) for one in setups]
        batch = room_for(len(setups), action.n_frames)
        within = Within(
            float(at_most),
            float(ask.stage.min_distance_m),
            MUST_CLEAR_M if ask.rig is None else 0.0,
        )
        ending = Ending(self._exact, first, must_hold(ask.shot.framings))
        crew = (self._hands, through, self._watched)
        rows = rows_of(setups, faults)
        work_all(rows, self._dolly, crew, action, within, ending, batch)
        return [
            self._trial(setup, through.lensed, batch, k) if done else None
            for k, (setup, done) in enumerate(
                zip(setups, batch.done.tolist(), strict=True)
            )
        ]

    @property
    def _exact(self) -> bool:
        """Whether what a setup breaks is known without looking at claims and sights."""
        stage = self.ask.stage
        watched = stage.forbids_sight or bool(stage.sight_forbidden.any())
        return self.blocking is None and stage.set is None and not watched

    def _trial(self, setup: Setup, lensed: Lensed, batch: TrialBatch, k: int) -> Trial:
        """Return what row k of a batch says of a setup."""
        shot, stage = self.ask.shot, self.ask.stage
        # Copies: a view would keep the whole batch.
        cams = batch.cams[k].copy()
        in_set = None
        if self._watching is not None and stage.set is not None:
            sight = SightCamera(cams, lensed.roll_rad, lensed.screen)
            in_set = seen_in_set(shot, stage, self._watching, sight, setup.rig)
        return Trial(
            setup=setup,
            numbers=batch.numbers[k].copy(),
            hidden=_hidden(stage, cams[:, :3], self.action)
            if in_set is None
            else in_set.hidden,
            seconds=self.action.n_frames / float(shot.rate),
            cams=cams,
            screen=batch.screen[k].copy(),
            claims=self._outcomes(cams, lensed),
            in_set=in_set,
        )

    def _outcomes(self, cams: FloatArray, lensed: Lensed) -> tuple[ClaimOutcome, ...]:
        """Return what came of the shot's claims on a camera's frames."""
        shot = self.ask.shot
        if self.blocking is None or not shot.claims:
            return ()
        camera = CameraFrames(cams, shot.roll_rad, lensed.screen, lensed.shaking)
        return outcomes_of(shot.claims, frame_table(self.blocking, shot.stage, camera))


def _hidden(stage: Stage, cams: FloatArray, action: Action) -> float:
    """Return the share of frames with the eyes behind a keep-out."""
    if not len(stage.keep_outs) or not action.seen.any():
        return 0.0
    return float(sight_hidden(stage, cams, action.eyes)[action.seen].mean())
