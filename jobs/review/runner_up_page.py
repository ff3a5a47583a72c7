"""The next best setup of each shot beside the chosen one, as a page and in lines."""

from collections.abc import Iterator, Sequence
from typing import Protocol

import pyarrow as pa

from ..takes.metadata import take_metadata
from ..takes.runner_up import RunnerUp
from .compare_page import TwoTakes, two_takes_page
from .explain import PARTS
from .shown import shown_of
from .viewfinder import MOST_PLAYED
from .words import setup_changes


class ChosenAndRunnerUp(Protocol):
    """A chosen take and that of the setup that came next, both as written tables."""

    @property
    def shot(self) -> str:
        """Name of the shot."""

    @property
    def chosen(self) -> pa.Table:
        """The take."""

    @property
    def runner_up(self) -> RunnerUp:
        """The setup that came next."""

    @property
    def table(self) -> pa.Table:
        """Its take."""


def runner_up_page(takes: Sequence[ChosenAndRunnerUp], *, label: str) -> str:
    """Return the page that plays chosen setups and their runners-up in step.

    Args:
        takes: in the order of the cut.
        label: where the chosen takes lie.
    """
    both = [
        TwoTakes(
            shot=one.shot,
            before=shown_of(one.chosen),
            after=shown_of(one.table),
            words=tuple(_words(one)),
        )
        for one in takes
    ]
    played = [one for one in both if len(one.before.frames) <= MOST_PLAYED]
    count = len(takes)
    return two_takes_page(
        "Chosen setups and runners-up",
        played,
        names=("Chosen", "Runner-up"),
        labels=(label, "solved for this page; nothing was written"),
        told=f"{count} shot{' has' if count == 1 else 's have'} a runner-up.",
    )


def runner_up_lines(takes: Sequence[ChosenAndRunnerUp]) -> Iterator[str]:
    """Yield how each runner-up differs from the chosen setup, for people."""
    for one in takes:
        first, *rest = _words(one)
        yield f"{one.shot}  {first}"
        yield from (f"  {words}" for words in rest)
    if not takes:
        yield "no shot has a runner-up"


def _words(one: ChosenAndRunnerUp) -> Iterator[str]:
    """Yield what the runner-up is and what it costs, a line each."""
    changes = setup_changes(take_metadata(one.chosen).setup, one.runner_up.setup)
    yield f"Setup: {', '.join(changes) or 'the same'}."
    other = one.runner_up
    more = other.costs_more
    dearer = "" if more is None else f"; the sequence would cost {more:.2f} more"
    tie = ", which is a matter of taste" if other.tie else ""
    yield f"It costs {other.score:.2f} points{dearer}{tie}."
    parts = sorted(other.parts.items(), key=lambda part: -abs(part[1]))[:3]
    words = ", ".join(f"{PARTS.get(name, name)} ({cost:.2f})" for name, cost in parts)
    if words:
        yield f"Most of them for {words}."
