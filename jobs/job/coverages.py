"""Sets of cameras by name: those of a job, and two that are always there.

`[coverage.NAME]` defines a set once: `cameras`, a list as an action has it. In a set
people are named by their number in the action, from 1, so that it fits any pair. The
two sets that are there are common practice, without a source.
"""

from collections.abc import Mapping
from typing import Any

from ..errors import Fault
from .locations import path_text, shown

_OPEN = {"rig": {"kind": "choose"}, "lens_mm": "choose"}
_SETS: dict[str, list[dict[str, Any]]] = {
    "dialogue": [
        {"name": "master", "on": [1, 2], "size": "full", **_OPEN},
        {"name": "single_1", "on": 1, "size": "chest", **_OPEN},
        {"name": "single_2", "on": 2, "size": "chest", **_OPEN},
        {"name": "over_1", "on": 1, "over": 2, "size": "medium", **_OPEN},
        {"name": "over_2", "on": 2, "over": 1, "size": "medium", **_OPEN},
    ],
    "chase": [
        {"name": "follow", "on": 1, "size": "cowboy", "view": "rear", **_OPEN},
        {"name": "ahead", "on": 1, "size": "medium", "view": "front", **_OPEN},
        {"name": "long", "on": [1, 2], "size": "full", "view": "profile", **_OPEN},
    ],
}


def cameras_of_set(
    data: Mapping[str, Any], name: Any
) -> list[tuple[str, dict[str, Any]]]:
    """Return the cameras of a set with their paths; none where there is no such set."""
    own = data.get("coverage")
    table = own.get(name) if isinstance(own, dict) and isinstance(name, str) else None
    path = path_text("coverage", (str(name), "cameras"))
    cameras = table.get("cameras") if isinstance(table, dict) else None
    if table is None and isinstance(name, str):
        cameras = _SETS.get(name)
    listed = cameras if isinstance(cameras, list | tuple) else ()
    return [
        (f"{path}[{k}]", camera)
        for k, camera in enumerate(listed)
        if isinstance(camera, dict)
    ]


def coverage_faults(data: Mapping[str, Any]) -> list[Fault]:
    """Return what is wrong with the table of sets as a whole."""
    given = data.get("coverage", {})
    if not isinstance(given, dict):
        message = f"must be a table of sets, got {shown(given)}"
        return [Fault(path="coverage", message=message)]
    faults = []
    for name, table in given.items():
        path = path_text("coverage", (name,))
        if not isinstance(table, dict):
            message = f"must be a table, got {shown(table)}"
            faults.append(Fault(path=path, message=message))
            continue
        for field in table.keys() - {"cameras"}:
            message = "a set of cameras has cameras, and nothing else"
            faults.append(Fault(path=path_text(path, (field,)), message=message))
        cameras = table.get("cameras")
        if not isinstance(cameras, list | tuple) or not cameras:
            message = "must be a list of cameras, at least one"
            faults.append(Fault(path=f"{path}.cameras", message=message))
    return faults
