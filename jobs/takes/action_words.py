"""What came of an action, in one phrase."""

from fractions import Fraction
from statistics import median

from .actions import CUT, NO_CUT, CoveredAction


def action_words(one: CoveredAction) -> str:
    """Return what came of an action: cameras, runs, cuts and what they cost."""
    return ", ".join([_count(len(one.cameras), "camera"), *_runs(one), *_cut(one)])


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
