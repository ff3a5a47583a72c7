"""The stage on a plan: where the dolly may stand, and what it may not go through."""

from dataclasses import dataclass

import numpy as np

from ...solver.arrays import FloatArray
from ..takes.metadata import TakeMetadata


@dataclass(frozen=True, kw_only=True, slots=True)
class KeepOut:
    """A box from above: `low` and `high` are its corners, (2,) [m]."""

    name: str
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanStage:
    """The stage in metres and the axes of a plan; `floor` is (n, 2) or None."""

    floor: FloatArray | None
    keep_outs: tuple[KeepOut, ...]


def stage_of(metadata: TakeMetadata) -> PlanStage:
    """Return the stage that a take was made on, from the take's metadata."""
    stage, world = metadata.asked.stage, metadata.world
    forth = np.array([1.0, 1.0 if world.up == "z" else -1.0]) * world.metres(1.0)
    ground = [0, 1] if world.up == "z" else [0, 2]
    floor = stage.get("floor")
    keep_outs = []
    for each in stage.get("keep_outs") or ():
        corners = np.array([each["from"], each["to"]])[:, ground] * forth
        keep_outs.append(
            KeepOut(
                name=each["name"], low=corners.min(axis=0), high=corners.max(axis=0)
            )
        )
    return PlanStage(
        floor=None if floor is None else np.array(floor, dtype=np.float64) * forth,
        keep_outs=tuple(keep_outs),
    )
