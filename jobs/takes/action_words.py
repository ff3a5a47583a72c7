"""What came of an action, in words."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from statistics import median
from typing import Any

from .actions import CUT, NO_CUT, CoveredAction


def action_words(one: CoveredAction) -> str:
    """Return what came of an action: cameras, runs, cuts and what they cost."""
    return ", ".join([_count(len(one.cameras), "camera"), *_runs(one), *_cut(one)])


def join_words(one: CoveredAction) -> list[str]:
    """Return what would let each camera of a later run roll with an earlier one.

    Of several earlier runs it is the one with which a camera clashes least.
    """
    found = []
    for k, run in enumerate(one.runs):
        for camera in run if k else ():
            ways = [_clashes_with(one, camera, earlier) for earlier in one.runs[:k]]
            least = min(range(k), key=lambda j: len(ways[j]))
            others = ", ".join(one.runs[least])
            found.append(
                f"{camera} would roll with {others} but for this: "
                f"{'; '.join(map(_clash, ways[least]))}"
            )
    return found


def _clashes_with(
    one: CoveredAction, camera: str, others: Sequence[str]
) -> list[Mapping[str, Any]]:
    """Return the clashes of a camera with any of some others."""
    return [
        each
        for each in one.clashes
        if camera in each["cameras"] and set(each["cameras"]) & set(others)
    ]


def _clash(each: Mapping[str, Any]) -> str:
    one, two = each["cameras"]
    words = {
        "sees": f"{one} sees {two}",
        "seen": f"{two} sees {one}",
        "way": f"{one} and {two} are in each other's way",
    }
    return f"{words[each['what']]} from {each['frame']} on"


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
