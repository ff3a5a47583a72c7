"""A claim, what it says of a picture, and what came of it.

Definitions and thresholds are house style, ours and settable; they say what is in the
picture, not what an audience makes of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..arrays import BoolArray, IntArray

Point = tuple[float, float, float]
Spans = tuple[tuple[int, int], ...]
"""First and last frame of stretches, both included."""

PERSON, PEOPLE, PLACE, CAMERA = "person", "people", "place", "camera"
MOST_SPANS = 12  # of missed frames that are told


@dataclass(frozen=True, kw_only=True, slots=True)
class Verb:
    """What a claim of a verb is about.

    Attributes:
        about: a person, people, a place, or the camera alone.
        limits: default of every threshold that can be set, units in the names; `share`
            is of the frames, `ratio` a factor, `figure` of the frame height.
        unit: of the number that is measured.
        by: whether the frame by which it happens can be given.
    """

    about: str
    limits: Mapping[str, float]
    unit: str
    by: bool = False


_SHARE = {"share": 0.99}
_HEAD_TIMES = {"hold_s": 0.5, "unseen_s": 0.25}
_TRAVEL = {"degrees": 30.0, "share": 0.9}

VERBS: dict[str, Verb] = {
    "reveals": Verb(about=PERSON, limits=_HEAD_TIMES, unit="s", by=True),
    "leaves": Verb(about=PERSON, limits=_HEAD_TIMES, unit="s", by=True),
    "together": Verb(about=PEOPLE, limits=_SHARE, unit="of the frames"),
    "alone": Verb(about=PERSON, limits=_SHARE, unit="of the frames"),
    "looms": Verb(
        about=PERSON,
        limits={"degrees": 5.0, "ratio": 1.15, **_SHARE},
        unit="of the frames",
    ),
    "small": Verb(
        about=PERSON, limits={"figure": 0.25, **_SHARE}, unit="of the frames"
    ),
    "closes_in": Verb(about=PERSON, limits={"ratio": 1.2}, unit="times"),
    "draws_back": Verb(about=PERSON, limits={"ratio": 1.2}, unit="times"),
    "toward": Verb(about=PERSON, limits=_TRAVEL, unit="of the frames"),
    "away": Verb(about=PERSON, limits=_TRAVEL, unit="of the frames"),
    "crosses": Verb(about=PERSON, limits=_TRAVEL, unit="of the frames"),
    "still": Verb(about=CAMERA, limits={"pixels": 1.0}, unit="pixels of 2048"),
    "shows": Verb(about=PLACE, limits={"hold_s": 1.0}, unit="s"),
}
"""Every verb of a claim, in the order in which guides list them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Claim:
    """What a picture must tell.

    Attributes:
        verb: one of `VERBS`.
        who: people it is about; the place for `shows`; none for `still`.
        over: for `looms`: whom it is over; None: only the one is looked at.
        by: frame by which it happens; None: the end.
        frames: first and last frame that it is measured on; None: the cut.
        given: thresholds in place of the verb's own.
        must: whether a setup that misses it is no setup.
        weight: points that missing it wholly costs, where it is no must.
        box: for `shows`: two opposite corners [m], equal for a point.
    """

    verb: str
    who: tuple[str, ...] = ()
    over: str | None = None
    by: int | None = None
    frames: tuple[int, int] | None = None
    given: Mapping[str, float] = field(default_factory=dict)
    must: bool = True
    weight: float = 3.0
    box: tuple[Point, Point] | None = None

    def limit(self, name: str) -> float:
        """Return a threshold: as given, else the verb's own."""
        return self.given.get(name, VERBS[self.verb].limits[name])


@dataclass(frozen=True, kw_only=True, slots=True)
class ClaimOutcome:
    """What came of a claim on the frames of a cut.

    Attributes:
        claim: as asked.
        held: whether the picture tells it.
        number: what was measured; unit by the verb. None where there is nothing to
            measure it on.
        limit: what the number had to reach; for `still` not to exceed.
        at: frame at which it happens: the reveal, the leaving, the first sight of a
            place; None where it does not, or where it is no moment.
        missed: stretches of frames that miss it, `MOST_SPANS` at most.
        short: by how much it misses: 0 where it holds, 1 where nothing of it is there.
        why: which of several conditions fails, a name; "" where one number tells all.
    """

    claim: Claim
    held: bool
    number: float | None
    limit: float
    at: int | None = None
    missed: Spans = ()
    short: float = 0.0
    why: str = ""

    def plain(self) -> dict[str, Any]:
        """Return the outcome as values that JSON carries without loss."""
        claim = self.claim
        return {
            "verb": claim.verb,
            "who": list(claim.who),
            "over": claim.over,
            "by": claim.by,
            "frames": None if claim.frames is None else list(claim.frames),
            "given": dict(claim.given),
            "must": claim.must,
            "held": self.held,
            "number": self.number,
            "limit": self.limit,
            "unit": VERBS[claim.verb].unit,
            "at": self.at,
            "missed": [list(span) for span in self.missed],
            "short": self.short,
            "why": self.why,
        }


def spans_of(frame: IntArray, which: BoolArray) -> Spans:
    """Return the stretches of frames that are marked, `MOST_SPANS` at most.

    Args:
        frame: numbers, rising, (n,).
        which: (n,).
    """
    return tuple(
        (int(frame[start]), int(frame[end - 1]))
        for start, end in runs_of(which)[:MOST_SPANS]
    )


def runs_of(which: BoolArray) -> list[tuple[int, int]]:
    """Return where runs of true begin, and where each has ended."""
    edges = np.flatnonzero(np.diff(which.astype(np.int8), prepend=0, append=0))
    return [(start, end) for start, end in edges.reshape(-1, 2).tolist()]
