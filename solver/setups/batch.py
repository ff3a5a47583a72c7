"""Many setups through one lens, worked in one call.

A call from Python takes some fifty arrays out of Python's objects, which costs as much
as a hundred frames of a channel. So rigs are written as rows of numbers, and the kernel
makes of each what `work` reads. What one setup of a kind has shown bounds the next.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..crew.grip import Hold
from ..crew.planner import Planner
from ..rigs.shape import RigShape
from ..shot import HOLDS
from .judge import (
    CLOSEST,
    HEAD_HELD,
    MUST_SIZE,
    N_NUMBERS,
    NEAR_SIZE,
    OTHERS_HELD,
    PATH_GAP,
    TrialRows,
)
from .prospect import Within
from .setup import Setup
from .work import Rigged, work

ALMOST = 1e-9  # by which a must is not broken yet
(
    LENGTH,
    RADIUS,
    START,
    TURN,
    BEARING,
    FOLLOW,
    OFFSET_X,
    OFFSET_Y,
    OFFSET_Z,
    VIEW,
    FAULTS,
) = range(11)
N_COLUMNS = 11


class SetupRows(NamedTuple):
    """Setups of one lens as kernels read them, a row each.

    Attributes:
        whole: form of the rail, and which `HOLDS` the dolly keeps, (n, 2).
        origins, directions: of the `RigShape`, (n, 3).
        table: of the `RigShape`, the same for all, (k, 6).
        numbers: the other ones, (n, N_COLUMNS); FAULTS is what the rig breaks of the
            stage, as `score.Judged.broken` counts it.
    """

    whole: IntArray
    origins: FloatArray
    directions: FloatArray
    table: FloatArray
    numbers: FloatArray


class TrialBatch(NamedTuple):
    """What trials fill, a row each: see `TrialRows`; and whether each was done."""

    cams: FloatArray
    screen: FloatArray
    numbers: FloatArray
    done: BoolArray


class Ending(NamedTuple):
    """When trials of a batch end early.

    Attributes:
        exact: whether the numbers and FAULTS tell all that a setup breaks.
        first: whether the first that breaks nothing ends the batch, and what breaks the
            stage's limits for certain is given up.
        must: share of the frames in which heads must be held.
    """

    exact: bool
    first: bool
    must: float


def rows_of(setups: Sequence[Setup], faults: Sequence[float]) -> SetupRows:
    """Return setups as rows; their rails have one table.

    Args:
        setups: through one lens.
        faults: what each rig breaks of the stage, 0 or more.
    """
    shapes = [each.rig.shape for each in setups]
    whole = [
        (shape.form, HOLDS.index(each.hold))
        for shape, each in zip(shapes, setups, strict=True)
    ]
    numbers = [
        (
            shape.length,
            shape.radius,
            shape.start,
            shape.turn,
            each.view_rad,
            each.follow,
            *each.offset,
            0.0 if each.view is None else each.view.bearing_rad,
            fault,
        )
        for shape, each, fault in zip(shapes, setups, faults, strict=True)
    ]
    origins = np.array([shape.origin for shape in shapes])
    directions = np.array([shape.direction for shape in shapes])
    # As shapes themselves are: else kernels would be compiled for both.
    origins.flags.writeable = directions.flags.writeable = False
    return SetupRows(
        np.array(whole), origins, directions, shapes[0].table, np.array(numbers)
    )


def room_for(n: int, n_frames: int) -> TrialBatch:
    """Return room for n trials of so many frames."""
    return TrialBatch(
        np.empty((n, n_frames, 5)),
        np.empty((n, n_frames, 3)),
        np.empty((n, N_NUMBERS)),
        np.zeros(n, dtype=np.bool_),
    )


@kernel
def work_all(rows, dolly, crew, action, within, ending, batch):
    """Work the setups of a batch in their order, each within what the best breaks.

    Args:
        rows: the `SetupRows`.
        dolly: planners of the grip, of any length, and of one who brakes hard.
        crew: the `Hands`, the `Through` of the lens and the `Watched`.
        action: the `Action`.
        within: the `Within` of the first.
        ending: the `Ending`.
        batch: filled; what was not done is not.
    """
    own, brake = dolly
    hands, through, watched = crew
    at_most = within.at_most
    for i in range(rows.numbers.shape[0]):
        number = rows.numbers[i]
        length = number[LENGTH]
        rig = RigShape(
            rows.whole[i, 0],
            length,
            rows.origins[i],
            rows.directions[i],
            number[RADIUS],
            number[START],
            number[TURN],
            rows.table,
        )
        hold = Hold(
            rows.whole[i, 1],
            number[BEARING],
            (number[OFFSET_X], number[OFFSET_Y], number[OFFSET_Z]),
            number[FOLLOW],
        )
        rigged = Rigged(
            rig, hold, of_length(own, length), of_length(brake, length), number[VIEW]
        )
        # What spoils a setup on its stage alone is worked: it may be laid elsewhere.
        left = Within(at_most, 0.0, within.clear_m)
        if ending.first:
            left = Within(at_most - number[FAULTS], within.least_m, within.clear_m)
        verdict = TrialRows(batch.cams[i], batch.screen[i], batch.numbers[i])
        batch.done[i] = work(rigged, hands, through, watched, action, left, verdict)
        if batch.done[i] and ending.exact:
            broken = number[FAULTS] + broken_of(batch.numbers[i], ending.must, within)
            at_most = min(at_most, broken)
            if ending.first and broken == 0.0:
                return


@kernel
def of_length(planner, length):
    """Return a planner for a rail of a length [m]."""
    return Planner(
        planner.speed,
        planner.accel,
        planner.jerk,
        length,
        planner.horizon,
        planner.lengths,
        planner.nodes,
        planner.poly,
        planner.gain,
        planner.white,
        planner.rows,
        planner.table,
    )


@kernel
def broken_of(numbers, must, within):
    """Return what a trial breaks by its numbers, as `score.Judged.broken` counts it."""
    total = 0.0
    for off in (
        (must - numbers[HEAD_HELD]) / (1.0 - must),
        (must - numbers[OTHERS_HELD]) / (1.0 - must),
        (MUST_SIZE - numbers[NEAR_SIZE]) / MUST_SIZE,
        within.least_m - numbers[CLOSEST],
        1.0 - numbers[PATH_GAP] / within.clear_m if within.clear_m > 0.0 else 0.0,
    ):
        if off > ALMOST:
            total += off
    return total
