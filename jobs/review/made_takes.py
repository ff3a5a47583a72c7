"""The takes that were made of a shot, side by side, as a table of words."""

import json
from dataclasses import dataclass
from typing import Any

from ..takes.made_takes import BEST_BY, SIDE_BY_SIDE
from .words import figure, measure_name, percent

_SHARES = ("head_in_frame", "pan_ripple")


@dataclass(frozen=True, kw_only=True, slots=True)
class TakesTable:
    """Takes side by side.

    Attributes:
        heads: a heading a take: its number, and whether it is best or used.
        rows: name and unit of a measure, and its words, one a take.
        keys: number and key of each, by which a job locks it.
        best_by: what best means.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    keys: tuple[tuple[int, str], ...]
    best_by: str = BEST_BY


def takes_table(takes: str | None) -> TakesTable | None:
    """Return the table of a row's takes; None where there is one take only."""
    made: list[dict[str, Any]] = json.loads(takes or "[]")
    if not made:
        return None
    return TakesTable(
        heads=tuple(map(_head, made)),
        rows=(
            ("claims told", tuple(str(one["told"]) for one in made)),
            *(
                (measure_name(name), tuple(_words(name, one[name]) for one in made))
                for name in SIDE_BY_SIDE
            ),
        ),
        keys=tuple((one["take"], one["take_key"]) for one in made),
    )


def _head(one: dict[str, Any]) -> str:
    said = [word for word in ("best", "current") if one[word]]
    return f"take {one['take']}" + (f" ({', '.join(said)})" if said else "")


def _words(name: str, value: float | None) -> str:
    return percent(value) if name in _SHARES else figure(value, ".3g")
