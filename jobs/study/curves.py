"""A camera's curves from a file: our takes, plain tables, OpenUSD scenes.

Axes and units change here on the way in. What cannot be used is named by file, column
and row.
"""

from pathlib import Path, PurePath

import numpy as np
import pyarrow as pa

from ...solver.arrays import FloatArray
from ...solver.studies.camera import angles_of
from ..errors import Fault
from ..subjects.faults import refuse
from ..takes.metadata import METADATA_KEY, TakeMetadata, take_metadata
from .read_camera import ReadCamera, checked
from .spec import CameraColumnsSpec, StudiedSpec, StudyFile

TABLES = (".parquet", ".arrow", ".csv")
SCENES = (".usd", ".usda", ".usdc", ".usdz")
UNIT = 1e-3  # of a quaternion's length
_POSE = ("x", "y", "z")
_ANGLES = ("pan_deg", "tilt_deg", "roll_deg")
_TURN = ("qx", "qy", "qz", "qw")


def read_camera(
    spec: StudiedSpec, study: StudyFile, *, folder: Path, path: str
) -> ReadCamera:
    """Read a camera's curves and check them.

    Args:
        spec: the camera's entry.
        study: the file it stands in: rate, axes, units and gate.
        folder: where the study file lies.
        path: the entry, `cameras[2]`.

    Raises:
        SubjectError: the curves cannot be used; file, column and row are named.
    """
    field, label = f"{path}.file", f"'{spec.file}'"
    place = folder / spec.file
    suffix = PurePath(spec.file).suffix.lower()
    if suffix not in (*TABLES, *SCENES):
        refuse(field, f"{label} must end in one of {', '.join((*TABLES, *SCENES))}")
    if not place.is_file():
        refuse(field, f"{label} is not a file")
    if suffix in SCENES:
        from .usd_camera import read_usd_camera

        read = read_usd_camera(place, spec, study, field, label)
    else:
        table = _table(place, suffix, field, label)
        read = _of_table(table, spec, study, field, label)
    return read


def _table(place: Path, suffix: str, field: str, label: str) -> pa.Table:
    import pyarrow.csv
    import pyarrow.ipc
    import pyarrow.parquet as pq

    try:
        if suffix == ".parquet":
            return pq.ParquetFile(place).read(use_threads=False)
        if suffix == ".csv":
            return pyarrow.csv.read_csv(
                place, read_options=pyarrow.csv.ReadOptions(use_threads=False)
            )
        with pyarrow.ipc.open_file(place) as reader:
            return reader.read_all()
    except (pa.ArrowException, OSError, ValueError) as error:
        lines = str(error).strip().splitlines() or [""]
        refuse(field, f"{label} is not a readable table ({lines[0][:120]})")


def _of_table(
    table: pa.Table, spec: StudiedSpec, study: StudyFile, field: str, label: str
) -> ReadCamera:
    if table.num_rows == 0:
        refuse(field, f"{label} has no rows")
    metadata = table.schema.metadata or {}
    if METADATA_KEY in metadata:
        try:
            about = take_metadata(table)
        except ValueError as error:
            refuse(field, f"{label} {error}")
        return _of_take(table, about, field, label)
    return _of_plain(table, spec, study, field, label)


def _of_take(
    table: pa.Table, about: TakeMetadata, field: str, label: str
) -> ReadCamera:
    """Return the final camera of one of our takes, shake included."""
    world = about.world

    def values(name: str) -> FloatArray:
        return _numbers(table, name, field, label)

    per_frame = int(np.max(values("sub"))) + 1
    place = np.column_stack([values(f"cam_{name}") for name in _POSE])
    turns = np.column_stack([values(name) for name in _TURN])
    return checked(
        values("frame") + values("sub") / per_frame,
        world.inside(place),
        angles_of(world.inside_turns(turns)),
        values("focal_mm"),
        gate=about.gate,
        rate=about.rate,
        field=field,
        label=label,
    )


def _of_plain(
    table: pa.Table, spec: StudiedSpec, study: StudyFile, field: str, label: str
) -> ReadCamera:
    names, titles = set(table.column_names), spec.columns

    def has(*wanted: str) -> bool:
        return all(getattr(titles, name) in names for name in wanted)

    def values(name: str) -> FloatArray:
        return _numbers(table, getattr(titles, name), field, label)

    _refuse_missing(names, titles, spec, field, label)
    rate = study.rate
    if has("frame"):
        frames = values("frame")
    else:
        seconds = values("time_s")
        frames = seconds * float(rate)
    place = np.column_stack([values(name) for name in _POSE])
    world = study.world
    if has(*_TURN):
        turns = np.column_stack([values(name) for name in _TURN])
        lengths = np.linalg.norm(turns, axis=1)
        off = np.flatnonzero(~(np.abs(lengths - 1) < UNIT))
        if len(off):
            message = f"{label} quaternion in row {off[0] + 1} has length "
            refuse(field, f"{message}{lengths[off[0]]:.4g}, must be 1")
        angles = angles_of(world.inside_turns(turns / lengths[:, None]))
    else:
        roll = values("roll_deg") if has("roll_deg") else np.zeros(len(frames))
        angles = (
            np.radians(values("pan_deg")),
            np.radians(values("tilt_deg")),
            np.radians(roll),
        )
    focal = (
        values("focal_mm")
        if has("focal_mm")
        else np.full(len(frames), float(spec.lens_mm or 0.0))
    )
    return checked(
        frames,
        world.inside(place),
        angles,
        focal,
        gate=study.camera.gate,
        rate=rate,
        field=field,
        label=label,
    )


def _refuse_missing(
    names: set[str],
    titles: CameraColumnsSpec,
    spec: StudiedSpec,
    field: str,
    label: str,
) -> None:
    faults = []

    def title(name: str) -> str:
        return str(getattr(titles, name))

    if title("frame") not in names and title("time_s") not in names:
        faults.append(f"has no column '{title('frame')}' or '{title('time_s')}'")
    faults += [
        f"has no column '{title(name)}'" for name in _POSE if title(name) not in names
    ]
    turned = all(title(name) in names for name in _TURN)
    if not turned and not all(title(name) in names for name in _ANGLES[:2]):
        angles = ", ".join(f"'{title(name)}'" for name in _ANGLES[:2])
        turns = ", ".join(f"'{title(name)}'" for name in _TURN)
        faults.append(f"has neither {angles} nor {turns}")
    if title("focal_mm") not in names and spec.lens_mm is None:
        faults.append(f"has no column '{title('focal_mm')}', and no lens_mm is given")
    if faults:
        from ..subjects.faults import refuse_any

        refuse_any(Fault(path=field, message=f"{label} {one}") for one in faults)


def _numbers(table: pa.Table, name: str, field: str, label: str) -> FloatArray:
    if name not in table.column_names:
        refuse(field, f"{label} has no column '{name}'")
    kind = table.schema.field(name).type
    if not (pa.types.is_integer(kind) or pa.types.is_floating(kind)):
        refuse(field, f"{label} column '{name}' is of type {kind}, must be numbers")
    values: FloatArray = table[name].cast(pa.float64(), safe=False).to_numpy()
    return values
