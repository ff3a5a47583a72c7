"""Intents: bundles of what a shot may ask, under the names that a show gives them.

`[intents.NAME]` in the job, or `intents = "house_style.toml"`, a file beside it with a
table a name. A shot names one or several; an intent lies over the defaults and the
scene, the later over the earlier, and the shot's own fields over all. They are house
style: what research finds of their effect on an audience is weaker than the lore
(Baranowski & Hecht 2017).
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from ..errors import Fault
from .cascade import CascadeTable
from .locations import path_text, shown
from .plain_file import read_plain, tables_of

MAX_BYTES = 1024 * 1024
FIELDS = (
    "claims",
    "crew",
    "framing",
    "height",
    "lens_mm",
    "rig",
    "roll_deg",
    "shake",
    "side",
    "view",
)
"""What an intent may say."""


def with_intents_file(data: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Return the tables of a job with its file of intents read in.

    Args:
        data: unchecked.
        folder: where the job file lies.

    Raises:
        InputError: the file cannot be read.
        JobError: its syntax is wrong.
    """
    name = data.get("intents")
    if not isinstance(name, str):
        return data
    raw = read_plain(folder / name, most_bytes=MAX_BYTES)
    suffix = ".json" if name.lower().endswith(".json") else ".toml"
    tables = tables_of(raw, suffix=suffix, label=name, most_bytes=MAX_BYTES)
    return {**data, "intents": tables}


def intents_of(data: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the intents of a job that are tables, by name."""
    given = data.get("intents")
    if not isinstance(given, dict):
        return {}
    return {name: table for name, table in given.items() if isinstance(table, dict)}


def intent_layers(
    intents: Mapping[str, dict[str, Any]], tables: Iterable[Mapping[str, Any]]
) -> Iterator[CascadeTable]:
    """Yield the layers of the intents that a shot has, the later over the earlier.

    Args:
        intents: of the job.
        tables: of the defaults, the scene and the shot; the last that names any
            intent counts.
    """
    for name in named(tables)[1]:
        if name in intents:
            kept = {k: v for k, v in intents[name].items() if k in FIELDS}
            yield CascadeTable(path=path_text("intents", (name,)), table=kept)


def named(tables: Iterable[Mapping[str, Any]]) -> tuple[int, tuple[str, ...]]:
    """Return which of some tables says a shot's intents, -1 for none, and the names."""
    found: tuple[int, tuple[str, ...]] = -1, ()
    for k, table in enumerate(tables):
        value = table.get("intent")
        if value is not None:
            names = (value,) if isinstance(value, str) else value
            listed = names if isinstance(names, list | tuple) else ()
            found = k, tuple(name for name in listed if isinstance(name, str))
    return found


def intents_faults(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield what is wrong with the table of intents as a whole."""
    given = data.get("intents", {})
    if isinstance(given, str):
        message = f"{shown(given)} is read only with a job that is a file itself"
        yield Fault(path="intents", message=message)
        return
    if not isinstance(given, dict):
        message = f"must be a table or the name of a file, got {shown(given)}"
        yield Fault(path="intents", message=message)
        return
    for name, table in given.items():
        path = path_text("intents", (name,))
        if not isinstance(table, dict):
            yield Fault(path=path, message=f"must be a table, got {shown(table)}")
            continue
        for field in table.keys() - set(FIELDS):
            near = difflib.get_close_matches(field[:100], FIELDS, n=1, cutoff=0.6)
            hint = f'; did you mean "{near[0]}"' if near else ""
            message = f"is no field of an intent ({', '.join(FIELDS)}){hint}"
            yield Fault(path=path_text(path, (field,)), message=message)


def unknown_intents(
    intents: Iterable[str], paths: Iterable[str], tables: Iterable[Mapping[str, Any]]
) -> Iterator[Fault]:
    """Yield the intents that a shot names and the job does not have.

    Args:
        intents: names that there are.
        paths: of the tables in the file.
        tables: as in `intent_layers`.
    """
    known = list(intents)
    at, names = named(tables)
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name[:100], known, n=1, cutoff=0.6)
            hint = f'; did you mean "{near[0]}"' if near else ""
            listed = ", ".join(known) or "none"
            path = path_text(list(paths)[at], ("intent",))
            yield Fault(
                path=path, message=f"{shown(name)} is no intent ({listed}){hint}"
            )
