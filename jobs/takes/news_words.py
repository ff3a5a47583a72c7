"""What a cut brings, in words."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

PlainNews = Mapping[str, Any]
"""One thing that is new after a cut, the fields of `News` by name."""


def news_line(news: Sequence[PlainNews]) -> str:
    """Return what a cut brings in one line; "nothing" where it is nothing."""
    return ", ".join(_WORDS[one["what"]](one) for one in news) or "nothing"


def _size(one: PlainNews) -> str:
    way = "larger" if one["number"] > 0 else "smaller"
    return f"{one['who']} {abs(one['number']):.1f} steps {way}"


_WORDS: dict[str, Callable[[PlainNews], str]] = {
    "comes": lambda one: f"{one['who']} comes",
    "goes": lambda one: f"{one['who']} goes",
    "follows": lambda one: f"{one['who']} is followed",
    "size": _size,
    "view": lambda one: f"the view turns {one['number']:.0f} deg round {one['who']}",
    "look": lambda one: f"{one['who']} looks to the other side",
    "place": lambda one: f"{one['who']} is shown",
    "time": lambda _: "time has passed",
}
