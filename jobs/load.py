"""Reads a job file, TOML by hand or JSON by machine."""

import json
import re
import stat
import tomllib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from .errors import Fault, InputError, JobError
from .parse import parse_job
from .spec import JobFile

MAX_BYTES = 64 * 1024 * 1024

_TOML_PLACE = re.compile(r"(.*) \(at (.*)\)", re.DOTALL)


def load_job(path: Path) -> JobFile:
    """Read and check a job file.

    Args:
        path: ends in `.toml` or `.json`, UTF-8, at most 64 MiB.

    Raises:
        InputError: the file is missing, unreadable, empty, too large, not UTF-8 or
            of another kind.
        JobError: its syntax or its content is wrong; syntax errors name the line
            and column, all others the path of the field.
    """
    return parse_job(read_tables(path))


def read_tables(path: Path) -> dict[str, Any]:
    """Return the plain tables of a job file, unchecked.

    Raises:
        InputError: as `load_job`.
        JobError: the syntax is wrong.
    """
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        message = f'must end in ".toml" or ".json", got "{path.suffix}"'
        raise InputError(str(path), message)
    return _tables(_raw(path), reader, label=str(path))


def tables_of_json(raw: bytes, *, label: str) -> dict[str, Any]:
    """Return the plain tables of a job that comes as JSON, unchecked.

    Args:
        raw: UTF-8, at most 64 MiB.
        label: what faults call it, in place of the name of a file.

    Raises:
        InputError: it is empty, too large or not UTF-8.
        JobError: the syntax is wrong.
    """
    return _tables(raw, _json, label=label)


def _tables(raw: bytes, reader: Callable[[str], Any], *, label: str) -> dict[str, Any]:
    text = _text(raw, label)
    try:
        tables = reader(text)
    except RecursionError as error:
        fault = Fault(path=label, message="tables and lists are nested too deep")
        raise JobError((fault,)) from error
    except ValueError as error:
        fault = Fault(path=label, message=_syntax_message(error))
        raise JobError((fault,)) from error
    if not isinstance(tables, dict):
        fault = Fault(path=label, message="a job must be a table at the top")
        raise JobError((fault,))
    return tables


def _raw(path: Path) -> bytes:
    """Return the bytes of a plain file, one more than allowed at most."""
    try:
        mode = path.stat().st_mode
        if stat.S_ISREG(mode):
            with path.open("rb") as file:
                return file.read(MAX_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError(str(path), "no such file") from error
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise InputError(str(path), f"cannot be read: {reason}") from error
    except ValueError as error:
        # A zero character in the name.
        raise InputError(str(path), "no such file") from error
    kind = "a folder" if stat.S_ISDIR(mode) else "not a plain file"
    raise InputError(str(path), f"is {kind}")


def _text(raw: bytes, label: str) -> str:
    if len(raw) > MAX_BYTES:
        raise InputError(label, f"is larger than {MAX_BYTES // 1024**2} MiB")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(label, f"is not UTF-8, line {line}") from error
    if not text.strip():
        raise InputError(label, "is empty")
    return text


def _json(text: str) -> Any:
    return json.loads(text, object_pairs_hook=_table)


def _table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table = dict(pairs)
    if len(table) < len(pairs):
        counts = Counter(name for name, _ in pairs)
        twice, _ = counts.most_common(1)[0]
        message = f"the field {twice!a} is given twice in one table"
        raise ValueError(message)
    return table


def _syntax_message(error: ValueError) -> str:
    """Return where the syntax breaks and how."""
    if isinstance(error, json.JSONDecodeError):
        return f"line {error.lineno}, column {error.colno}: {_lower(error.msg)}"
    found = _TOML_PLACE.fullmatch(str(error))
    return f"{found[2]}: {_lower(found[1])}" if found else _lower(str(error))


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


_READERS: dict[str, Callable[[str], Any]] = {".toml": tomllib.loads, ".json": _json}
