"""What the choice across cuts says of a shot."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, kw_only=True, slots=True)
class Chosen:
    """The setup chosen for a shot, and why.

    Attributes:
        shot: its name.
        setup: as it would stand in the job file.
        why: points of the score by name, of the cut into the shot too, and how many
            setups were tried.
        runner_up: the next best setup with its parts and what it would cost more;
            empty where there is none.
    """

    shot: str
    setup: dict[str, Any]
    why: dict[str, Any]
    runner_up: dict[str, Any]
