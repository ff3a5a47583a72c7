"""Columns a subject's table may have, what a file calls them, and their types."""

from collections.abc import Iterator, Mapping

import pyarrow as pa

from ..errors import Fault

POSITION = ("x", "y", "z")
HEAD = ("head_x", "head_y", "head_z")
KNOWN = ("frame", "time_s", *POSITION, *HEAD, "facing_deg", "visible")

Titles = Mapping[str, str]
OUR_TITLES: Titles = {name: name for name in KNOWN}


def titles_of(columns: object) -> Titles:
    """Return what a file calls each known column, by our name."""
    return {name: getattr(columns, name) for name in KNOWN}


def wanted(names: list[str], titles: Titles) -> dict[str, str]:
    """Return the file's name of each column to read, by our name.

    Where there are frames, seconds are of no use and are left out.
    """
    known = {name: title for name, title in titles.items() if title in names}
    if "frame" in known:
        known.pop("time_s", None)
    return known


def missing_columns(names: list[str], titles: Titles) -> Iterator[str]:
    """Yield a rule for each column that is missing or there twice."""
    if titles["frame"] not in names and titles["time_s"] not in names:
        clocks = f"'{titles['frame']}' or '{titles['time_s']}'"
        yield f"has no column {clocks}{_listed(names)}"
    head = any(titles[name] in names for name in HEAD)
    for name in (*POSITION, *HEAD) if head else POSITION:
        if titles[name] not in names:
            yield f"has no column '{titles[name]}'{_listed(names)}"
    for title in titles.values():
        if names.count(title) > 1:
            yield f"has the column '{title}' {names.count(title)} times"


def wrong_types(schema: pa.Schema, titles: Titles) -> Iterator[str]:
    """Yield a rule for each column to be read whose type cannot be used."""
    for name, title in wanted(schema.names, titles).items():
        kind = schema.field(title).type
        whole = pa.types.is_integer(kind)
        if name == "frame":
            rule, good = "must be whole numbers (others: 'time_s')", whole
        elif name == "visible":
            rule, good = "must be true or false", whole or pa.types.is_boolean(kind)
        else:
            rule, good = "must be numbers", whole or pa.types.is_floating(kind)
        if not good:
            held = "empty" if pa.types.is_null(kind) else f"of type {kind}"
            yield f"column '{title}' is {held}, {rule}"


def faults_of(rules: Iterator[str], *, path: str, label: str) -> list[Fault]:
    """Return the rules as faults of a table."""
    return [Fault(path=path, message=f"{label} {rule}") for rule in rules]


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f", only {shown}" if names else ""
