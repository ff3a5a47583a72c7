"""The judge: what a trial must hold, and what the rest of it is worth, in points.

Musts come first: a setup that breaks one is no setup. Points are a price, lower is
better; one point is about what a supervisor would give for a metre of track or a few
degrees of view. The weights are our own (common practice, no source) and were set on
recorded movement before they were tested on other recordings; the rig has a price of
its own, so that the simplest setup that holds the shot wins.
"""

from dataclasses import dataclass
from math import degrees

from ..rig import ARC, TRACK, Rig
from .action import Action
from .clearance import path_gap_m, rail_faults
from .propose import distance_of, unnatural
from .setup import Ask, Setup
from .trial import (
    ANGLED,
    BLOCKED,
    CLOSEST,
    DRIFT,
    HELD_IN,
    IN,
    RAIL_HIGH,
    RAIL_LOW,
    REVERSALS,
    SAFE_IN,
    SIZE_RMS,
    SIZED,
    SWING,
    TURN,
    VIEWED,
    Trial,
)

QUANTUM = 1e-6
TIE = 0.3  # points: less than this is a matter of taste

MUST_IN = 0.99
MUST_SIZE = 0.60
MUST_CLEAR_M = 1.0  # of rail and anyone's path
USUAL_ROOM_M = 6.0
DRIFT_FREE = 0.4  # half frames
DECISIONS_FREE = 1.0  # pan decisions a second
TURN_FREE_DEG_S = 25.0
SWING_FREE_DEG = 120.0
SIZE_FREE = 0.1  # octaves
NEAR_FREE_M = 1.5
LEAST_PRICE = {"sticks": 0.0, "track": 2.0, "arc": 4.0}
"""Points that each kind of rig costs before it has covered any ground."""
VIEW_PRICE = {"front": 0.3, "three_quarter": 0.0, "profile": 0.5, "rear": 2.5}


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """A trial with its verdict.

    Attributes:
        trial: what was tried.
        broken: musts that it breaks, by name, with how far each is from holding.
        parts: points by name, none zero.
        score: their sum, rounded to 1e-6.
    """

    trial: Trial
    broken: dict[str, float]
    parts: dict[str, float]
    score: float

    @property
    def setup(self) -> Setup:
        """The setup that was tried."""
        return self.trial.setup

    @property
    def holds(self) -> bool:
        """Whether it breaks no must."""
        return not self.broken

    @property
    def rank(self) -> tuple[float, float]:
        """Sorts setups: those that hold first, then by score."""
        return (sum(self.broken.values()), self.score)


def judged(ask: Ask, action: Action, trial: Trial) -> Judged:
    """Return the verdict on a trial."""
    parts = {
        name: _to_micro(points)
        for name, points in _points(ask, trial).items()
        if abs(points) > QUANTUM
    }
    return Judged(
        trial=trial,
        broken=_broken(ask, action, trial),
        parts=parts,
        score=_to_micro(sum(parts.values())),
    )


def _to_micro(points: float) -> float:
    return round(points * 1e6) / 1e6


def _broken(ask: Ask, action: Action, trial: Trial) -> dict[str, float]:
    """Return the musts that a trial breaks, each with how far it is off, above 0."""
    numbers, setup, stage = trial.numbers.tolist(), trial.setup, ask.stage
    found = {
        "in_frame": (MUST_IN - numbers[IN]) / (1 - MUST_IN),
        "held_in_frame": (MUST_IN - numbers[HELD_IN]) / (1 - MUST_IN),
        "size": (MUST_SIZE - numbers[SIZED]) / MUST_SIZE,
        "min_distance": (stage.min_distance_m - numbers[CLOSEST]),
        "sight": trial.hidden if trial.hidden and stage.sight_forbidden.any() else 0.0,
    }
    if ask.rig is None:
        found |= rail_faults(stage, setup.rig)
        if setup.rig.length_m > 0:
            gap = path_gap_m(setup.rig, action.bodies[:, 0])
            found["rail_in_path"] = (MUST_CLEAR_M - gap) / MUST_CLEAR_M
    return {name: off for name, off in found.items() if off > 1e-9}


def _points(ask: Ask, trial: Trial) -> dict[str, float]:
    numbers, setup = trial.numbers.tolist(), trial.setup
    distance = distance_of(ask, setup.lens)
    drift = numbers[DRIFT]
    points = {
        "out_of_frame": 1000 * (1 - numbers[IN]),
        "out_of_safe": 200 * (1 - numbers[SAFE_IN]),
        "size": 20 * (1 - numbers[SIZED]),
        "size_error": 10 * max(0.0, numbers[SIZE_RMS] - SIZE_FREE),
        "angle": 6 * (1 - numbers[ANGLED]),
        "decisions": 0.6
        * (max(0.0, trial.pan_rate - DECISIONS_FREE) + trial.dolly_rate),
        "drift": 3 * max(0.0, drift - DRIFT_FREE),
        "rig": ask.rig_price
        * rig_price(setup.rig, numbers[RAIL_HIGH] - numbers[RAIL_LOW]),
        "reversals": 1.5 * numbers[REVERSALS],
        "strobing": 0.04 * max(0.0, degrees(numbers[TURN]) - TURN_FREE_DEG_S),
        "swing": 0.05 * max(0.0, degrees(numbers[SWING]) - SWING_FREE_DEG),
        "lens": 0.8 * unnatural(ask, setup.lens),
        "room": 0.12 * max(0.0, distance - USUAL_ROOM_M),
        "near": 8 * max(0.0, NEAR_FREE_M - numbers[CLOSEST]),
        "hidden": 40 * trial.hidden,
        "blocked": 12 * numbers[BLOCKED],
        "refused": 1.0 * trial.refused,
    }
    if setup.view is not None:
        points["view"] = 6 * (1 - numbers[VIEWED])
        if len(ask.views) > 2:
            points["side_of_face"] = VIEW_PRICE.get(setup.view.name, 0.0)
    return points


def rig_price(rig: Rig, covered_m: float) -> float:
    """Return what a rig costs: for laying it, and for every metre that it covers."""
    if rig.shape.kind == TRACK:
        return LEAST_PRICE["track"] + 0.12 * covered_m
    return LEAST_PRICE["arc"] + 0.20 * covered_m if rig.shape.kind == ARC else 0.0
