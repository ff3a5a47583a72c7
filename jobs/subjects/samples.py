"""Samples of a subject on the shot's frames, and the clock that puts them there."""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pyarrow as pa

from ...solver.arrays import BoolArray, FloatArray
from ..errors import Fault
from ..job.rate import nominal_rate
from ..job.world import inside_from_scene
from .columns import HEAD, POSITION
from .faults import refuse, refuse_any
from .reference import Up
from .source import Source

SNAP_FRAMES = 1e-6  # arithmetic on seconds leaves less than this
MAX_FRAME = 10**9
LATE_STEPS = 1.5  # clocks are uneven: up to here a sample is late, not missing
MANY_TURNS_DEG = 1e6  # a facing beyond has its whole turns taken off


@dataclass(frozen=True, kw_only=True, slots=True)
class SubjectSamples:
    """What a file says, in metres, Y up, on frames of the shot.

    Attributes:
        frames: ascending after the check of order, (n,) [frames].
        points: where the reference's `at` is, (n, 3) [m]; may hold NaN.
        head: centre of the head at eye level, (n, 3) [m], or None.
        facing_rad: (n,) [rad], NaN where not given.
        visible: not marked hidden, (n,).
        step_frames: frames from one sample to the next where none is missing.
        locked: each sample is a whole frame of the shot.
    """

    frames: FloatArray
    points: FloatArray
    head: FloatArray | None
    facing_rad: FloatArray
    visible: BoolArray
    step_frames: float
    locked: bool

    def take(self, rows: slice) -> "SubjectSamples":
        """Return some of the rows."""
        return replace(
            self,
            frames=self.frames[rows],
            points=self.points[rows],
            head=None if self.head is None else self.head[rows],
            facing_rad=self.facing_rad[rows],
            visible=self.visible[rows],
        )


def frames_a_sample(rate: Fraction, *, job_rate: Fraction) -> Fraction:
    """Return the frames from one sample to the next, never off by 1000/1001.

    Both rates count by their nominal value: 120 samples a second at 24000/1001
    frames a second are five samples a frame, as 119.88 are at 24.
    """
    return Fraction(nominal_rate(job_rate), nominal_rate(rate))


def samples_of_table(
    table: pa.Table,
    source: Source,
    *,
    job_rate: Fraction,
    rate: Fraction | None,
    first_sample_at: int | None,
    up: Up,
    metres_per_unit: float,
) -> SubjectSamples:
    """Turn the columns of a table into samples.

    Whole frame numbers are frames of the shot. Seconds count from frame 0, or from
    the first sample where `first_sample_at` says its frame; they are those of the
    clock at `rate`, by default the job's.

    Raises:
        SubjectError: cells are empty that must not be, or frames are out of range.
    """
    refuse_any(
        Fault(path=source.path, message=f"{source.label} {name} in row {row}")
        for name, row in _empty_cells(table)
    )
    if "frame" in table.column_names:
        frames, step = _frames(table, source), 1.0
    else:
        times_s = _values(table, "time_s")
        if not np.isfinite(times_s).all():
            row = int(np.argmin(np.isfinite(times_s))) + 1
            refuse(source.path, f"{source.label} has no time_s in row {row}")
        pace = float(rate or job_rate)
        per_sample = frames_a_sample(rate or job_rate, job_rate=job_rate)
        frames = np.clip(times_s, -1e300, 1e300) * (pace * float(per_sample))
        if first_sample_at is not None:
            frames = first_sample_at + frames - frames[0]
        if np.abs(frames).max() > MAX_FRAME:
            rule = f"has time_s beyond frame {MAX_FRAME}"
            refuse(source.path, f"{source.label} {rule}")
        frames = _snapped(frames)
        step = float(per_sample) if rate else _usual_step(frames)
    points = inside_from_scene(_triples(table, POSITION) * metres_per_unit, up)
    head = None
    if HEAD[0] in table.column_names:
        head = inside_from_scene(_triples(table, HEAD) * metres_per_unit, up)
    return SubjectSamples(
        frames=frames,
        points=points,
        head=head,
        facing_rad=_facing(table),
        visible=_visible(table),
        step_frames=step,
        locked="frame" in table.column_names,
    )


def _empty_cells(table: pa.Table) -> list[tuple[str, int]]:
    """First empty cell of each column that must have none; rows count from 1."""
    found = []
    for name in ("frame", "visible"):
        if name in table.column_names and table[name].null_count:
            empty = table[name].is_null().to_numpy()
            found.append((f"has no '{name}'", int(np.argmax(empty)) + 1))
    return found


def _frames(table: pa.Table, source: Source) -> FloatArray:
    frames = table["frame"].to_numpy()
    wide = (frames > MAX_FRAME) | (frames < -MAX_FRAME if frames.min() < 0 else False)
    if wide.any():
        frame = int(frames[int(np.argmax(wide))])
        refuse(source.path, f"{source.label} has frame {frame}, limit {MAX_FRAME}")
    whole: FloatArray = frames.astype(np.float64)
    return whole


def _values(table: pa.Table, name: str) -> FloatArray:
    """A column as float64, empty cells as NaN."""
    column = table[name]
    if column.type != pa.float64():
        column = column.cast(pa.float64(), safe=False)
    values: FloatArray = column.to_numpy()
    return values


def _triples(table: pa.Table, names: tuple[str, str, str]) -> FloatArray:
    return np.column_stack([_values(table, name) for name in names])


def _facing(table: pa.Table) -> FloatArray:
    if "facing_deg" not in table.column_names:
        return np.full(table.num_rows, np.nan)
    facing = _values(table, "facing_deg")
    many = np.isfinite(facing) & (np.abs(facing) > MANY_TURNS_DEG)
    turned = np.fmod(np.where(many, facing, 0.0), 360.0)
    return np.radians(np.where(many, turned, facing))


def _visible(table: pa.Table) -> BoolArray:
    if "visible" not in table.column_names:
        return np.ones(table.num_rows, dtype=np.bool_)
    visible: BoolArray = table["visible"].to_numpy().astype(np.bool_)
    return visible


def _snapped(frames: FloatArray) -> FloatArray:
    whole = np.rint(frames)
    return np.where(np.abs(frames - whole) < SNAP_FRAMES, whole, frames)


def _usual_step(frames: FloatArray) -> float:
    return float(np.median(np.diff(frames))) if len(frames) > 1 else 1.0
