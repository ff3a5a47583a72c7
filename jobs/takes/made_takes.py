"""The takes that were made of one shot, side by side, and which is best by what.

It stands as a JSON list in the shot's row where the job asks for more than one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ...solver.measures.on_stage import Measures

BEST_BY = (
    "most claims told, then most of the head in frame (to 0.1 % of the cut), then "
    "least drift r.m.s."
)
SIDE_BY_SIDE = (
    "head_in_frame",
    "drift_rms",
    "drift_max",
    "onset_lag_s",
    "pan_ripple",
    "pan_decisions_per_s",
    "reversals",
)
"""Measures that takes are shown by."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MadeTake:
    """One take of a shot.

    Attributes:
        take: its number, from 1.
        take_key: its key, by which a job locks it.
        told: how many of the shot's claims it tells.
        measures: those of `SIDE_BY_SIDE`.
    """

    take: int
    take_key: str
    told: int
    measures: Mapping[str, Any]

    @property
    def rank(self) -> tuple[float, ...]:
        """A key that sorts the best take first; the lower number wins a tie."""
        head, drift = self.measures["head_in_frame"], self.measures["drift_rms"]
        return (
            -float(self.told),
            -round(float(head or 0.0), 3),
            float("inf") if drift is None else float(drift),
            float(self.take),
        )


def made_take(
    take: int, take_key: str, measures: Measures, claims: Sequence[Mapping[str, Any]]
) -> MadeTake:
    """Return what is shown of a take, given its measures and claims' outcomes."""
    return MadeTake(
        take=take,
        take_key=take_key,
        told=sum(bool(each["held"]) for each in claims),
        measures={name: measures.get(name) for name in SIDE_BY_SIDE},
    )


def best_of(made: Sequence[MadeTake]) -> MadeTake:
    """Return the best of some takes, by `BEST_BY`."""
    return min(made, key=lambda one: one.rank)


def plain_takes(made: Sequence[MadeTake], current: int) -> list[dict[str, Any]]:
    """Return the list that stands in the row; `current` is the number of its take."""
    best = best_of(made).take
    return [
        {
            "take": one.take,
            "take_key": one.take_key,
            "told": one.told,
            "best": one.take == best,
            "current": one.take == current,
            **one.measures,
        }
        for one in made
    ]
