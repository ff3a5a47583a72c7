"""What must hold between the claims of a shot and the rest of it."""

import difflib
from collections.abc import Iterator

from .claim import contradict, pairs_of
from .locations import Finding, shown
from .shot import ShotSpec


def claim_names(shot: ShotSpec) -> Iterator[Finding]:
    """Yield people and places that a claim names and the shot does not have."""
    people = [subject.name for subject in shot.subjects]
    places = [one.name for one in shot.stage.props]
    places += [one.name for one in shot.stage.keep_outs]
    for k, claim in enumerate(shot.claims):
        named = [(claim.verb, name) for name in claim.named]
        if claim.over is not None:
            named.append(("over", claim.over))
        for field, name in named:
            if field == "shows":
                known, what = places, "a prop or keep-out of the stage"
            else:
                known, what = people, "in the action of the shot"
            if name not in known:
                yield ("claims", k, field), _unknown(name, known, what)
        if claim.over is not None and claim.over in claim.named:
            yield ("claims", k, "over"), f"{shown(claim.over)} cannot loom over itself"


def _unknown(name: str, known: list[str], what: str) -> str:
    near = difflib.get_close_matches(name[:100], known, n=1, cutoff=0.6)
    hint = f'; did you mean "{near[0]}"' if near else ""
    return f"{shown(name)} is not {what} ({', '.join(known) or 'none'}){hint}"


def claim_frames(shot: ShotSpec) -> Iterator[Finding]:
    """Yield frames of claims that lie outside the cut."""
    first, last = shot.frames
    for k, claim in enumerate(shot.claims):
        for frame in claim.frames or ():
            if not first <= frame <= last:
                message = f"{frame} is outside the cut ({first} to {last})"
                yield ("claims", k, "frames"), message
        low, high = claim.frames or (first, last)
        if claim.by is not None and not low <= claim.by <= high:
            message = f"{claim.by} is outside its frames ({low} to {high})"
            yield ("claims", k, "by"), message


def claims_agree(shot: ShotSpec) -> Iterator[Finding]:
    """Yield claims that contradict an earlier one, both named."""
    followed = shot.followed
    everybody = tuple(subject.name for subject in shot.subjects)
    for j, k in pairs_of(shot.claims):
        one, two = shot.claims[j], shot.claims[k]
        if contradict(one, two, followed, everybody):
            yield ("claims", k), f"{two.words} contradicts {one.words}"
        elif one == two:
            yield ("claims", k), f"{two.words} is claimed already"


def claims_possible(shot: ShotSpec) -> Iterator[Finding]:
    """Yield claims about several that a shot with one person makes."""
    if len(shot.subjects) > 1:
        return
    for k, claim in enumerate(shot.claims):
        if claim.verb == "together" and not claim.named:
            yield ("claims", k), "together needs two people in the action"
