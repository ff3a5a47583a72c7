"""The judge: what a trial must hold, and what the rest of it is worth, in points.

Musts come first: a setup that breaks one is no setup. Points are a price, lower is
better; one point is about what a supervisor would give for a metre of track or a few
degrees of view. The weights are our own (common practice, no source) and were set on
recorded movement before they were tested on other recordings; the rig has a price of
its own, so that the simplest setup that holds the shot wins.
"""

from collections.abc import Sequence
from math import degrees
from typing import NamedTuple

from ..action.claim import Claim
from ..optics.lens import Lens
from ..rigs.faults import rail_faults
from ..rigs.kinds import KINDS
from .judge import (
    ANGLED,
    BLOCKED,
    CLOSEST,
    DOLLY_RATE,
    DRIFT,
    HEAD_HELD,
    HEADROOM_OFF,
    MUST_CLEAR_M,
    MUST_SIZE,
    NEAR_SIZE,
    OTHERS_HELD,
    PAN_RATE,
    PAN_REVERSALS,
    PATH_GAP,
    RAIL_HIGH,
    RAIL_LOW,
    REFUSED,
    REVERSALS,
    RIPPLE,
    SIZE_RMS,
    SIZED,
    SWING,
    TILT_RATE,
    TILT_REVERSALS,
    TURN,
    VIEWED,
    must_hold,
)
from .propose import distance_of, unnatural
from .setup import Ask, Setup, View, view_family
from .trial import Trial

QUANTUM = 1e-6
ALMOST = 1e-9  # by which a must is not broken yet
TIE = 0.3  # points: less than this is a matter of taste

USUAL_ROOM_M = 6.0
DRIFT_FREE = 0.4  # half frames
HEADROOM_FREE = 0.05  # of the frame height, mean
RIPPLE_FREE_DEG_S = 1.0
TURNS_FREE = 0.5  # turns back of pan and tilt a second
DECISIONS_FREE = 1.0  # pan decisions a second
TURN_FREE_DEG_S = 25.0
WILD_PRICE = 3.0  # points to take a wild wall out; common practice, no source
SWING_FREE_DEG = 120.0
SIZE_FREE = 0.1  # octaves
NEAR_FREE_M = 1.5
POINTS = (
    "out_of_frame",
    "headroom",
    "size",
    "size_error",
    "angle",
    "decisions",
    "drift",
    "rig",
    "reversals",
    "ripple",
    "strobing",
    "swing",
    "near",
    "hidden",
    "blocked",
    "taken_out",
    "refused",
    "view",
    "lens",
    "room",
    "side_of_face",
    "claims",
)
VIEW_PRICE = {"front": 0.3, "three_quarter": 0.0, "profile": 0.5, "rear": 2.5}


class Judged(NamedTuple):
    """A trial with its verdict.

    Attributes:
        trial: what was tried.
        broken: musts that it breaks, by name, with how far each is from holding.
        points: rounded to 1e-6, as they are named by `POINTS`.
        score: their sum, rounded to 1e-6.
    """

    trial: Trial
    broken: dict[str, float]
    points: tuple[float, ...]
    score: float

    @property
    def parts(self) -> dict[str, float]:
        """Points by name, none zero."""
        named = zip(POINTS, self.points, strict=True)
        return {name: points for name, points in named if points}

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
        return (sum(self.broken.values(), 0.0), self.score)


def judged(ask: Ask, trial: Trial) -> Judged:
    """Return the verdict on a trial."""
    numbers = trial.numbers.tolist()
    points = tuple(
        [
            round(each * 1e6) / 1e6 if each > QUANTUM else 0.0
            for each in _points(ask, trial, numbers)
        ]
    )
    off = _off(ask, trial, numbers)
    return Judged(
        trial=trial,
        broken={name: off[name] for name in off if off[name] > ALMOST},
        points=points,
        score=round(sum(points) * 1e6) / 1e6,
    )


