"""A trial: the real grip and operator work a setup, and a judge looks at every frame.

A trial makes the very plans that `operate` makes for the same setup; it leaves out
what choosing needs not (focus, shake, samples between frames), so that many setups
can be tried. Its numbers agree with `measure` of the take, which a test holds.
"""

from copy import copy
from typing import NamedTuple

import numpy as np

from ..action.claim import ClaimOutcome
from ..action.rehearsed import Action, sized_anew
from ..arrays import FloatArray
from ..claims.everyone import CameraFrames, blocking_of, frame_table
from ..claims.measured import outcomes_of
from ..crew.grip import Hold
from ..crew.observe import Observed
from ..crew.planner import Planner, brake_planner_of, planner_of
from ..frame.sight import SightCamera
from ..optics.lens import Lens
from ..presets import Member
from ..shot import HOLDS
from ..stage.stage import Stage, sight_hidden
from .in_set import InSet, seen_in_set, watching_of
from .judge import DOLLY_RATE, MUST_CLEAR_M, N_NUMBERS, PAN_RATE, Lensed, TrialRows
from .propose import Known, way_of
from .prospect import Within
from .setup import Ask, Setup, rehearsed
from .work import (
    Rigged,
    Through,
    hands_of,
    through_of,
    watched,
    watched_of,
    work,
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


def _dolly_planners(grip: Member, length_m: float = 0.0) -> tuple[Planner, Planner]:
    """Return the planners of a dolly, and of one that brakes hard."""
    own = planner_of(grip, length_m=length_m)
    return own, brake_planner_of(grip, length_m=length_m)


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
        trial = self.tried_within(setup, np.inf)
        assert trial is not None
        return trial

    def tried_within(self, setup: Setup, at_most: float) -> Trial | None:
        """Let the crew work a setup as long as it may break no more than `at_most`.

        Args:
            setup: what is tried.
            at_most: sum of what it breaks, as `score.Judged.broken` counts it.
        """
        self.n_trials += 1
        action, rig = self.action, setup.rig
        through = self._through.get(setup.lens)
        if through is None:
            through = self._through[setup.lens] = through_of(self.ask.shot, setup)
        grip = self.ask.shot.crew.grip
        numbers = np.empty(N_NUMBERS)
        cams = np.empty((action.n_frames, 5))
        screen = np.empty((action.n_frames, 3))
        within = Within(
            at_most,
            self.ask.stage.min_distance_m,
            MUST_CLEAR_M if self.ask.rig is None else 0.0,
        )
        done = work(
            Rigged(
                rig.shape,
                Hold(
                    HOLDS.index(setup.hold),
                    setup.view_rad,
                    setup.offset,
                    setup.follow,
                ),
                *(
                    self._dolly
                    if rig.length_m == 0.0
                    else _dolly_planners(grip, rig.length_m)
                ),
                setup.view.bearing_rad if setup.view is not None else 0.0,
            ),
            self._hands,
            through,
            self._watched,
            action,
            within,
            TrialRows(cams, screen, numbers),
        )
        if not done:
            return None
        in_set = None
        if self._watching is not None and self.ask.stage.set is not None:
            in_set = seen_in_set(
                self.ask.shot,
                self.ask.stage,
                self._watching,
                SightCamera(cams, through.lensed.roll_rad, through.lensed.screen),
                rig,
            )
        return Trial(
            setup=setup,
            numbers=numbers,
            hidden=_hidden(self.ask.stage, cams[:, :3], action)
            if in_set is None
            else in_set.hidden,
            seconds=action.n_frames / float(self.ask.shot.rate),
            cams=cams,
            screen=screen,
            claims=self._outcomes(cams, through.lensed),
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
