"""Frame tables of people and cameras that are given outright, for tests of claims."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shots import GATE

from carrellata.solver.action.body import EYES
from carrellata.solver.action.claim import Claim, ClaimOutcome
from carrellata.solver.claims.everyone import (
    Blocking,
    CameraFrames,
    FrameTable,
    frame_table,
)
from carrellata.solver.claims.measured import outcomes_of
from carrellata.solver.frame.projection import Screen, Shaking
from carrellata.solver.stage.stage import Stage

FIRST = 1001
RATE = 24.0
TALL_M = 1.75


def looking(
    people: Mapping[str, ArrayLike],
    lens: ArrayLike,
    *,
    pan_deg: ArrayLike = 0.0,
    tilt_deg: ArrayLike = 0.0,
    n: int = 48,
    focal_mm: float = 35.0,
    stage: Stage | None = None,
    heights: Mapping[str, float] | None = None,
) -> FrameTable:
    """Return what a camera without shake shows of people on given floor points.

    Floor points and lens are (3,) or (n, 3) [m], pan and tilt scalars or (n,) [deg].
    """
    tall = heights or {}
    floor = np.array([_rows(points, n) for points in people.values()])
    height = np.array([tall.get(name, TALL_M) for name in people])
    up = np.array([0.0, 1.0, 0.0])
    turns = [np.broadcast_to(np.radians(each), n) for each in (pan_deg, tilt_deg)]
    cams = np.column_stack([_rows(lens, n), *turns])
    level = np.tile([1.0, 0.0, 1.0, 0.0, 1.0, 0.0], (n, 1))
    screen = Screen(*GATE.half_tangents(focal_mm), 0.0)
    camera = CameraFrames(cams, 0.0, screen, Shaking(np.zeros((n, 3)), level))
    blocking = Blocking(
        names=tuple(people),
        frame=np.arange(FIRST, FIRST + n),
        rate=RATE,
        floor=floor,
        eyes=floor + EYES * height[:, None, None] * up,
        crown=floor + height[:, None, None] * up,
        unseen=np.zeros(floor.shape[:2], dtype=np.bool_),
    )
    return frame_table(blocking, stage or Stage(), camera)


def outcome(table: FrameTable, verb: str, *who: str, **fields: Any) -> ClaimOutcome:
    """Return what came of one claim."""
    (found,) = outcomes_of((Claim(verb=verb, who=who, **fields),), table)
    return found


def _rows(points: ArrayLike, n: int) -> NDArray[np.float64]:
    rows: NDArray[np.float64] = np.array(
        np.broadcast_to(np.asarray(points, dtype=np.float64), (n, 3))
    )
    return rows
