"""What a page was made from, told in its second line, so that it need not be made anew.

The line is a comment: a digest of all that the page shows and of the program that
shows it, the length of what follows, and what the index keeps of the shot. A page
whose digest and length are as they would be is left alone.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

from ..places.place import Place, start_of
from .rows import SequenceRow
from .shot_page import End, IndexedTake

_FORM = "carrellata.page/1"
_FIRST = b"<!doctype html>"
_ROOMS = ("jobs", "solver")
_SHOWN = (".py", ".html", ".css", ".js")
_MOST_BYTES = 100_000  # of a record; a longer second line is none


def page_key(
    row: SequenceRow,
    *,
    take_bytes: int | None,
    before: str | None,
    after: str | None,
    changes: Sequence[str],
    people: Sequence[str],
) -> str:
    """Return a digest of all that the page of a shot is made from.

    Args:
        row: of the shot; whether its take was solved or kept tonight is not shown.
        take_bytes: size of its current take, which the row names; None: it has none.
        before: name of the shot before; None at the start.
        after: name of the shot after; None at the end.
        changes: what is another since the last solve.
        people: names of all subjects of the sequence.
    """
    shown = {name: value for name, value in row.plain.items() if name != "status"}
    parts = [
        shown,
        row.failed,
        row.locked,
        take_bytes,
        before,
        after,
        list(changes),
        list(people),
        _program(),
    ]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def recorded(page: str, key: str, kept: IndexedTake | None) -> bytes:
    """Return the bytes of a page with its record."""
    first, rest = page.encode().split(b"\n", 1)
    known = None if kept is None else asdict(kept)
    said = json.dumps([_FORM, key, len(rest), known])
    # Two dashes would end the comment; they stand in texts only.
    said = said.replace("--", "-\\u002d").replace(">", "\\u003e")
    return b"%s\n<!--%s-->\n%s" % (first, said.encode(), rest)


def kept_of(path: Place, key: Callable[[], str]) -> IndexedTake | None:
    """Return what the index keeps of a page's shot, None unless it has its key whole.

    A page without a take keeps nothing, and is made anew each time.

    Args:
        path: of the page.
        key: gives the key that it would be written with; asked only where there is a
            page, since in a first night it would take longer than all else here.
    """
    found = start_of(path, _MOST_BYTES)
    if found is None:
        return None
    first, second, *_ = (*found[0].split(b"\n", 2), b"", b"")
    length = found[1] - len(first) - len(second) - 2
    if first != _FIRST or not second.startswith(b"<!--["):
        return None
    try:
        form, known, rest, kept = json.loads(second[4:].removesuffix(b"-->"))
    except ValueError:
        return None
    if (form, known, rest) != (_FORM, key(), length) or kept is None:
        return None
    return _kept(kept)


def _kept(plain: dict[str, Any]) -> IndexedTake:
    start, end = (End(**one) for one in plain["ends"])
    lists = {name: tuple(plain[name]) for name in ("frames", "moments")}
    return IndexedTake(**{**plain, **lists, "ends": (start, end)})


@cache
def _program() -> str:
    """Return a digest of the sources that pages are made by."""
    package = Path(__file__).parents[2]
    digest = hashlib.sha256()
    for room in _ROOMS:
        for path in sorted((package / room).rglob("*")):
            if path.suffix in _SHOWN:
                digest.update(path.relative_to(package).as_posix().encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()
