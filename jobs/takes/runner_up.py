"""The next best setup of a shot, as its row in the sequence's table has it."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

from ..job.setup import SetupSpec


@dataclass(frozen=True, kw_only=True, slots=True)
class RunnerUp:
    """The next best setup of a shot.

    Attributes:
        setup: as it would stand in the job file.
        score: points, lower is better.
        parts: the same by name.
        costs_more: points that the sequence would cost more with it; None where it
            can't have it.
        tie: whether that is too little to tell the two apart.
    """

    setup: SetupSpec
    score: float
    parts: Mapping[str, float]
    costs_more: float | None
    tie: bool

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
