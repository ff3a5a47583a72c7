"""Searches for setups, each kept for the other shots of its letter.

Shots that share a setup by letter try one another's best setups. Each shot is searched
once in a process, whichever of them is judged: sixteen shots take sixteen searches.
"""

from collections import OrderedDict
from typing import NamedTuple

from ...solver.crew.observe import Observed
from ...solver.setups.score import Judged
from ...solver.setups.setup import Ask
from ...solver.setups.sizes import candidates_of_sizes

MOST_SAMPLES = 1_000_000  # frames of all trials that are kept, 64 bytes each


class Searched(NamedTuple):
    """What a search found: every setup that was tried, best first.

    Attributes:
        tried: with their verdicts.
        n_trials: setups that were simulated.
    """

    tried: tuple[Judged, ...]
    n_trials: int

    @property
    def n_samples(self) -> int:
        """Frames of all its trials."""
        return sum(len(each.trial.cams) for each in self.tried)


_found: OrderedDict[str, Searched] = OrderedDict()


def searched(ask: Ask, seen: Observed | None = None) -> Searched:
    """Return what a search finds for a shot.

    Args:
        ask: the shot.
        seen: what its grip and operator believe, where it is known.
    """
    tried, n_trials = candidates_of_sizes(ask, seen)
    return Searched(tuple(tried), n_trials)


def searched_once(key: str, ask: Ask) -> Searched:
    """Return what a search finds for a shot, as it was found before if it was.

    Args:
        key: digest of all that the search depends on.
        ask: the shot.
    """
    found = _found.get(key)
    if found is None:
        found = _found[key] = searched(ask)
    _found.move_to_end(key)
    while sum(each.n_samples for each in _found.values()) > MOST_SAMPLES:
        _found.popitem(last=False)
    return found
