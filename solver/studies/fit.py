"""Grip and operator fitted to a take, at the rate at which its crew decided."""

from fractions import Fraction

import numpy as np

from ..action.framing import Framing
from ..action.subject import Subject
from ..arrays import FloatArray
from ..rigs.sticks import sticks
from .camera import CameraMove
from .crew import (
    Bench,
    PresetTrial,
    dolly_bench,
    fast_of,
    head_bench,
    recorded_dolly,
)
from .follow import explained
from .knobs import MEMBER_KNOBS
from .path import StudiedPath
from .search import Found, polished, replace_knobs, search

SYNCED = 0.1  # of the mean log loss over what noise and shake alone leave
DOLLY_SYNCED_M = 0.02
LONGEST_FIT_S = 30.0


class _Crew:
    """Searches for one camera's crew, who decide `rate` times a second."""

    def __init__(
        self,
        camera: CameraMove,
        subject: Subject,
        path: StudiedPath,
        framing: Framing,
        departure: float,
        rate: Fraction,
    ) -> None:
        self.departure, self.rate = departure, rate
        self.camera, self.subject, self.path = camera, subject, path
        self.framing, self.fast = framing, fast_of(camera)
        self.guess = np.array([0.0, framing.u, framing.v])

    def operators(self, grip: Found | None, trial: PresetTrial | None) -> Bench:
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
            rate=self.rate,
            most_s=LONGEST_FIT_S,
            fast=self.fast,
        )

    def share(self, curves: FloatArray) -> float:
        """Return the share of the slow departure that curves (2, k) [rad] explain."""
        return explained(self.camera, curves, self.departure)

    def operator(self, bench: Bench, seed: int) -> Found:
        """Return the operator found on a bench."""
        return search(bench, self.guess, seed=seed, share=self.share)

    def fitted(self, seed: int) -> tuple[Found, Found | None]:
        """Return operator and grip; a seed finds the same each time."""
        grip = self._grip(seed)
        if grip is None:
            return self.operator(self.operators(None, None), seed), None
        operator = self.operator(self.operators(grip, grip.trial), seed)
        if not synced(operator) and not operator.hopeless:
            operator = self._on_likelier_dolly(grip, operator, seed)
        return operator, grip

    def _on_likelier_dolly(self, grip: Found, operator: Found, seed: int) -> Found:
        """Go on with the grip that the operator tells to be likelier.

        The operator goes by where the dolly is about to go, of which the dolly's own
        path tells less than the picture does.
        """
        head = operator.trial
        benches = [
            replace_knobs(self.operators(grip, one), len(MEMBER_KNOBS))
            for one in grip.like
        ]
        trials = [bench.run(head.preset, head.values) for bench in benches]
        if not trials or min(one.loss for one in trials) >= head.loss:
            return operator
        k = int(np.argmin([one.loss for one in trials]))
        again = polished(benches[k], trials[k], seed=seed)
        return min(operator, again, key=lambda one: one.trial.loss)

    def _grip(self, seed: int) -> Found | None:
        path = self.path
        if path.rig is None or path.kind == "point":
            return None
        bench = dolly_bench(
            self.camera,
            self.subject,
            rig=path.rig,
            rail=path.rail,
            framing=self.framing,
            rate=self.rate,
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
    departure: float,
    seed: int,
) -> tuple[Found, Found | None]:
    """Fit operator, and grip where there is a dolly, who decide at the camera's rate.

    Args:
        camera: the take.
        subject: whom it shows.
        path: of the lens.
        framing: how it frames, and where on screen it holds.
        rate: the camera's frames a second.
        departure: how much it departs slowly from exact aim, half frames r.m.s.
        seed: of the search.
    """
    return _Crew(camera, subject, path, framing, departure, rate).fitted(seed)


def synced(found: Found) -> bool:
    """Tell whether every decision agrees: what is left is noise and shake."""
    return found.trial.loss <= found.bench.enough + SYNCED
