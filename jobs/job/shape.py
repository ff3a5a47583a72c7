"""Whether data that was read consists of tables that can be traversed."""

import re
from collections.abc import Iterator
from typing import Any

from ..errors import Fault
from .locations import shown

MAX_DEPTH = 32
"""Tables and lists inside each other; a job has eight at most."""

_PLAIN = frozenset({int, float, bool, str, type(None)})
_SURROGATE = re.compile("[\ud800-\udfff]")


def shape_faults(data: object) -> Iterator[Fault]:
    """Yield what keeps the tables from being traversed."""
    if not isinstance(data, dict):
        yield Fault(path="", message=f"a job must be a table, got {shown(data)}")
        return
    level: list[Any] = [data]
    for _ in range(MAX_DEPTH):
        names = (name for table in level if isinstance(table, dict) for name in table)
        unreadable = [name for name in names if not _is_written(name)]
        if unreadable:
            message = f"field names must be text, got {shown(unreadable[0])}"
            yield Fault(path="", message=message)
            return
        level = [inner for outer in level for inner in _inside(outer)]
        if not level:
            return
    yield Fault(path="", message=f"tables and lists are nested over {MAX_DEPTH} deep")


def _is_written(name: object) -> bool:
    """Return whether a field name is text without lone surrogates."""
    return isinstance(name, str) and not _SURROGATE.search(name)


def _inside(outer: Any) -> list[Any]:
    values = outer.values() if isinstance(outer, dict) else outer
    if _PLAIN.issuperset(map(type, values)):  # samples, mostly, and many
        return []
    return [value for value in values if isinstance(value, dict | list | tuple)]
