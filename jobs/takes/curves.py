"""A take as every kind of delivery reads it: metres and degrees, Y up.

Takes lie in the axes and units of their own scene; a delivery may have others. So
what has axes is brought back inside here, once, and each kind turns it into its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
import pyarrow as pa

from ...solver.arrays import FloatArray, IntArray
from ...solver.rigs.shape import Rig
from ..errors import InputError
from ..job.world import WorldSpec
from .metadata import TakeGate, take_metadata
from .sequence_table import CutClock, ShotRow, read_table
from .store import Store
from .take_file import read_take


@dataclass(frozen=True, kw_only=True, slots=True)
class Curves:
    """A take, n samples, in metres and degrees, Y up.

    Attributes:
        sequence: its sequence's name.
        shot: its shot's name.
        take_key: its key.
        rate: frames a second.
        world: axes and units of the scene it was made for.
        frame: (n,) frames.
        sub: (n,) number of the sample within its frame.
        time_codes: (n,) frames, with the share of the frame that has passed.
        time_s: (n,) [s], 0 at frame 0.
        cut: first and last frame of the cut.
        rail_m: place on the rail, (n,) [m].
        rail: the rig.
        base_m: lens without shake, (n, 3) [m].
        pan_deg: (n,) unwrapped [deg].
        tilt_deg: (n,) unwrapped [deg].
        roll_deg: (n,) unwrapped [deg].
        shake_m: right, up and back in the base camera's axes, (n, 3) [m].
        shake_deg: pan, tilt and roll of the layer, (n, 3).
        place_m: lens with shake, (n, 3) [m].
        turn: with shake, unit quaternions x, y, z, w, sign-continuous, (n, 4).
        focal_mm: marked focal length.
        focus_m: (n,) [m].
        stop: f-number.
        gate: the film area and its angles.
        shutter_deg: angle of the shutter.
        knots: of `rail_m`, `pan_deg` and `tilt_deg`: (k, 3) time [s], value, speed.
    """

    sequence: str
    shot: str
    take_key: str
    rate: Fraction
    world: WorldSpec
    frame: IntArray
    sub: IntArray
    time_codes: FloatArray
    time_s: FloatArray
    cut: tuple[int, int]
    rail_m: FloatArray
    rail: Rig
    base_m: FloatArray
    pan_deg: FloatArray
    tilt_deg: FloatArray
    roll_deg: FloatArray
    shake_m: FloatArray
    shake_deg: FloatArray
    place_m: FloatArray
    turn: FloatArray
    focal_mm: float
    focus_m: FloatArray
    stop: float
    gate: TakeGate
    shutter_deg: float
    knots: Mapping[str, FloatArray]

    @property
    def shakes(self) -> bool:
        """Whether the layer of shake moves anything."""
        return bool(np.any(self.shake_m) or np.any(self.shake_deg))


@dataclass(frozen=True, kw_only=True, slots=True)
class Delivery:
    """The current takes of a sequence, in the order of its cut.

    Attributes:
        sequence: its name.
        store: where it lies.
        clock: how its frames are counted, as its table had it with the rows.
        rows: its table; shots without a take are left out.
        curves: of each row.
        tables: the take's table of each row.
        missing: names of the shots that have no take.
    """

    sequence: str
    store: Store
    clock: CutClock
    rows: tuple[ShotRow, ...]
    curves: tuple[Curves, ...]
    tables: tuple[pa.Table, ...]
    missing: tuple[str, ...]


def read_delivery(store: Store) -> Delivery:
    """Read the current takes of a sequence.

    Raises:
        InputError: its table or a take is missing or damaged, or it has no takes.
    """
    table = read_table(store.sequence)
    places = {row.shot: store.take_of(row.shot, row.take_key) for row in table.rows}
    there = [row for row in table.rows if places[row.shot].is_file()]
    if not there:
        raise InputError(str(store.folder), "holds no takes")
    tables = tuple(read_take(places[row.shot]) for row in there)
    return Delivery(
        sequence=there[0].sequence,
        store=store,
        clock=table.clock,
        rows=tuple(there),
        curves=tuple(curves_of(table) for table in tables),
        tables=tables,
        missing=tuple(row.shot for row in table.rows if row not in there),
    )


def curves_of(table: pa.Table) -> Curves:
    """Return a take's table as curves in metres and degrees, Y up."""
    metadata = take_metadata(table)
    world = metadata.world
    frame, sub = _column(table, "frame"), _column(table, "sub")
    inside = frame[~_column(table, "handle")]
    samples_per_frame = int(sub.max()) + 1
    return Curves(
        sequence=table["sequence"][0].as_py(),
        shot=table["shot"][0].as_py(),
        take_key=metadata.keys.take,
        rate=metadata.rate,
        world=world,
        frame=frame.astype(np.int64),
        sub=sub.astype(np.int64),
        time_codes=frame + sub / samples_per_frame,
        time_s=_column(table, "time_s"),
        cut=(int(inside[0]), int(inside[-1])),
        rail_m=_column(table, "rail_m"),
        rail=metadata.rail,
        base_m=world.inside(_columns(table, "x", "y", "z")),
        pan_deg=_column(table, "pan_deg"),
        tilt_deg=_column(table, "tilt_deg"),
        roll_deg=_column(table, "roll_deg"),
        shake_m=_columns(table, "shake_x_m", "shake_y_m", "shake_z_m"),
        shake_deg=_columns(table, "shake_pan_deg", "shake_tilt_deg", "shake_roll_deg"),
        place_m=world.inside(_columns(table, "cam_x", "cam_y", "cam_z")),
        turn=world.inside_turns(_columns(table, "qx", "qy", "qz", "qw")),
        focal_mm=float(table["focal_mm"][0].as_py()),
        focus_m=_column(table, "focus_m"),
        stop=float(table["stop"][0].as_py()),
        gate=metadata.gate,
        shutter_deg=metadata.asked.shutter_deg,
        knots=metadata.knots,
    )


def _column(table: pa.Table, name: str) -> Any:
    return table[name].to_numpy()


def _columns(table: pa.Table, *names: str) -> FloatArray:
    return np.column_stack([_column(table, name) for name in names])
