"""A claim and what came of it in plain words, for rows, pages and commands."""

from collections.abc import Mapping, Sequence
from typing import Any

PlainOutcome = Mapping[str, Any]
"""An outcome as `ClaimOutcome.plain` gives it."""

MET, MISSED = "met", "missed"
_MOST_SPANS = 3  # of missed frames that are named in a line


def asked_words(plain: PlainOutcome) -> str:
    """Return what a claim asks, such as `reveals guard by 1218`."""
    verb = str(plain["verb"]).replace("_", " ")
    words = [verb, listed(plain["who"])]
    if plain["over"] is not None:
        words.append(f"over {plain['over']}")
    if plain["by"] is not None:
        words.append(f"by {plain['by']}")
    if plain["frames"] is not None:
        words.append("in {}-{}".format(*plain["frames"]))
    for name, value in sorted(plain["given"].items()):
        words.append(f"{name} {value:g}")
    return " ".join(word for word in words if word)


def done_words(plain: PlainOutcome) -> str:
    """Return what was done of a claim, with the number against its limit."""
    words: str = _DONE[plain["verb"]](plain)
    return words


def missed_words(plain: PlainOutcome) -> str:
    """Return the frames that miss a claim; "" where it names none."""
    spans = [span_words(span) for span in plain["missed"]]
    more = len(spans) - _MOST_SPANS
    named = ", ".join(spans[:_MOST_SPANS])
    return f"{named} and {more} more" if more > 0 else named


def outcome_line(plain: PlainOutcome) -> str:
    """Return a claim in a line: asked, what was done, frames."""
    state = MET if plain["held"] else MISSED
    line = f"{state}: {asked_words(plain)}: {done_words(plain)}"
    frames = missed_words(plain)
    return f"{line}; missed in {frames}" if frames else line


def span_words(span: Sequence[int]) -> str:
    """Return a stretch of frames."""
    first, last = span
    return str(first) if first == last else f"{first}-{last}"


def listed(names: Sequence[str]) -> str:
    """Return names as a list in words."""
    if len(names) < 3:
        return " and ".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _percent(share: float) -> str:
    text = f"{100 * share:.1f}".removesuffix(".0")
    return "over 99.9 %" if text == "100" and share < 1.0 else f"{text} %"


def _head(plain: PlainOutcome, *, comes: str, stays: str, never: str) -> str:
    name, why = plain["who"][0], plain["why"]
    seconds = f"{plain['number']:.2f} s, {plain['limit']:g} s asked"
    if why == "absent":
        return f"{name} is in no frame of the action"
    if why in ("shown_first", "shown_last"):
        return stays.format(name=name)
    if why == "never_shown":
        return never.format(name=name)
    if why == "too_brief":
        return f"{name} is shown for {seconds}"
    return comes.format(name=name, at=plain["at"]) + f" ({seconds})"


def _reveals(plain: PlainOutcome) -> str:
    return _head(
        plain,
        comes="{name} comes into the picture at {at}",
        stays="{name} is in the picture from the start",
        never="{name} does not come into the picture in time",
    )


def _leaves(plain: PlainOutcome) -> str:
    return _head(
        plain,
        comes="{name} is out of the picture from {at} on",
        stays="{name} is still in the picture at the end",
        never="{name} is not in the picture before",
    )


def _share_of(what: str) -> Any:
    """Return the words of a share of the frames; `what` has {who} and {over}."""

    def said(plain: PlainOutcome) -> str:
        who, over = listed(plain["who"]), plain["over"]
        if plain["why"] == "absent":
            return f"{who}: not all are in the action"
        if plain["number"] is None:
            return "no frame of it to be measured on"
        return (
            f"{what.format(who=who, over=over)} in {_percent(plain['number'])} of the "
            f"frames, {_percent(plain['limit'])} asked"
        )

    return said


def _looms(plain: PlainOutcome) -> str:
    what = "{who} looms" if plain["over"] is None else "{who} looms over {over}"
    said: str = _share_of(what)(plain)
    return said


def _moved(way: str) -> Any:
    def said(plain: PlainOutcome) -> str:
        name, why = plain["who"][0], plain["why"]
        if why == "absent":
            return f"{name} is in no frame of the action"
        factor = f"{plain['number']:.2f} times, {plain['limit']:g} asked"
        words = f"the camera's own move brings {name} {way} {factor}"
        if why == "person":
            words += f", and {name} undoes it"
        return words

    return said


def _still(plain: PlainOutcome) -> str:
    return (
        f"the picture moves by {plain['number']:.1f} pixels of 2048, "
        f"{plain['limit']:g} allowed"
    )


def _shows(plain: PlainOutcome) -> str:
    name, why = plain["who"][0], plain["why"]
    if why == "never_shown":
        return f"{name} is never half in frame"
    if why == "hidden":
        return f"{name} is hidden whenever it is in frame"
    return (
        f"{name} is shown for {plain['number']:.2f} s from {plain['at']}, "
        f"{plain['limit']:g} s asked"
    )


_DONE = {
    "reveals": _reveals,
    "leaves": _leaves,
    "together": _share_of("{who} are in the picture together"),
    "alone": _share_of("{who} is alone in the picture"),
    "looms": _looms,
    "small": _share_of("{who} is small"),
    "closes_in": _moved("nearer"),
    "draws_back": _moved("further off"),
    "toward": _share_of("{who} travels toward the lens"),
    "away": _share_of("{who} travels away from the lens"),
    "crosses": _share_of("{who} travels across"),
    "still": _still,
    "shows": _shows,
}
