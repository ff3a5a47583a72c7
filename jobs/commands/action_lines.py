"""The line that a command prints of an action: its cameras, its runs and its cut."""

from collections.abc import Iterable, Iterator
from typing import Any

from ..places.place import Place
from ..takes.action_words import action_words
from ..takes.actions import CUT, CoveredAction, action_place, read_action


def covered(folder: Place, names: Iterable[str]) -> list[CoveredAction]:
    """Return what came of some actions of a sequence, those of which anything did.

    Raises:
        InputError: a file is damaged.
        StoreError: an object store does not answer.
    """
    found = (read_action(folder, name) for name in names)
    return [one for one in found if one is not None]


def action_lines(folder: Place, actions: Iterable[CoveredAction]) -> Iterator[str]:
    """Yield a line an action, given the folder of its sequence."""
    for one in actions:
        place = action_place(folder, one.action)
        if one.status == CUT:
            place = place.parent / f"{one.action}.otio"
        yield f"{one.action}: {action_words(one)}; {place}"


def plain_actions(actions: Iterable[CoveredAction]) -> list[dict[str, Any]]:
    """Return what a command prints of actions as JSON."""
    return [
        {
            "action": one.action,
            "status": one.status,
            "cameras": list(one.cameras),
            "runs": one.runs,
            "cuts": max(len(one.pictures) - 1, 0),
            "points": one.points,
            "given": one.given,
            "best_points": one.best_points,
            "helps": one.helps,
        }
        for one in actions
    ]
