"""What the drawings of a take show, read from the take alone.

Metres in the axes of a plan: X to the right, Y up the page, Z up from the ground,
which is a scene with Z up. Angles count like pan: 0 along +Y, positive
counter-clockwise seen from above.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ...solver.arrays import BoolArray, FloatArray, IntArray
from ...solver.rigs.shape import Rig
from ..job.world import scene_from_inside
from ..takes.bodies import Body, read_bodies
from ..takes.metadata import TakeMetadata, take_metadata

N_MARKS = 4
READ = (
    *("frame", "time_s", "handle", "x", "y", "z", "pan_deg", "tilt_deg", "roll_deg"),
    *("shake_pan_deg", "shake_tilt_deg", "cam_x", "cam_y", "cam_z"),
    *("qx", "qy", "qz", "qw", "focus_m", "stop", "dof_near_m", "dof_far_m", "soft"),
    *("rail_speed", "rail_accel", "pan_speed", "pan_accel", "tilt_speed"),
    *("tilt_accel", "subject_x", "subject_y", "subject_z", "subject_u", "subject_v"),
    *("subject_size", "aim_u", "aim_v", "decided_pan", "decided_tilt"),
    "decided_dolly",
)
"""Columns of a take that are drawn."""
NAMES = ("shot", "subject")
"""Columns of names that are read, too."""

_WALKS_M_S = 0.3  # slower, a body does not turn the way it goes
_SIZE_STEP = 0.15  # of the logarithm within a frame; only a cue changes it so


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """A take on the cut frames of its shot, n of them; rates in deg/s.

    Attributes:
        shot: its name.
        metadata: of the take.
        rate: frames a second.
        columns: of the take on those frames, `READ` by name, as written, (n,).
        frames: (n,).
        times_s: from the first cut frame, (n,).
        rail: along the middle of the rail from above, (m, 2) [m]; m is 1 on sticks.
        camera: the lens without its shake, (n, 3) [m].
        pan_rad: of the camera without its shake, (n,).
        tilt_rad: of the camera without its shake, (n,).
        bodies: of every subject, in metres, `floor` and `eyes` (n, 3); a facing that
            no sample tells is the way it goes, NaN where it never went anywhere.
        followed: name of the followed subject at each frame, (n,).
        floor: where it stands, (n, 3) [m].
        eyes: of it, (n, 3) [m].
        bearing_speed: of its eyes seen from the camera, (n,).
        place: in the frame of the point that is aimed at, (n, 2), -1 to 1, right and
            up.
        asked: where it was asked for, (n, 2).
        anew: another subject or another part of the body is followed from here on.
        marks: rows that are marked in all drawings.
    """

    shot: str
    metadata: TakeMetadata
    rate: Fraction
    columns: dict[str, NDArray[Any]]
    frames: IntArray
    times_s: FloatArray
    rail: FloatArray
    camera: FloatArray
    pan_rad: FloatArray
    tilt_rad: FloatArray
    bodies: tuple[Body, ...]
    followed: tuple[str, ...]
    floor: FloatArray
    eyes: FloatArray
    bearing_speed: FloatArray
    place: FloatArray
    asked: FloatArray
    anew: BoolArray
    marks: tuple[int, ...]

    @property
    def aspect(self) -> float:
        """Width over height of the frame."""
        gate = self.metadata.gate
        return gate.tan_u / gate.tan_v

    @property
    def half_view_rad(self) -> float:
        """Half the horizontal angle of view."""
        return float(np.arctan(self.metadata.gate.tan_u))

    @property
    def lag_s(self) -> float | None:
        """From a change of the subject's motion to the pan's answer."""
        return self.metadata.measure("onset_lag_s")

    def column(self, name: str) -> FloatArray:
        """Return a column of the take on the cut frames, (n,)."""
        values: FloatArray = self.columns[name].astype(np.float64)
        return values

    def flags(self, name: str) -> BoolArray:
        """Return a column of truths, (n,)."""
        values: BoolArray = self.columns[name]
        return values


def shown_of(table: pa.Table, *, n_marks: int = N_MARKS) -> Shown:
    """Return what is drawn of a take.

    Args:
        table: as `takes.read_take` gives it.
        n_marks: frames to mark, >= 2.
    """
    metadata = take_metadata(table)
    world = metadata.world
    every = slice(None, None, metadata.asked.samples_per_frame)
    columns = {name: table[name].to_numpy()[every] for name in READ}
    names = _texts(table["subject"])[every]
    cut = _run(~columns["handle"])
    camera = on_plan(world.inside(np.array([columns[name] for name in "xyz"]).T))
    times_s = columns["time_s"]
    bodies = [
        replace(
            body,
            floor=on_plan(world.inside(body.floor[every])),
            eyes=on_plan(world.inside(body.eyes[every])),
            facing_deg=body.facing_deg[every],
        )
        for body in read_bodies(table)
    ]
    floor, eyes = np.empty_like(camera), np.empty_like(camera)
    for body in bodies:
        now = names == body.name
        floor[now], eyes[now] = body.floor[now], body.eyes[now]
    return Shown(
        shot=table["shot"][0].as_py(),
        metadata=metadata,
        rate=metadata.rate,
        columns={name: values[cut] for name, values in columns.items()},
        frames=columns["frame"].astype(np.int64)[cut],
        times_s=times_s[cut] - times_s[cut][0],
        rail=rail_points(metadata.rail),
        camera=camera[cut],
        pan_rad=np.radians(columns["pan_deg"][cut]),
        tilt_rad=np.radians(columns["tilt_deg"][cut]),
        bodies=tuple(
            replace(
                body,
                floor=body.floor[cut],
                eyes=body.eyes[cut],
                facing_deg=_facing(body, times_s)[cut],
            )
            for body in bodies
        ),
        followed=tuple(names[cut].tolist()),
        floor=floor[cut],
        eyes=eyes[cut],
        bearing_speed=_bearing_speed(eyes - camera, times_s, names)[cut],
        place=np.array([columns["subject_u"], columns["subject_v"]]).T[cut],
        asked=np.array([columns["aim_u"], columns["aim_v"]]).T[cut],
        anew=_anew(names, columns["subject_size"])[cut],
        marks=marked_rows(camera[cut, :2], floor[cut, :2], n_marks),
    )


def _facing(body: Body, times_s: FloatArray) -> FloatArray:
    """Return where a body faces, (n,) [deg]; else where it goes, else where it went."""
    unknown = np.isnan(body.facing_deg)
    if not unknown.any() or len(times_s) < 2:
        return body.facing_deg
    along = np.gradient(body.floor[:, :2], times_s, axis=0)
    goes = np.flatnonzero(np.hypot(*along.T) > _WALKS_M_S)
    if not len(goes):
        return body.facing_deg
    ways = np.degrees(np.arctan2(-along[goes, 0], along[goes, 1]))
    last = np.maximum(goes.searchsorted(np.arange(len(unknown)), side="right") - 1, 0)
    return np.where(unknown, ways[last], body.facing_deg)


def _run(cut: BoolArray) -> slice:
    """Return the rows of the cut, which are one run."""
    rows = np.flatnonzero(cut)
    return slice(int(rows[0]), int(rows[-1]) + 1)


def rail_points(rig: Rig) -> FloatArray:
    """Return points along a rail from above, (m, 2) [m] in the axes of a plan."""
    return on_plan(rig.places(rig.drawn_s))[:, :2]


def on_plan(points: FloatArray) -> FloatArray:
    """Return points (n, 3) [m], Y up, in the axes of a plan."""
    return scene_from_inside(points, "z")


def marked_rows(
    camera: FloatArray, subject: FloatArray, n_marks: int
) -> tuple[int, ...]:
    """Return rows, the first and last among them, with equal ways between them.

    The ways of the camera and of the subject are shares of their wholes. That of the
    camera counts twice, for it is the shorter one and its symbols are larger.
    """
    steps = np.zeros(len(camera) - 1)
    for points, weight in ((camera, 2.0), (subject, 1.0)):
        own = np.hypot(*np.diff(points, axis=0).T)
        if own.any():
            steps += weight * own / own.sum()
    way = np.concatenate([[0.0], np.cumsum(steps)])
    rows = np.searchsorted(way, np.linspace(0.0, way[-1], n_marks) - 1e-9)
    rows[0] = 0
    return tuple(dict.fromkeys(int(row) for row in rows))


def _texts(column: pa.ChunkedArray) -> NDArray[np.str_]:
    """Return a column of texts, (n,)."""
    whole = column.combine_chunks()
    words = np.array(whole.dictionary.to_pylist(), dtype=np.str_)
    texts: NDArray[np.str_] = words[whole.indices.to_numpy()]
    return texts


def _bearing_speed(
    toward: FloatArray, times_s: FloatArray, names: NDArray[np.str_]
) -> FloatArray:
    """Return the speed of the bearing of vectors (n, 3), (n,) [deg/s].

    It is NaN on both sides of a change of name.
    """
    if len(times_s) < 2:
        return np.full(len(times_s), np.nan)
    bearing = np.unwrap(np.arctan2(-toward[:, 0], toward[:, 1]))
    speed = np.degrees(np.gradient(bearing, times_s))
    changes = names[1:] != names[:-1]
    return np.where(
        np.append(changes, False) | np.append(False, changes), np.nan, speed
    )


def _anew(names: NDArray[np.str_], size: FloatArray) -> BoolArray:
    """Return rows at which what is followed changes at once."""
    anew = np.zeros(len(names), dtype=np.bool_)
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.abs(np.diff(np.log(size)))
    anew[1:] = (names[1:] != names[:-1]) | (steps > _SIZE_STEP)
    return anew
