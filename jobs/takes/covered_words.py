"""What findings of actions, of their cameras and their cuts, say in a sentence."""

from collections.abc import Callable, Mapping

Numbers = Mapping[str, float | str]


def _beat_missed(n: Numbers, shot: str) -> str:
    return (
        f"{n['missed']} of the frames that {shot} is on for miss a beat of the cut; "
        "give a camera that shows what the beat asks for."
    )


def _breaks_cut_rule(n: Numbers, shot: str) -> str:
    held = f"{shot} is held for {float(n['held_s']):.1f} s,"
    return {
        "first": f"The cut begins on {shot}, and has to on {n['asked']}.",
        "last": f"The cut ends on {shot}, and has to on {n['asked']}.",
        "shortest": f"{held} shortest_s is {n['asked']} s; hold it longer.",
        "longest": f"{held} longest_s is {n['asked']} s; cut earlier.",
        "settled": f"The cut into {shot} falls into a pan that is under way; cut where "
        "it has settled.",
    }[str(n["rule"])]


def _cut_not_read(n: Numbers, shot: str) -> str:
    return (
        f"The cut that was given for {n['action']}, the action of {shot}, is not used: "
        f"{n['faults']}."
    )


def _camera_seen(n: Numbers, shot: str) -> str:
    what = {"sees": "sees", "seen": "is seen by", "way": "stands in the way of"}
    return (
        f"{shot} {what[str(n['what'])]} {n['other']} at {n['frame']}, so the two do "
        f"not roll at once; {n['runs']} runs of the action take all its cameras."
    )


def _no_cut(n: Numbers, shot: str) -> str:
    helps = str(n["helps"]) or "another camera"
    return (
        f"{shot} and the other cameras of {n['action']} have no cut that is allowed; "
        f"what would give one: {helps}."
    )


OF_ACTIONS: dict[str, Callable[[Numbers, str], str]] = {
    "beat_missed": _beat_missed,
    "breaks_cut_rule": _breaks_cut_rule,
    "cut_not_read": _cut_not_read,
    "camera_seen": _camera_seen,
    "no_cut": _no_cut,
}
"""Sentences by name of the finding, given its numbers and the name of the shot."""
