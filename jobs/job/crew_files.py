"""Crews in files of their own: read once with the job; the numbers of the job win."""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ..errors import InputError, JobError
from .crew import CREW_SUFFIX, ChannelSpec, CrewFileSpec, CrewSpec
from .faults import schema_findings
from .locations import Finding, path_text, shown
from .plain_file import read_plain, tables_of
from .shot import ShotSpec

MAX_BYTES = 1024 * 1024


@dataclass(frozen=True, kw_only=True, slots=True)
class CrewFile:
    """A crew's file as it was read.

    Attributes:
        spec: its crew, None where it is refused.
        sha256: of its bytes.
        faults: sentences, each led by the file's name.
    """

    spec: CrewFileSpec | None = None
    sha256: str = ""
    faults: tuple[str, ...] = ()


def read_crew_files(data: Mapping[str, Any], folder: Path) -> dict[str, CrewFile]:
    """Read every crew's file that the unchecked tables of a job name.

    Args:
        data: tables of a job, whatever they hold.
        folder: where the job file lies.

    Returns:
        A file for each name, as it is written in the job; refused ones say why.
    """
    return {name: _read(name, folder / name) for name in _named(data)}


def with_crew_file(
    shot: ShotSpec, files: Mapping[str, CrewFile]
) -> tuple[ShotSpec, list[Finding]]:
    """Return a shot with its crew's file under its own numbers, and the faults.

    A shot that carries what the file holds, or that names none, is returned as it is.
    """
    crew = shot.crew
    if not crew.is_from_file or crew.file is not None:
        return shot, []
    place = ("crew", "preset")
    found = files.get(crew.preset)
    if found is None:
        message = f"{shown(crew.preset)} is read only with a job that is a file itself"
        return shot, [(place, message)]
    if found.spec is None:
        return shot, [(place, message) for message in found.faults]
    changes: dict[str, Any] = {"crew": _laid_over(found.spec, found.sha256, crew)}
    if found.spec.shake is not None and "shake" not in shot.model_fields_set:
        changes["shake"] = found.spec.shake
    return shot.model_copy(update=changes), []


def _named(data: Mapping[str, Any]) -> dict[str, None]:
    """Return the names of crews' files in the order in which they stand."""
    scenes, shots = data.get("scenes"), data.get("shots")
    tables = [
        data,
        data.get("defaults"),
        *(scenes.values() if isinstance(scenes, dict) else ()),
        *(shots if isinstance(shots, list | tuple) else ()),
    ]
    return dict.fromkeys(name for table in tables for name in _preset_of(table))


def _preset_of(table: Any) -> Iterator[str]:
    crew = table.get("crew") if isinstance(table, dict) else None
    preset = crew.get("preset") if isinstance(crew, dict) else None
    if isinstance(preset, str) and preset.lower().endswith(CREW_SUFFIX):
        yield preset


def _read(name: str, path: Path) -> CrewFile:
    try:
        raw = read_plain(path, most_bytes=MAX_BYTES)
        tables = tables_of(raw, suffix=CREW_SUFFIX, label=name, most_bytes=MAX_BYTES)
    except InputError as error:
        return CrewFile(faults=(f"{shown(name)} {error.fault.message}",))
    except JobError as error:
        messages = (fault.message for fault in error.faults)
        return CrewFile(faults=tuple(f"{shown(name)}: {text}" for text in messages))
    try:
        spec = CrewFileSpec.model_validate(tables)
    except ValidationError as error:
        found = schema_findings(error, CrewFileSpec)
        return CrewFile(
            faults=tuple(
                f"{shown(name)}: {path_text('', place)}: {message}"
                for place, message in found
            )
        )
    return CrewFile(spec=spec, sha256=hashlib.sha256(raw).hexdigest())


def _laid_over(file: CrewFileSpec, sha256: str, crew: CrewSpec) -> CrewSpec:
    """Return a crew whose own numbers stand over those of its file."""
    return crew.model_copy(
        update={
            "operator": _channel(file.operator, crew.operator),
            "grip": _channel(file.grip, crew.grip),
            "puller": _channel(file.puller, crew.puller),
            "file": file,
            "file_sha256": sha256,
        }
    )


def _channel(below: ChannelSpec, above: ChannelSpec) -> ChannelSpec:
    given = {
        name: getattr(above, name)
        for name in above.model_fields_set
        if getattr(above, name) is not None
    }
    return below.model_copy(update=given)
