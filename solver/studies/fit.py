"""Grip and operator fitted to a take, at the rate at which its crew decided."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ..action.framing import Framing
from ..action.subject import Subject
from ..arrays import FloatArray
from ..rigs.sticks import sticks
from .camera import CameraMove
from .crew import (
    MEMBER_KNOBS,
    Bench,
    PresetTrial,
    dolly_bench,
    fast_of,
    head_bench,
    recorded_dolly,
)
from .follow import explained
from .path import StudiedPath
from .search import Found, replace_knobs, search

SYNCED = 0.1  # of the mean log loss over what noise and shake alone leave
MOST_TRIALS = 40_000  # in all, after which no further search is begun
DOLLY_SYNCED_M = 0.02
LONGEST_FIT_S = 30.0
OTHER_RATES = (  # the likeliest first
    Fraction(24),
    Fraction(25),
    Fraction(30),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Fitted:
    """Members found at one rate of decisions, and the trials that it took."""

    operator: Found
    grip: Found | None
    rate: Fraction
    n_trials: int


class _Crew:
    """Searches for one camera's crew, at any rate of decisions."""

    def __init__(
        self,
        camera: CameraMove,
        subject: Subject,
        path: StudiedPath,
        framing: Framing,
        held: tuple[float, float],
        departure: float,
    ) -> None:
        self.departure = departure
        self.camera, self.subject, self.path = camera, subject, path
        self.framing, self.fast = framing, fast_of(camera)
        self.guess = np.array([0.0, *held])
        self.grips: dict[Fraction, Found] = {}

    def operators(
        self, rate: Fraction, grip: Found | None, trial: PresetTrial | None
    ) -> Bench:
        """Return the bench of operators, on the grip's own dolly where it is known."""
        camera, path = self.camera, self.path
        rig = path.rig if path.rig is not None else sticks(camera.place.mean(axis=0))
        rail = path.rail if path.rig is not None else 0 * path.rail
        dolly = recorded_dolly(camera.times_s, rail)
        if grip is not None and trial is not None and grip.typical < DOLLY_SYNCED_M:
            rig, dolly = grip.bench.plans(trial)
        return head_bench(
            camera,
            self.subject,
            rig=rig,
            dolly=dolly,
            framing=self.framing,
            rate=rate,
            most_s=LONGEST_FIT_S,
            fast=self.fast,
        )

    def share(self, curves: FloatArray) -> float:
        """Return the share of the slow departure that curves (2, k) [rad] explain."""
        return explained(self.camera, curves, self.departure)

    def operator(self, bench: Bench, seed: int) -> Found:
        """Return the operator found on a bench."""
        return search(bench, self.guess, seed=seed, share=self.share)

    def plain_bench(self, rate: Fraction) -> Bench:
        """Return the bench of operators on the dolly as it was recorded."""
        return self.operators(rate, None, None)

    def fitted(self, rate: Fraction, seed: int) -> _Fitted:
        """Return the members found at a rate; a seed finds the same each time."""
        spent = 0
        grip = self.grips.get(rate)
        if grip is None or not synced(grip):
            again = self._grip(rate, seed)
            spent += 0 if again is None else again.n_trials
            found = [one for one in (grip, again) if one is not None]
            grip = min(found, key=lambda one: one.trial.loss, default=None)
        if grip is None:
            operator = self.operator(self.plain_bench(rate), seed)
            return _Fitted(
                operator=operator, grip=None, rate=rate, n_trials=operator.n_trials
            )
        self.grips[rate] = grip
        operator = self.operator(self.operators(rate, grip, grip.trial), seed)
        spent += operator.n_trials
        if not synced(operator) and not operator.hopeless:
            operator, more = self._on_likelier_dolly(rate, grip, operator, seed)
            spent += more
        return _Fitted(operator=operator, grip=grip, rate=rate, n_trials=spent)

    def _on_likelier_dolly(
        self, rate: Fraction, grip: Found, operator: Found, seed: int
    ) -> tuple[Found, int]:
        """Search again on the grip that the operator tells to be likelier.

        The operator goes by where the dolly is about to go, of which the dolly's own
        path tells less than the picture does.
        """
        head = operator.trial
        benches = [
            replace_knobs(self.operators(rate, grip, one), len(MEMBER_KNOBS))
            for one in grip.like
        ]
        losses = [bench.run(head.preset, head.values).loss for bench in benches]
        if not losses or min(losses) >= head.loss:
            return operator, len(losses)
        trial = grip.like[int(np.argmin(losses))]
        again = self.operator(self.operators(rate, grip, trial), seed)
        best = min(operator, again, key=lambda one: one.trial.loss)
        return best, len(losses) + again.n_trials

    def _grip(self, rate: Fraction, seed: int) -> Found | None:
        path = self.path
        if path.rig is None or path.kind == "point":
            return None
        bench = dolly_bench(
            self.camera,
            self.subject,
            rig=path.rig,
            rail=path.rail,
            framing=self.framing,
            rate=rate,
            most_s=LONGEST_FIT_S,
            # What shakes across the rail shakes along it too.
            fast_m=path.wobble_m / np.sqrt(2.0),
        )
        return search(bench, np.zeros(1), seed=seed)


def fit_crew(
    camera: CameraMove,
    subject: Subject,
    path: StudiedPath,
    framing: Framing,
    rate: Fraction,
    held: tuple[float, float],
    departure: float,
    seed: int,
) -> tuple[Found, Found | None, Fraction]:
    """Fit grip and operator at the camera's rate, then at others if decisions part.

    Args:
        camera: the take.
        subject: whom it shows.
        path: of the lens.
        framing: how it frames.
        rate: the camera's frames a second.
        held: where on screen it holds, half frames.
        departure: how much it departs slowly from exact aim, half frames r.m.s.
        seed: of the search.

    Returns:
        Operator, grip where there is a dolly, and the rate of decisions. No search is
        begun after `MOST_TRIALS` trials, which bounds the time.
    """
    crew = _Crew(camera, subject, path, framing, held, departure)
    best = crew.fitted(rate, seed)
    spent = cost = best.n_trials
    if synced(best.operator) or best.operator.hopeless:
        return best.operator, best.grip, best.rate
    # Decisions fall on frames of the rate at which the take was made, which a
    # resampled one does not say; and a walk may miss what the next one finds.
    other, *others = [one for one in OTHER_RATES if one != rate]
    resampled = rate != OTHER_RATES[0]
    tries = [other, rate, other] if resampled else [rate, rate, other]
    for again, ticks in enumerate((*tries, *others), 1):
        if synced(best.operator) or spent + cost > MOST_TRIALS:
            break
        found = crew.fitted(ticks, seed + again)
        spent, cost = spent + found.n_trials, max(cost, found.n_trials)
        best = min(best, found, key=lambda one: one.operator.trial.loss)
    return best.operator, best.grip, best.rate


def synced(found: Found) -> bool:
    """Tell whether every decision agrees: what is left is noise and shake."""
    return found.trial.loss <= found.bench.enough + SYNCED
