"""A camera as read from a file, whatever the file: sound values, inside axes."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.optics.camera import Gate
from ...solver.studies.camera import FEWEST_SAMPLES, CameraMove
from ..subjects.faults import refuse

UNEVEN = 1e-3  # of a step; clocks written with four decimals are even


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadCamera:
    """A camera as read, inside axes, and the frames that it covers.

    `first` and `last` are the whole frames of the job's rate that hold it.
    """

    move: CameraMove
    first: int
    last: int


def checked(
    frames: FloatArray,
    place: FloatArray,
    angles: tuple[FloatArray, FloatArray, FloatArray],
    focal_mm: FloatArray,
    *,
    gate: Gate,
    rate: Fraction,
    field: str,
    label: str,
) -> ReadCamera:
    """Return a camera whose values are sound.

    Args:
        frames: rising, (n,) [frames at `rate`].
        place: (n, 3) [m], Y up.
        angles: pan, tilt and roll, each (n,) [rad].
        focal_mm: (n,) [mm].
        gate: delivered frame.
        rate: of the study.
        field: of the study file, for messages.
        label: name of the file, for messages.

    Raises:
        SubjectError: too few samples, an uneven clock, or a value that is not a number.
    """
    n = len(frames)
    if n < FEWEST_SAMPLES:
        refuse(field, f"{label} has {n} samples, least {FEWEST_SAMPLES}")
    steps = np.diff(frames)
    bad = np.flatnonzero(~(steps > 0))
    if len(bad):
        refuse(field, f"{label} must rise in time, row {bad[0] + 2} does not")
    uneven = np.flatnonzero(np.abs(steps - np.median(steps)) > UNEVEN * steps.max())
    if len(uneven):
        row = int(uneven[0]) + 2
        refuse(
            field,
            f"{label} must be evenly sampled, row {row} is {steps[uneven[0]]:g} frames "
            f"after the one before, others {np.median(steps):g}",
        )
    columns = {
        "x": place[:, 0],
        "y": place[:, 1],
        "z": place[:, 2],
        "pan": angles[0],
        "tilt": angles[1],
        "roll": angles[2],
        "focal_mm": focal_mm,
    }
    for name, values in columns.items():
        wrong = np.flatnonzero(~np.isfinite(values))
        if len(wrong):
            refuse(field, f"{label} has no number for {name} in row {wrong[0] + 1}")
    if focal_mm.min() <= 0:
        row = int(np.argmin(focal_mm)) + 1
        refuse(
            field, f"{label} focal_mm must be > 0 mm, row {row} is {focal_mm.min():g}"
        )
    move = CameraMove(
        times_s=frames * rate.denominator / rate.numerator,
        place=place,
        pan=np.unwrap(angles[0]),
        tilt=angles[1],
        roll=np.unwrap(angles[2]),
        focal_mm=focal_mm,
        gate=gate,
    )
    # Sub-frames after the last frame have no sample of a frame-locked subject.
    last = int(np.floor(frames[-1] + UNEVEN))
    return ReadCamera(move=move, first=int(np.floor(frames[0] + UNEVEN)), last=last)
