"""Reads a job file, TOML by hand or JSON by machine."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import InputError
from .crew_files import read_crew_files
from .intents import with_intents_file
from .parse import parse_job
from .plain_file import read_plain, tables_of
from .spec import JobFile

MAX_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadedJob:
    """A checked job, and the folder in which its subjects' files are found."""

    job: JobFile
    folder: Path


def load_job(path: Path) -> JobFile:
    """Read and check a job file, and the files of crews and intents that it names.

    Args:
        path: ends in `.toml` or `.json`, UTF-8, at most 64 MiB.

    Raises:
        InputError: the file is missing, unreadable, empty, too large, not UTF-8 or
            of another kind.
        JobError: its syntax or its content is wrong; syntax errors name the line
            and column, all others the path of the field.
    """
    tables = with_intents_file(read_tables(path), path.parent)
    return parse_job(tables, read_crew_files(tables, path.parent))


def read_tables(path: Path) -> dict[str, Any]:
    """Return the plain tables of a job file, unchecked.

    Raises:
        InputError: as `load_job`.
        JobError: the syntax is wrong.
    """
    suffix, label = path.suffix, str(path)
    if suffix.lower() not in (".toml", ".json"):
        message = f'must end in ".toml" or ".json", got "{suffix}"'
        raise InputError(label, message)
    raw = read_plain(path, most_bytes=MAX_BYTES)
    return tables_of(raw, suffix=suffix, label=label, most_bytes=MAX_BYTES)


def tables_of_json(raw: bytes, *, label: str) -> dict[str, Any]:
    """Return the plain tables of a job that comes as JSON, unchecked.

    Args:
        raw: UTF-8, at most 64 MiB.
        label: what faults call it, in place of the name of a file.

    Raises:
        InputError: it is empty, too large or not UTF-8.
        JobError: the syntax is wrong.
    """
    return tables_of(raw, suffix=".json", label=label, most_bytes=MAX_BYTES)
