"""Plain files of tables, TOML or JSON: read whole, up to a limit of bytes."""

import json
import re
import stat
import tomllib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..errors import Fault, InputError, JobError

_TOML_PLACE = re.compile(r"(.*) \(at (.*)\)", re.DOTALL)


def tables_of(
    raw: bytes, *, suffix: str, label: str, most_bytes: int
) -> dict[str, Any]:
    """Return the tables that the bytes of a file hold, unchecked.

    Args:
        raw: UTF-8.
        suffix: `.toml` or `.json`, in any case of letters.
        label: what faults call it.
        most_bytes: that are taken.

    Raises:
        InputError: empty, too large or not UTF-8.
        JobError: the syntax is wrong.
    """
    text = _text(raw, label, most_bytes)
    try:
        tables = _READERS[suffix.lower()](text)
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


def read_plain(path: Path, *, most_bytes: int) -> bytes:
    """Return the bytes of a plain file, at most one more than is allowed.

    Raises:
        InputError: it is missing, cannot be read, or is not a plain file.
    """
    try:
        about = path.stat()
        mode = about.st_mode
        if stat.S_ISREG(mode):
            with path.open("rb") as file:
                return file.read(min(about.st_size, most_bytes) + 1)
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


def _text(raw: bytes, label: str, most_bytes: int) -> str:
    if len(raw) > most_bytes:
        raise InputError(label, f"is larger than {most_bytes // 1024**2} MiB")
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
