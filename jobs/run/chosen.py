"""What the choice across cuts says of a shot."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from ..job.setup import SetupSpec
from ..takes.runner_up import RunnerUp


@dataclass(frozen=True, kw_only=True, slots=True)
class Chosen:
    """The setup chosen for a shot, and why.

    Attributes:
        shot: its name.
        setup: as it would stand in the job file.
        why: points of the score by name, of the cut into the shot too, and how many
            setups were tried.
        runner_up: the next best setup; None where there is none.
    """

    shot: str
    setup: SetupSpec
    why: dict[str, Any]
    runner_up: RunnerUp | None

    def plain(self) -> dict[str, Any]:
        """Return the values that are written; see `from_plain`."""
        other = self.runner_up
        return {
            "shot": self.shot,
            "setup": self.setup.plain(),
            "why": self.why,
            "runner_up": None if other is None else other.plain(),
        }

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> Self:
        """Return the choice that `plain` gave.

        Raises:
            ValueError: a setup is none.
            KeyError, TypeError: a field is missing or unknown.
        """
        other = values["runner_up"]
        return cls(
            shot=values["shot"],
            setup=SetupSpec.model_validate(values["setup"]),
            why=values["why"],
            runner_up=None if other is None else RunnerUp.from_plain(other),
        )
