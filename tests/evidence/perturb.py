"""Anticipation by perturbation: change what comes after an instant, see what moves.

Two performances of one shot differ only in what the subject does after t0. A camera
that is different before t0 has read the future; one that only changes after t0 plus a
reaction has seen it happen.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.action.subject import Subject
from carrellata.solver.shot import Shot

from .baselines import Moves, Solver, aimed_at

INSTANTS = (0.25, 0.4, 0.55, 0.7, 0.85)  # shares of the shot
SWERVE_M_S = 3.0
ANY = 1e-9  # rad or m
SEEN_SHARE = 0.01  # of the half frame

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """Over all instants, seconds from the change of plan.

    `first_s` is when anything at all moves otherwise, at the earliest; `visible_s`
    the median of when it does by a hundredth of the half frame, None if never.
    Negative is ahead.
    """

    first_s: float
    visible_s: float | None


def swerved(subject: Subject, after_s: float, along: FloatArray) -> Subject:
    """Return the subject, swerving from `after_s` on in direction `along` (3,)."""
    late = np.maximum(subject.times_s - after_s, 0.0)
    shift = SWERVE_M_S * late[:, None] * along
    return replace(subject, floor=subject.floor + shift, eyes=subject.eyes + shift)


def sideways(shot: Shot, at_s: float) -> FloatArray:
    """Return the level direction across the line of sight at a time, (3,)."""
    point = aimed_at(shot, np.array([at_s]))[0]
    rail = shot.rig.places(np.linspace(0, shot.rig.length_m, 50))
    near = rail[np.argmin(np.linalg.norm(rail - point, axis=1))]
    d = point - near
    return np.array([d[2], 0.0, -d[0]]) / np.hypot(d[0], d[2])


def _parted(one: Moves, other: Moves, least_rad: float, least_m: float) -> float:
    """Return when two performances part [s], NaN if they never do."""
    apart = (
        (np.abs(one.pan - other.pan) > least_rad)
        | (np.abs(one.tilt - other.tilt) > least_rad)
        | (np.abs(one.rail - other.rail) > least_m)
    )
    return float(one.times_s[apart][0]) if apart.any() else np.nan


def read_ahead(shot: Shot, solver: Solver) -> Reading:
    """Return when a solver answers to changes it cannot have known of."""
    subject = shot.subjects[0]
    plain = solver(shot)
    seen = SEEN_SHARE * float(np.arctan(shot.tangents[0]))
    first, visible = [], []
    for share in INSTANTS:
        start, end = plain.times_s[0], plain.times_s[-1]
        # At a sample, so that the last unchanged sample lies at the instant itself.
        at = np.searchsorted(subject.times_s, start + share * (end - start))
        t0 = float(subject.times_s[at])
        other = replace(shot, subjects=(swerved(subject, t0, sideways(shot, t0)),))
        changed = solver(other)
        first.append(_parted(plain, changed, ANY, ANY) - t0)
        visible.append(
            _parted(plain, changed, seen, seen * shot.framings[0].distance_m) - t0
        )
    shown = [value for value in visible if np.isfinite(value)]
    return Reading(
        first_s=float(np.nanmin(first)),
        visible_s=float(np.median(shown)) if shown else None,
    )
