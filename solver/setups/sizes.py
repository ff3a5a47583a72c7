"""Searches where the size of the framing is open: one whole search, then short ones.

The first size is searched as any shot. The others are tried with the lens and the kind
of rig that did best at it, from every view, in a third of its trials: what holds a
medium from sticks on a 50 mm mostly does so for a chest, further in.
"""

from dataclasses import replace

from ..crew.observe import Observed
from .score import Judged
from .search import candidates
from .setup import Ask
from .trial import Rehearsal

SHORT = 3  # of the trials of a whole search, the part that a short one takes


def candidates_of_sizes(
    ask: Ask, seen: Observed | None = None
) -> tuple[list[Judged], int]:
    """Return the setups tried for every size of a shot, best first, and how many.

    Args:
        ask: the shot; where its size is fixed, that is `candidates`.
        seen: what grip and operator believe, where it is known; see `Rehearsal`.
    """
    tried: list[Judged] = []
    best: Judged | None = None
    n_trials = whole_trials = 0
    for name in [name for name, _ in ask.sizes] or [""]:
        of_size = ask.of_size(name)
        if best is None:
            stage = Rehearsal(of_size, seen)
            seen = stage.seen
            found = candidates(of_size, stage)
            whole_trials = stage.n_trials
            best = found[0] if found and found[0].holds else None
        else:
            stage = Rehearsal(_narrowed(of_size, best), seen)
            found = candidates(stage.ask, stage, most=whole_trials // SHORT)
        n_trials += stage.n_trials
        tried += [_named(each, name) for each in found]
    # The sort is stable: of equals the size that is named first is the better.
    return sorted(tried, key=lambda each: each.rank), n_trials


def _narrowed(ask: Ask, best: Judged) -> Ask:
    """Return an ask that allows the lens and the kind of rig of a setup."""
    if ask.rig is not None:
        return ask
    return replace(ask, lenses=(best.setup.lens,), kinds=(best.setup.rig.kind,))


def _named(each: Judged, size: str) -> Judged:
    setup = each.setup._replace(size=size)
    return each._replace(trial=each.trial._replace(setup=setup))
