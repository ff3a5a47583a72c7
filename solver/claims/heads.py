"""Claims on whose heads are in the picture: reveals, leaves, together, alone.

A head is in the picture where crown, chin and both sides are in frame and nothing
stands before the eyes.
"""

from math import ceil

import numpy as np

from ..action.claim import Claim, ClaimOutcome, runs_of, spans_of
from ..arrays import BoolArray, IntArray
from .everyone import FrameTable


def reveals(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure a reveal: a head that is not in the picture at first, and then is.

    It is out for the first `unseen_s`, and comes in, by the frame `by`, for a stretch
    of at least `hold_s`. The number is the longest such stretch [s].
    """
    blocking = table.blocking
    shown = table.shown[blocking.of(claim.who[0])]
    return _turns(claim, shown, blocking.frame, blocking.rate)


def leaves(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure a leaving: a reveal with time turned round.

    The head is in the picture for a stretch of at least `hold_s`, and out of it from
    the frame `by` on, or for the last `unseen_s`.
    """
    blocking = table.blocking
    shown = table.shown[blocking.of(claim.who[0])]
    found = _turns(claim, shown[::-1], blocking.frame[::-1], blocking.rate)
    if found.at is None:
        return found
    last_seen = found.at
    return ClaimOutcome(
        claim=claim,
        held=found.held,
        number=found.number,
        limit=found.limit,
        at=last_seen + 1,
        short=found.short,
        why=found.why,
    )


def _turns(
    claim: Claim, shown: BoolArray, frame: IntArray, rate: float
) -> ClaimOutcome:
    """Measure a head that is out for some frames and then in, in the order given.

    Where frames fall, time runs backwards, and `by` says from when on it is out.
    """
    hold_s, unseen_s = claim.limit("hold_s"), claim.limit("unseen_s")
    n_out = max(1, ceil(unseen_s * rate - 1e-9))
    backwards = len(frame) > 1 and frame[0] > frame[1]
    if claim.by is not None and backwards:
        n_out = max(1, int((frame >= claim.by).sum()))
    early = float(shown[:n_out].mean()) if len(shown) else 1.0
    runs = [run for run in runs_of(shown) if run[0] >= n_out]
    if claim.by is not None and not backwards:
        runs = [run for run in runs if frame[run[0]] <= claim.by]
    longest = max(runs, key=lambda run: run[1] - run[0], default=None)
    seconds = 0.0 if longest is None else (longest[1] - longest[0]) / rate
    enough = [run for run in runs if (run[1] - run[0]) / rate >= hold_s - 1e-9]
    happens = bool(enough)
    at = int(frame[enough[0][0]]) if happens else None
    why = ""
    if early > 0.0:
        why = "shown_last" if backwards else "shown_first"
    elif not happens:
        why = "never_shown" if longest is None else "too_brief"
    return ClaimOutcome(
        claim=claim,
        held=happens and early == 0.0,
        number=seconds,
        limit=hold_s,
        at=at,
        short=min(1.0, max(early, 0.0 if happens else 1.0 - seconds / hold_s)),
        why=why,
    )


def together(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames that show all of several heads."""
    people = [table.blocking.of(name) for name in claim.who]
    return of_frames(claim, table, np.all(table.shown[people], axis=0))


def alone(claim: Claim, table: FrameTable) -> ClaimOutcome:
    """Measure the frames that show somebody's head and nobody else's."""
    shown = table.shown
    one = table.blocking.of(claim.who[0])
    others = np.any(np.delete(shown, one, axis=0), axis=0)
    return of_frames(claim, table, shown[one] & ~others)


def of_frames(
    claim: Claim,
    table: FrameTable,
    holds: BoolArray,
    counts: BoolArray | None = None,
) -> ClaimOutcome:
    """Return the outcome of a claim that a share of the frames has to hold.

    Args:
        claim: with the threshold `share`.
        table: the frames.
        holds: frames that hold it, (n,).
        counts: frames that the share is of, (n,); None: all. Where there is none, the
            claim is missed.
    """
    counted = np.ones(len(holds), dtype=np.bool_) if counts is None else counts
    least = claim.limit("share")
    if not counted.any():
        return ClaimOutcome(
            claim=claim, held=False, number=None, limit=least, short=1.0, why="nothing"
        )
    share = float(holds[counted].mean())
    held = share >= least - 1e-12
    return ClaimOutcome(
        claim=claim,
        held=held,
        number=share,
        limit=least,
        missed=() if held else spans_of(table.blocking.frame, counted & ~holds),
        short=0.0 if held else 1.0 - share / least,
    )
