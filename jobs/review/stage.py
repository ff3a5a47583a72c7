"""The stage on a plan: where the dolly may stand, and what it may not go through."""

from base64 import b64decode
from dataclasses import dataclass

import numpy as np

from ...solver.arrays import FloatArray
from ..takes.metadata import TakeMetadata


@dataclass(frozen=True, kw_only=True, slots=True)
class KeepOut:
    """An upright box: `low` and `high` are its corners, (3,) [m]."""

    name: str
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanStage:
    """The stage in metres and the axes of a plan.

    Attributes:
        floor: corners of where the dolly may stand, (n, 2); None: anywhere.
        holes: in it, (n, 2) each.
        keep_outs: in the order of the job.
        ground: its height; None where the job says nothing of the stage.
        walls: sections of the set at the height of a chest, (m, 2, 2).
        low: sections of it near the floor, (m, 2, 2).
    """

    floor: FloatArray | None
    holes: tuple[FloatArray, ...]
    keep_outs: tuple[KeepOut, ...]
    ground: float | None
    walls: FloatArray
    low: FloatArray


def stage_of(metadata: TakeMetadata) -> PlanStage:
    """Return the stage that a take was made on, from the take's metadata."""
    stage, world = metadata.asked.stage, metadata.world
    unit_m = world.metres(1.0)
    forth = np.array([1.0, 1.0 if world.up == "z" else -1.0]) * unit_m
    floor, level = stage.get("floor"), float(stage.get("ground", 0.0))
    keep_outs = []
    for each in stage.get("keep_outs") or ():
        corners = np.array([each["from"], each["to"]], dtype=np.float64) * unit_m
        if world.up == "y":
            corners = corners[:, [0, 2, 1]] * [1.0, -1.0, 1.0]
        keep_outs.append(
            KeepOut(
                name=each["name"], low=corners.min(axis=0), high=corners.max(axis=0)
            )
        )
    return PlanStage(
        floor=None if floor is None else np.array(floor, dtype=np.float64) * forth,
        holes=tuple(
            np.array(hole, dtype=np.float64) * forth
            for hole in stage.get("floor_holes") or ()
        ),
        keep_outs=tuple(keep_outs),
        ground=level * unit_m if level or floor or keep_outs or metadata.set else None,
        walls=_section(metadata.set.get("walls", "")),
        low=_section(metadata.set.get("low", "")),
    )


def _section(text: str) -> FloatArray:
    """Return the lines of a section in the axes of a plan, (m, 2, 2) [m]."""
    lines = np.frombuffer(b64decode(text), dtype="<f4").reshape(-1, 2, 2)
    return lines.astype(np.float64) * [1.0, -1.0]
