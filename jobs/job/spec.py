"""The job as it is solved: what holds for the sequence, and its shots."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Literal, Self

from pydantic import Field

from .action import ActionSpec
from .habits import HabitsSpec
from .packed import PackedShots
from .quantities import Name, Rate, Spec, Text, Whole
from .shot import ShotSpec
from .world import WorldSpec

MAX_SHOTS = 20_000


class JobFile(Spec):
    """A checked job; every shot holds all it inherits."""

    schema_: Annotated[Literal["carrellata.job/1"], Field(alias="schema")]
    model: Literal[1] = 1
    """Number of the curve model: results change only when it changes."""
    sequence: Name
    rate: Rate
    timecode: Annotated[Text, Field(max_length=20)] | None = None
    """Of the first cut frame; ";" before the frames means drop-frame."""
    seed: Annotated[Whole, Field(ge=0, lt=2**63)] | None = None
    """Absent: made from the names of sequence and shot."""
    world: WorldSpec
    habits: HabitsSpec = HabitsSpec()
    """How the sequence likes to be shot."""
    shots: tuple[ShotSpec, ...]
    """In the order of the cut; behind them the cameras of actions."""
    actions: tuple[ActionSpec, ...] = ()
    """What is covered by several cameras, and cut."""

    @property
    def cameras(self) -> dict[str, ActionSpec]:
        """The action of each camera, by name of its shot."""
        return {
            action.shot_of(camera): action
            for action in self.actions
            for camera in action.cameras
        }

    def action_of(self, shot: str) -> ActionSpec | None:
        """Return the action of which a shot is a camera; None where it is none."""
        return self.cameras.get(shot) if self.actions else None

    def path_of(self, shot: str) -> str:
        """Return where a shot stands: `shots[2]`, or a camera by its name.

        Raises:
            KeyError: there is none.
        """
        for k, action in enumerate(self.actions):
            for camera in action.cameras:
                if action.shot_of(camera) == shot:
                    return f"actions[{k}].cameras.{camera}"
        return f"shots[{self.place_of(shot)}]"

    def shot(self, name: str) -> ShotSpec:
        """Return the shot of this name, in any case of letters.

        Raises:
            KeyError: there is none.
        """
        return self.shots[self.place_of(name)]

    def place_of(self, name: str) -> int:
        """Return the index of the shot of this name, in any case of letters.

        Raises:
            KeyError: there is none.
        """
        return _places(self.shots)[name.lower()]

    def packed(self) -> Self:
        """Return the job with each shot unpacked only when it is asked for."""
        return self.model_copy(update={"shots": PackedShots(self.shots)})


_known: tuple[Sequence[ShotSpec], Mapping[str, int]] = ((), {})


def _places(shots: Sequence[ShotSpec]) -> Mapping[str, int]:
    """Return the index of each shot by name; made once for the job at hand."""
    global _known
    if isinstance(shots, PackedShots):
        return shots.places
    if _known[0] is not shots:
        _known = shots, {shot.name.lower(): k for k, shot in enumerate(shots)}
    return _known[1]