def _off(ask: Ask, trial: Trial, numbers: Sequence[float]) -> dict[str, float]:
    """Return the musts of a trial, each with how far it is off; above 0 is broken."""
    stage, must = ask.stage, must_hold(ask.shot.framings)
    off = {
        "head_in_frame": (must - numbers[HEAD_HELD]) / (1 - must),
        "held_in_frame": (must - numbers[OTHERS_HELD]) / (1 - must),
        "size": (MUST_SIZE - numbers[NEAR_SIZE]) / MUST_SIZE,
        "min_distance": stage.min_distance_m - numbers[CLOSEST],
    }
    for one in trial.claims:
        if one.claim.must and not one.held:
            name = claim_name(one.claim)
            off[name] = off.get(name, 0.0) + max(one.short, QUANTUM)
    if trial.hidden and stage.sight_forbidden.any():
        off["sight"] = trial.hidden
    if stage.forbids_sight:
        lost = numbers[BLOCKED] if trial.in_set is None else trial.in_set.lost
        off["sight"] = max(off.get("sight", 0.0), lost)
    if ask.rig is None:
        laid = None if trial.in_set is None else trial.in_set.laid
        off |= rail_faults(stage, trial.setup.rig, laid)
        off["rail_in_path"] = 1.0 - numbers[PATH_GAP] / MUST_CLEAR_M
    return off


def claim_name(claim: Claim) -> str:
    """Return the name of the must that a claim is."""
    return "claim:" + " ".join((claim.verb, *claim.who))


def least_score(ask: Ask, kind: str, lens: Lens, view: View | None) -> float:
    """Return the least that a kind of rig can score with a lens on a view [points].

    It is what no work of the crew changes; all other points are zero at best.
    """
    standing = sum(_standing_points(ask, lens, view))
    return ask.rig_price * KINDS[kind].price + standing


def _standing_points(
    ask: Ask, lens: Lens, view: View | None
) -> tuple[float, float, float]:
    """Return what lens, distance and view cost however they are operated."""
    price = 0.0 if view is None else VIEW_PRICE[view_family(view.angle_rad)]
    return (
        0.8 * unnatural(ask, lens),
        0.12 * max(0.0, distance_of(ask, lens) - USUAL_ROOM_M),
        price if len(ask.views) > 2 else 0.0,
    )


def _points(ask: Ask, trial: Trial, numbers: Sequence[float]) -> tuple[float, ...]:
    """Return the points of a trial in the order of `POINTS`; below 0 counts as 0."""
    setup = trial.setup
    too_many = max(0.0, numbers[PAN_RATE] - DECISIONS_FREE)
    restless = max(0.0, numbers[TILT_RATE] - DECISIONS_FREE)
    turned_back = numbers[PAN_REVERSALS] + numbers[TILT_REVERSALS]
    covered = numbers[RAIL_HIGH] - numbers[RAIL_LOW]
    return (
        1000 * (2 - numbers[HEAD_HELD] - numbers[OTHERS_HELD]),
        30 * (numbers[HEADROOM_OFF] - HEADROOM_FREE),
        20 * (1 - numbers[SIZED]),
        10 * (numbers[SIZE_RMS] - SIZE_FREE),
        6 * (1 - numbers[ANGLED]),
        0.6 * (too_many + numbers[DOLLY_RATE] + restless),
        3 * (numbers[DRIFT] - DRIFT_FREE),
        ask.rig_price * KINDS[setup.rig.kind].price_of(covered),
        1.5 * numbers[REVERSALS]
        + 0.3 * max(0.0, turned_back / trial.seconds - TURNS_FREE),
        0.3 * (degrees(numbers[RIPPLE]) - RIPPLE_FREE_DEG_S),
        0.04 * (degrees(numbers[TURN]) - TURN_FREE_DEG_S),
        0.05 * (degrees(numbers[SWING]) - SWING_FREE_DEG),
        8 * (NEAR_FREE_M - numbers[CLOSEST]),
        40 * trial.hidden,
        12 * numbers[BLOCKED],
        0.0 if trial.in_set is None else WILD_PRICE * len(trial.in_set.taken_out),
        1.0 * numbers[REFUSED],
        0.0 if setup.view is None else 6 * (1 - numbers[VIEWED]),
        *_standing_points(ask, setup.lens, setup.view),
        sum(
            one.claim.weight * one.short
            for one in trial.claims
            if not (one.held or one.claim.must)
        ),
    )
