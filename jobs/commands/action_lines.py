"""The line that a command prints of an action: its cameras, its runs and its cut."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from statistics import median
from typing import Any

from ..places.place import Place
from ..takes.actions import CUT, NO_CUT, CoveredAction, action_place, read_action


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
        parts = [_count(len(one.cameras), "camera"), *_runs(one), *_cut(one)]
        yield f"{one.action}: {', '.join(parts)}; {place}"


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


def _runs(one: CoveredAction) -> list[str]:
    return [_count(len(one.runs), "run")] if one.runs else []


def _cut(one: CoveredAction) -> list[str]:
    """Return what is said of a cut."""
    if one.status == NO_CUT:
        helps = "; ".join(one.helps)
        return [f"no cut ({helps})" if helps else "no cut"]
    if one.status != CUT:
        return []
    frames = median(each.n_frames for each in one.pictures)
    held_s = frames / float(Fraction(one.rate))
    said = [
        _count(len(one.pictures) - 1, "cut"),
        f"median {held_s:.1f} s",
        f"{one.points:.1f} points",
    ]
    if one.given:
        anew = sum(not each.kept for each in one.pictures)
        kept = f", {anew} of its pictures cut anew" if anew else ""
        best = one.best_points
        than = "" if best is None else f" (the best cut {best:.1f})"
        said[-1] += f"{than}, as given in {one.given}{kept}"
    return said


def _count(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"
