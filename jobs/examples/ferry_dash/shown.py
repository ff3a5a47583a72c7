"""What the picture of a take shows, read from the take and its subjects' tables.

Metres on the ground plan of the scene, Z up: X to the right, Y up the page. Angles
count like pan: 0 along +Y, positive counter-clockwise seen from above.
"""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from ....solver.arrays import BoolArray, FloatArray, IntArray
from ...load import load_job
from ...takes import read_take, take_metadata

FOLDER = Path(__file__).parent
N_MARKS = 4
_SIZE_STEP = 0.15  # of the logarithm within a frame; only a cue changes it so


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """A take on the cut frames of its shot, n of them; rates in deg/s.

    Attributes:
        shot: its name.
        facts: lens, rig and crew in a few words.
        aspect: width over height of the frame.
        half_view_rad: half the horizontal angle of view.
        frames: (n,).
        times_s: from the first cut frame, (n,).
        rail: along the middle of the rail, (m, 2) [m]; m is 1 on sticks.
        camera: the lens without its shake, (n, 2) [m].
        pan_rad: of the camera without its shake, (n,).
        subjects: of each subject that is followed, its path, (n, 2) [m].
        followed: name of the subject at each frame, (n,).
        bearing_speed: of the followed subject seen from the camera, (n,).
        pan_speed: (n,).
        dolly_speed: along the rail, (n,) [m/s].
        place: of the followed point in the frame, (n, 2), -1 to 1, right and up.
        asked: where it was asked for, (n, 2).
        anew: another subject or another part of the body is followed from here on.
        pan_decided: a pan decision falls on the frame, (n,).
        dolly_decided: likewise, (n,).
        marks: rows that are marked in all parts of the picture.
        lag_s: of the pan behind the subject.
    """

    shot: str
    facts: str
    aspect: float
    half_view_rad: float
    frames: IntArray
    times_s: FloatArray
    rail: FloatArray
    camera: FloatArray
    pan_rad: FloatArray
    subjects: dict[str, FloatArray]
    followed: tuple[str, ...]
    bearing_speed: FloatArray
    pan_speed: FloatArray
    dolly_speed: FloatArray
    place: FloatArray
    asked: FloatArray
    anew: BoolArray
    pan_decided: BoolArray
    dolly_decided: BoolArray
    marks: tuple[int, ...]
    lag_s: float | None

    @property
    def followed_path(self) -> FloatArray:
        """Where the followed subject is, (n, 2) [m]."""
        return np.array(
            [self.subjects[name][k] for k, name in enumerate(self.followed)]
        )


def read_shown(take_path: Path, *, n_marks: int = N_MARKS) -> Shown:
    """Read a take of the example job and the subjects that it follows.

    Args:
        take_path: the Parquet file of the take.
        n_marks: frames to mark, >= 2.

    Raises:
        InputError: the take is missing, damaged, or no take.
    """
    table = read_take(take_path)
    metadata = take_metadata(table)
    table = table.filter(pa.array(table["sub"].to_numpy() == 0))
    shot = table["shot"][0].as_py()
    job = load_job(FOLDER / "job.toml")
    spec = next(spec for spec in job.shots if spec.name == shot)
    unit_m = job.world.metres_per_unit
    focal_mm = table["focal_mm"][0].as_py()

    frames, times_s = _column(table, "frame").astype(np.int64), _column(table, "time_s")
    camera = _columns(table, "x", "y") * unit_m
    names = table["subject"].to_pylist()
    followed_names = np.array(names)
    subjects = {
        subject.name: _path(FOLDER / str(subject.file), frames) * unit_m
        for subject in spec.subjects
        if subject.name in names
    }
    speeds = {
        name: _bearing_speed(points - camera, times_s)
        for name, points in subjects.items()
    }
    cut = ~table["handle"].to_numpy()
    followed = np.array([subjects[name][k] for k, name in enumerate(names)])
    rig = metadata["setup"]["rig"]
    rate = float(Fraction(metadata["rate"]))
    return Shown(
        shot=shot,
        facts=f"{focal_mm:g} mm, {_RIGS[rig['kind']]}, crew \u201c"
        f"{metadata['crew']['preset']}\u201d, {rate:.3f} frames/s",
        aspect=spec.camera.gate.aspect,
        half_view_rad=float(np.arctan(spec.camera.gate.half_tangents(focal_mm)[0])),
        frames=frames[cut],
        times_s=times_s[cut] - times_s[cut][0],
        rail=rail_points(rig) * unit_m,
        camera=camera[cut],
        pan_rad=np.radians(_column(table, "pan_deg")[cut]),
        subjects={name: points[cut] for name, points in subjects.items()},
        followed=tuple(followed_names[cut].tolist()),
        bearing_speed=np.array([speeds[name][k] for k, name in enumerate(names)])[cut],
        pan_speed=_column(table, "pan_speed")[cut],
        dolly_speed=_column(table, "rail_speed")[cut],
        place=_columns(table, "subject_u", "subject_v")[cut],
        asked=_columns(table, "aim_u", "aim_v")[cut],
        anew=_anew(followed_names, _column(table, "subject_size"))[cut],
        pan_decided=table["decided_pan"].to_numpy()[cut],
        dolly_decided=table["decided_dolly"].to_numpy()[cut],
        marks=marked_rows(camera[cut], followed[cut], n_marks),
        lag_s=metadata["measures"]["lag_s"],
    )


def rail_points(rig: dict[str, Any]) -> FloatArray:
    """Return points along a rig from above, (m, 2) in units of the scene."""
    if rig["kind"] == "sticks":
        return np.array([rig["at"][:2]], dtype=np.float64)
    if rig["kind"] == "track":
        return np.array([rig["from"][:2], rig["to"][:2]], dtype=np.float64)
    angles = np.radians(rig["start_deg"] + rig["sweep_deg"] * np.linspace(0.0, 1.0, 49))
    outward = np.column_stack([-np.sin(angles), np.cos(angles)])
    arc: FloatArray = np.array(rig["centre"][:2]) + rig["radius"] * outward
    return arc


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
    return tuple(int(row) for row in rows)


_RIGS = {"sticks": "on sticks", "track": "dolly on track", "arc": "dolly on an arc"}


def _column(table: pa.Table, name: str) -> FloatArray:
    values: FloatArray = table[name].to_numpy().astype(np.float64)
    return values


def _columns(table: pa.Table, *names: str) -> FloatArray:
    return np.column_stack([_column(table, name) for name in names])


def _path(file: Path, frames: IntArray) -> FloatArray:
    table = pq.read_table(file)
    rows = np.searchsorted(table["frame"].to_numpy(), frames)
    return _columns(table, "x", "y")[rows]


def _bearing_speed(toward: FloatArray, times_s: FloatArray) -> FloatArray:
    """Return the speed of the bearing of vectors (n, 2), (n,) [deg/s]."""
    bearing = np.unwrap(np.arctan2(-toward[:, 0], toward[:, 1]))
    speed: FloatArray = np.degrees(np.gradient(bearing, times_s))
    return speed


def _anew(names: NDArray[np.str_], size: FloatArray) -> BoolArray:
    """Return rows at which what is followed changes at once."""
    anew = np.zeros(len(names), dtype=np.bool_)
    ratio = size[1:] / size[:-1]
    anew[1:] = (names[1:] != names[:-1]) | (np.abs(np.log(ratio)) > _SIZE_STEP)
    return anew
