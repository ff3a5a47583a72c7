"""The next best setup of another kind, as its row in the sequence's table has it."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

from ..job.setup import SetupSpec


@dataclass(frozen=True, kw_only=True, slots=True)
class RunnerUp:
    """The next best setup of a shot that differs in rig, view, lens or size.

    Attributes:
        setup: as it would stand in the job file.
        score: points, lower is better.
        parts: the same by name.
        costs_more: points that the sequence would cost more with it; None where it
            can't have it.
        tie: whether that, without the fee, is too little to tell the two apart.
        fee: points of it that are for changing last night's setup, not for what the
            setups are worth; below zero where the runner-up is last night's.
    """

    setup: SetupSpec
    score: float
    parts: Mapping[str, float]
    costs_more: float | None
    tie: bool
    fee: float = 0.0

    @property
    def words(self) -> str:
        """What the sequence would cost with it, the fee apart; "" where it can't be."""
        if self.costs_more is None:
            return ""
        text = f"the sequence would cost {self.costs_more:.2f} more"
        if self.fee > 0:
            text += f", {self.fee:.2f} of it the fee for changing last night's setup"
        if self.fee < 0:
            text += f", though it is last night's and {-self.fee:.2f} are taken off it"
        return text

    def plain(self) -> dict[str, Any]:
        """Return the values that are written; see `from_plain`."""
        values = {each.name: getattr(self, each.name) for each in fields(self)}
        return {**values, "setup": self.setup.plain()}

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> Self:
        """Return the runner-up that `plain` gave.

        Raises:
            ValueError: its setup is none.
            TypeError: a field is missing or unknown.
        """
        setup = SetupSpec.model_validate(values.get("setup"))
        return cls(**{**values, "setup": setup})
