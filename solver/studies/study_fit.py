"""Grip and operator fitted to a take, at the rate at which its crew decided."""

from fractions import Fraction

import numpy as np

from ..rig import sticks
from ..shot import Framing, Subject
from .study_camera import CameraMove
from .study_crew import (
    MEMBER_KNOBS,
    Bench,
    Trial,
    dolly_bench,
    head_bench,
    recorded_dolly,
)
from .study_follow import slow_of
from .study_path import StudiedPath
from .study_search import Found, first_look, replace_knobs, search

SYNCED = 0.0008  # half frames of slow difference at which every decision agrees
TRIES = 4  # searches more, where decisions part
SLOW_SHARE = 0.15  # of shake, that is slow
DOLLY_SYNCED_M = 0.02
LONGEST_FIT_S = 30.0
OTHER_RATES = (Fraction(24), Fraction(25), Fraction(30))


def fit_crew(
    camera: CameraMove,
    subject: Subject,
    path: StudiedPath,
    framing: Framing,
    rate: Fraction,
    held: tuple[float, float],
    seed: int,
) -> tuple[Found, Found | None, Fraction]:
    """Fit grip and operator at the camera's rate, then at others if decisions part."""
    guess = np.array([0.0, *held])

    def operators(ticks: Fraction, grip: Found | None, trial: Trial | None) -> Bench:
        rig = path.rig if path.rig is not None else sticks(camera.place.mean(axis=0))
        rail = path.rail if path.rig is not None else 0 * path.rail
        dolly = recorded_dolly(camera.times_s, rail)
        if grip is not None and trial is not None and grip.typical < DOLLY_SYNCED_M:
            rig, dolly = grip.bench.plans(trial)
        return head_bench(
            camera,
            subject,
            rig=rig,
            dolly=dolly,
            framing=framing,
            rate=ticks,
            most_s=LONGEST_FIT_S,
        )

    def found_at(ticks: Fraction, seed: int) -> tuple[Found, Found | None, Fraction]:
        grip = _fit_grip(camera, subject, path, framing, ticks, seed)
        trial = None if grip is None else grip.trial
        found = search(operators(ticks, grip, trial), guess, seed=seed)
        if grip is None or synced(camera, found):
            return found, grip, ticks
        # The operator goes by where the dolly is about to go, of which the dolly's
        # own path tells less than the picture does.
        head = found.trial
        trials = [
            (replace_knobs(operators(ticks, grip, one), len(MEMBER_KNOBS)), one)
            for one in grip.like
        ]
        losses = [bench.run(head.preset, head.values).loss for bench, _ in trials]
        if losses and min(losses) < head.loss:
            trial = trials[int(np.argmin(losses))][1]
            again = search(operators(ticks, grip, trial), guess, seed=seed)
            found = min(found, again, key=lambda one: one.trial.loss)
        return found, grip, ticks

    best = found_at(rate, seed)
    if synced(camera, best[0]):
        return best
    # Decisions fall on frames of the rate at which the take was made, which a
    # resampled one does not say; and a walk may miss what the next one finds.
    losses = {
        ticks: first_look(operators(ticks, None, None), guess)
        for ticks in OTHER_RATES
        if ticks != rate
    }
    other = min(losses, key=lambda one: losses[one])
    for again in range(TRIES):
        found = found_at(other if again == 0 else best[2], seed + again)
        best = min(best, found, key=lambda one: one[0].trial.loss)
        if synced(camera, best[0]):
            break
    return best


def synced(camera: CameraMove, found: Found) -> bool:
    """Tell whether every decision agrees: what is left is fast, as shake is."""
    return slow_of(camera, found.curves) <= SYNCED + SLOW_SHARE * found.miss


def _fit_grip(
    camera: CameraMove,
    subject: Subject,
    path: StudiedPath,
    framing: Framing,
    rate: Fraction,
    seed: int,
) -> Found | None:
    if path.rig is None or path.kind == "point":
        return None
    bench = dolly_bench(
        camera,
        subject,
        rig=path.rig,
        rail=path.rail,
        framing=framing,
        rate=rate,
        most_s=LONGEST_FIT_S,
    )
    return search(bench, np.zeros(1), seed=seed)
