"""The study file: cameras that were made elsewhere, and their subjects."""

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from ..errors import Fault, JobError
from ..job.camera import CameraSpec
from ..job.crew import PresetName
from ..job.faults import schema_findings
from ..job.framing import SizeName
from ..job.locations import path_text
from ..job.plain_file import read_plain, tables_of
from ..job.quantities import Name, Rate, Spec, Truth
from ..job.subject import Column, FileName, SubjectSpec
from ..job.world import WorldSpec

STUDY_SCHEMA = "carrellata.study/1"
MAX_CAMERAS = 20_000
MAX_BYTES = 64 * 1024 * 1024


class CameraColumnsSpec(Spec):
    """What the columns of a camera's table are called."""

    frame: Column = "frame"
    time_s: Column = "time_s"
    x: Column = "x"
    y: Column = "y"
    z: Column = "z"
    pan_deg: Column = "pan_deg"
    tilt_deg: Column = "tilt_deg"
    roll_deg: Column = "roll_deg"
    qx: Column = "qx"
    qy: Column = "qy"
    qz: Column = "qz"
    qw: Column = "qw"
    focal_mm: Column = "focal_mm"


class StudiedSpec(Spec):
    """One camera and its subject."""

    name: Name
    file: FileName
    """Our take, a table (Parquet, Arrow, CSV), or an OpenUSD scene."""
    prim: Column | None = None
    """OpenUSD: path of the camera."""
    scene: Name = "main"
    """Continuity in space is judged inside a scene."""
    cut: Literal["continuous", "elapsed"] = "continuous"
    """Whether time runs on over the cut from the camera before."""
    subject: SubjectSpec
    lens_mm: Annotated[float, Field(gt=0, le=10_000, strict=True)] | None = None
    """Of a table without focal_mm."""
    size: SizeName | None = None
    """Where it is known; left out: the nearest."""
    columns: CameraColumnsSpec = CameraColumnsSpec()


class StudyFile(Spec):
    """A checked study."""

    schema_: Annotated[Literal["carrellata.study/1"], Field(alias="schema")]
    sequence: Name
    rate: Rate
    world: WorldSpec
    camera: CameraSpec
    any_lens: Truth = False
    """Lenses outside the kit are not a finding."""
    limits: PresetName = "sharp"
    """Crew whose limits speed, acceleration and jerk are held against."""
    cameras: Annotated[
        tuple[StudiedSpec, ...], Field(min_length=1, max_length=MAX_CAMERAS)
    ]


def parse_study(data: dict[str, Any]) -> StudyFile:
    """Return the checked study that plain tables describe.

    Raises:
        JobError: anything is wrong; it names every fault.
    """
    try:
        found = StudyFile.model_validate(data)
    except ValidationError as error:
        faults = tuple(
            Fault(path=path_text("", place), message=message)
            for place, message in schema_findings(error, StudyFile)
        )
        raise JobError(faults) from error
    faults = tuple(_twice(found))
    if faults:
        raise JobError(faults)
    return found


def load_study(path: Path) -> StudyFile:
    """Read and check a study file, TOML or JSON.

    Raises:
        InputError: the file cannot be read.
        JobError: its syntax or its content is wrong.
    """
    raw = read_plain(path, most_bytes=MAX_BYTES)
    tables = tables_of(raw, suffix=path.suffix, label=str(path), most_bytes=MAX_BYTES)
    return parse_study(tables)


def _twice(study: StudyFile) -> list[Fault]:
    seen: dict[str, int] = {}
    faults = []
    for k, one in enumerate(study.cameras):
        first = seen.setdefault(one.name.lower(), k)
        if first != k:
            message = f'"{one.name}" is already the name of cameras[{first}]'
            faults.append(Fault(path=f"cameras[{k}].name", message=message))
    return faults
