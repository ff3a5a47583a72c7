"""Looks at jobs, lenses, takes and cameras without solving anything."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

import pyarrow as pa

from ..commands.lens_options import DEFAULT_BACK, DEFAULT_KIT, within_body
from ..commands.lens_table import lens_table
from ..errors import Fault, JobError
from ..job.camera import CameraSpec
from ..job.spec import JobFile
from ..places.place import place_of
from ..run.check import check_loaded
from ..run.understood import ShotUnderstood
from ..takes.take_file import read_take as read_take_file
from .given import JobLike, read_given
from .job_tables import CameraTable
from .results import TakeResult


@dataclass(frozen=True, kw_only=True, slots=True)
class CheckReport:
    """What a job was understood to say, and what is wrong with it.

    Attributes:
        sequence: its name; None where the job is refused.
        faults: all that is wrong, each with its path in the job.
        notes: what is worth knowing: numbers that suggest a wrong unit, axis or rate.
        shots: what was understood of those that have no fault.
    """

    sequence: str | None
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    shots: tuple[ShotUnderstood, ...]

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults

    def _repr_html_(self) -> str:
        lines = [*map(str, self.faults), *self.notes]
        listed = "".join(f"<li>{escape(line)}</li>" for line in lines)
        rows = "".join(
            f"<tr><td>{escape(one.shot)}</td><td>{escape(one.size)}</td>"
            f"<td>{escape(one.lens)}</td><td>{escape(one.rig)}</td></tr>"
            for one in self.shots
        )
        return f"<ul>{listed}</ul><table>{rows}</table>"


def check(job: JobLike) -> CheckReport:
    """Read a job and all its data and say what is wrong; nothing is solved.

    Args:
        job: path of a job file, or its tables.

    Raises:
        InputError: the job file cannot be read.

    Example:
        >>> import carrellata
        >>> report = carrellata.check({"schema": "carrellata.job/1", "rate": "23.976"})
        >>> report.ok
        False
        >>> "rate" in [fault.path for fault in report.faults]
        True
    """
    try:
        loaded = read_given(job)
    except JobError as error:
        return CheckReport(sequence=None, faults=error.faults, notes=(), shots=())
    found = check_loaded(loaded)
    job_file: JobFile = found.job
    return CheckReport(
        sequence=job_file.sequence,
        faults=found.faults,
        notes=found.notes,
        shots=found.shots,
    )


def lenses(
    camera: CameraTable | Mapping[str, Any] | None = None,
    *,
    height_m: float = 1.7,
    headroom: float = 0.08,
) -> pa.Table:
    """Return what each lens of a kit shows, from where, and how sharp.

    Args:
        camera: a camera as a job has it; None for a common film back and kit.
        height_m: stature of the subject, 0.1 to 10 m.
        headroom: share of the frame height, 0 to 0.49.

    Returns:
        A row for each lens and size: `lens_mm`, `size`, `distance_m`, `dof_near_m`,
        `dof_far_m` (+inf from the hyperfocal distance on), `horizontal_deg`,
        `vertical_deg`, `hyperfocal_m`, `stop`, `closer_than_focus`.

    Raises:
        JobError: the camera is refused, or stature or headroom are out of range.

    Example:
        >>> import carrellata
        >>> table = carrellata.lenses({"film_back": "super35-4perf",
        ...                            "lens_kit_mm": [35, 50]})
        >>> sorted(set(table["lens_mm"].to_pylist()))
        [35.0, 50.0]
    """
    within_body(height_m, headroom)
    asked = {"film_back": DEFAULT_BACK, "lens_kit_mm": DEFAULT_KIT}
    spec = _camera(asked if camera is None else camera)
    rows = [
        {
            "lens_mm": row.mm,
            "size": stand.size,
            "distance_m": stand.distance_m,
            "dof_near_m": stand.near_m,
            "dof_far_m": stand.far_m,
            "horizontal_deg": row.horizontal_deg,
            "vertical_deg": row.vertical_deg,
            "hyperfocal_m": row.hyperfocal_m,
            "stop": row.stop,
            "closer_than_focus": stand.too_close,
        }
        for row in lens_table(spec, height_m=height_m, headroom=headroom)
        for stand in row.stands
    ]
    return pa.Table.from_pylist(rows)


def _camera(table: Mapping[str, Any]) -> CameraSpec:
    from pydantic import ValidationError

    from ..job.faults import schema_findings
    from ..job.locations import path_text

    try:
        return CameraSpec.model_validate(table)
    except ValidationError as error:
        found = schema_findings(error, CameraSpec)
        faults = tuple(
            Fault(path=path_text("camera", place), message=words)
            for place, words in found
        )
        raise JobError(faults) from error


def read_take(path: str | os.PathLike[str]) -> TakeResult:
    """Read a take that was written, with every page checked against its checksum.

    Args:
        path: of its Parquet file; `s3://` or `gs://` too.

    Raises:
        InputError: the file is missing, damaged, or no take of this version.
    """
    return TakeResult(table=read_take_file(place_of(os.fspath(path), "path")))


def study(
    study: str | os.PathLike[str] | Mapping[str, Any], *, fit: bool = False
) -> list[dict[str, Any]]:
    """Measure cameras made elsewhere against their subjects, in this process.

    Args:
        study: path of a study file, or its tables; see `jobs/study/README.md`.
        fit: look for a crew that explains each camera, some ten seconds a camera.

    Returns:
        A dict a camera: its name, its numbers with units in their names, `findings`
        and `faults`.

    Raises:
        InputError: the file cannot be read.
        JobError: the study is refused; it has every fault.
    """
    from ..study.report import plain
    from ..study.run import study_all
    from ..study.spec import load_study, parse_study

    if isinstance(study, Mapping):
        file, folder = parse_study(dict(study)), Path()
    else:
        file, folder = load_study(Path(study)), Path(study).parent
    cameras: list[dict[str, Any]] = plain(
        file, study_all(file, folder, fit=fit, workers=1)
    )["cameras"]
    return cameras
