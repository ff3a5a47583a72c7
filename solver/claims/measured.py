"""Measures claims on a frame table: the one way for takes, trials and findings."""

from collections.abc import Callable, Sequence

from ..action.claim import VERBS, Claim, ClaimOutcome
from .everyone import FrameTable
from .figures import looms, small
from .heads import alone, leaves, reveals, together
from .moves import closes_in, draws_back, still
from .places import shows
from .travel import away, crosses, toward

MEASURES: dict[str, Callable[[Claim, FrameTable], ClaimOutcome]] = {
    "reveals": reveals,
    "leaves": leaves,
    "together": together,
    "alone": alone,
    "looms": looms,
    "small": small,
    "closes_in": closes_in,
    "draws_back": draws_back,
    "toward": toward,
    "away": away,
    "crosses": crosses,
    "still": still,
    "shows": shows,
}


def outcomes_of(claims: Sequence[Claim], table: FrameTable) -> tuple[ClaimOutcome, ...]:
    """Return what came of each claim.

    Args:
        claims: of the shot; one about somebody who is not in the table is missed.
        table: the frames of its cut.
    """
    found = []
    for claim in claims:
        named = (*claim.who, *(() if claim.over is None else (claim.over,)))
        if claim.box is None and not set(named) <= set(table.blocking.names):
            found.append(_absent(claim))
            continue
        part = table if claim.frames is None else table.between(*claim.frames)
        if not len(part.blocking.frame):
            found.append(_absent(claim))
            continue
        found.append(MEASURES[claim.verb](claim, part))
    return tuple(found)


def _absent(claim: Claim) -> ClaimOutcome:
    """Return the outcome of a claim about somebody who is in no frame of the action."""
    limits = VERBS[claim.verb].limits
    name = next(each for each in ("share", "hold_s", "ratio") if each in limits)
    return ClaimOutcome(
        claim=claim,
        held=False,
        number=None,
        limit=claim.limit(name),
        short=1.0,
        why="absent",
    )
