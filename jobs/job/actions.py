"""From the actions of a job file to the shots that their cameras are.

A camera inherits like a shot, and from its action besides: file, defaults, scene,
intents, action, camera. What only a camera says (`on`, `over`, `size`) becomes fields
of a shot here. So all that holds for a shot holds for a camera: it is judged, solved,
locked, delivered and shown as one.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from ..errors import Fault
from .action import MAX_CAMERAS, ActionSpec
from .cascade import CascadeTable
from .coverages import cameras_of_set
from .faults import field_names, schema_findings
from .locations import path_text, shown

ACTION_FIELDS = ("name", "frames", "cameras", "together", "cut", "coverage")
"""What an action says of itself; all else are fields that its cameras inherit."""
CAMERA_FIELDS = ("on", "over", "size")
"""What a camera says beside the fields of a shot."""

_OF_ACTION = ("scene", "frames", "handles", "preroll", "subjects")
_NOT_OF_CAMERA = ("cut", "setup")
_OVER_SHARE = 0.2  # weight of who is looked over, against 1 (our choice)
_OVER_DEG = 25.0  # off their line; common practice, no source


@dataclass(frozen=True, kw_only=True, slots=True)
class WrittenShot:
    """A shot as the file has it, or as a camera of an action gives it.

    Attributes:
        path: where faults of the shot as a whole are named.
        layers: its own tables, the later over the earlier; the last has its name.
    """

    path: str
    layers: tuple[CascadeTable, ...]

    def said(self, field: str) -> Any:
        """Return what its tables say of a field, None where none says anything."""
        for layer in reversed(self.layers):
            if layer.table.get(field) is not None:
                return layer.table[field]
        return None

    def path_of(self, field: str) -> str:
        """Return the path of a field that one of its tables has."""
        for layer in reversed(self.layers):
            if layer.table.get(field) is not None:
                return path_text(layer.path, (field,))
        return path_text(self.path, (field,))


def action_tables(data: Mapping[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    """Return the actions of a job that are tables, with their places."""
    given = data.get("actions")
    listed = given if isinstance(given, list | tuple) else ()
    return [(k, one) for k, one in enumerate(listed) if isinstance(one, dict)]


def camera_shots(data: Mapping[str, Any]) -> list[WrittenShot]:
    """Return the cameras of all actions of a job as shots, in their order."""
    return [
        _shot_of(k, action, path, camera)
        for k, action in action_tables(data)
        for path, camera in _cameras(data, k, action)
    ]


def _cameras(
    data: Mapping[str, Any], k: int, action: Mapping[str, Any]
) -> list[tuple[str, dict[str, Any]]]:
    """Return the cameras of an action with their paths: of its set, then its own.

    A camera of the action that has the name of one of the set changes that.
    """
    found: dict[str, tuple[str, dict[str, Any]]] = {}
    for path, camera in cameras_of_set(data, action.get("coverage")):
        found[str(camera.get("name"))] = path, camera
    given = action.get("cameras")
    for j, camera in enumerate(given if isinstance(given, list | tuple) else ()):
        if not isinstance(camera, dict):
            continue
        name, path = str(camera.get("name")), f"actions[{k}].cameras[{j}]"
        known = found.get(name)
        if known is None or not known[0].startswith("coverage"):
            # One that is there twice stays so, and is refused by its name.
            found[name if known is None else path] = path, camera
        else:
            found[name] = path, {**known[1], **camera}
    return list(found.values())


def _shot_of(
    k: int, action: Mapping[str, Any], path: str, camera: Mapping[str, Any]
) -> WrittenShot:
    """Return a camera of an action as a shot."""
    at = f"actions[{k}]"
    shared = {
        name: value
        for name, value in action.items()
        if name == "frames" or name not in (*ACTION_FIELDS, *_NOT_OF_CAMERA)
    }
    own = {
        name: value
        for name, value in camera.items()
        if name not in (*CAMERA_FIELDS, *_OF_ACTION, *_NOT_OF_CAMERA)
    }
    shorthand = _shorthand(action, camera)
    subjects = shorthand.pop("subjects", None)
    layers = [CascadeTable(path=at, table=shared)]
    if subjects is not None:
        layers.append(CascadeTable(path=at, table={"subjects": subjects}))
    named = {"name": f"{action.get('name')}_{camera.get('name')}"}
    layers.append(CascadeTable(path=path, table=shorthand))
    layers.append(CascadeTable(path=path, table={**own, **named}))
    return WrittenShot(path=path, layers=tuple(layers))


def _shorthand(action: Mapping[str, Any], camera: Mapping[str, Any]) -> dict[str, Any]:
    """Return as fields of a shot what only a camera says."""
    fields: dict[str, Any] = {}
    if camera.get("size") is not None:
        fields["framing"] = {"size": camera["size"]}
    on, over = _people(action, camera.get("on")), _people(action, camera.get("over"))
    if not on:
        return fields
    listed = action.get("subjects")
    if isinstance(listed, list | tuple):
        fields["subjects"] = [_weighed(one, on, over) for one in listed]
    if over and camera.get("view") is None:
        fields["view"] = _OVER_DEG
    if over:
        fields["claims"] = [{"together": [*on, *over], "must": False}]
    return fields


def _weighed(subject: Any, on: list[str], over: list[str]) -> Any:
    """Return a subject of an action as a camera follows it."""
    if not isinstance(subject, dict):
        return subject
    name = subject.get("name")
    if name in on:
        return {**subject, "share": 1.0, "must_hold": True, "present": False}
    if name in over:
        extra = {"share": _OVER_SHARE, "must_hold": False, "present": False}
        return {**subject, **extra}
    return {**subject, "share": 0.0, "must_hold": False}


def _people(action: Mapping[str, Any], asked: Any) -> list[str]:
    """Return names of an action's people; a number counts them from 1."""
    listed = action.get("subjects")
    names = [
        one.get("name")
        for one in (listed if isinstance(listed, list | tuple) else ())
        if isinstance(one, dict)
    ]
    given = asked if isinstance(asked, list | tuple) else [asked]
    found = []
    for one in given:
        if isinstance(one, int) and 1 <= one <= len(names):
            one = names[one - 1]
        if isinstance(one, str) and one in names:
            found.append(one)
    return found


def action_faults(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield what is wrong with the list of actions, and with cameras as cameras."""
    given = data.get("actions", [])
    if not isinstance(given, list | tuple):
        yield Fault(path="actions", message=f"must be a list, got {shown(given)}")
        return
    for k, action in enumerate(given):
        if not isinstance(action, dict):
            message = f"must be a table, got {shown(action)}"
            yield Fault(path=f"actions[{k}]", message=message)
            continue
        yield from _own_faults(data, k, action)


def _own_faults(
    data: Mapping[str, Any], k: int, action: Mapping[str, Any]
) -> Iterator[Fault]:
    at = f"actions[{k}]"
    if "setup" in action:
        message = "cameras of an action have no letter: each has a setup of its own"
        yield Fault(path=f"{at}.setup", message=message)
    cameras, coverage = action.get("cameras"), action.get("coverage")
    if coverage is not None and not cameras_of_set(data, coverage):
        message = f"{shown(coverage)} is no set of cameras of this job"
        yield Fault(path=f"{at}.coverage", message=message)
    elif coverage is None and not cameras:
        message = "needs cameras, or coverage by a set of them"
        yield Fault(path=f"{at}.cameras", message=message)
    if cameras is not None and not isinstance(cameras, list | tuple):
        message = f"must be a list, got {shown(cameras)}"
        yield Fault(path=f"{at}.cameras", message=message)
        return
    for j, camera in enumerate(cameras or ()):
        if not isinstance(camera, dict):
            message = f"must be a table, got {shown(camera)}"
            yield Fault(path=f"{at}.cameras[{j}]", message=message)
    for path, camera in _cameras(data, k, action):
        yield from _camera_faults(action, path, camera)


def _camera_faults(
    action: Mapping[str, Any], path: str, camera: Mapping[str, Any]
) -> Iterator[Fault]:
    if not isinstance(camera.get("name"), str):
        yield Fault(path=f"{path}.name", message="is required, as text")
    for field in (*_OF_ACTION, *_NOT_OF_CAMERA):
        if field in camera:
            message = "belongs in the action: all its cameras share it"
            if field in _NOT_OF_CAMERA:
                message = "is no field of a camera"
            yield Fault(path=f"{path}.{field}", message=message)
    if camera.get("over") is not None and camera.get("on") is None:
        yield Fault(path=f"{path}.over", message="needs on: whom the camera follows")
    for field in ("on", "over"):
        asked = camera.get(field)
        if asked is None:
            continue
        listed = asked if isinstance(asked, list | tuple) else [asked]
        if len(_people(action, asked)) < max(len(listed), 1):
            message = f"{shown(asked)} is not in the action, or not their number from 1"
            yield Fault(path=f"{path}.{field}", message=message)


def checked_actions(
    data: Mapping[str, Any],
) -> tuple[tuple[ActionSpec, ...], list[Fault]]:
    """Return the actions of a job, their cameras by name, and what is wrong."""
    actions, faults = [], []
    for k, table in action_tables(data):
        at = f"actions[{k}]"
        cameras = _cameras(data, k, table)
        names = [str(camera.get("name")) for _, camera in cameras]
        if len(names) > MAX_CAMERAS:
            message = f"an action has at most {MAX_CAMERAS} cameras, got {len(names)}"
            faults.append(Fault(path=f"{at}.cameras", message=message))
            names = names[:MAX_CAMERAS]
        own = {f: table[f] for f in field_names(ActionSpec) if f in table}
        try:
            action = ActionSpec.model_validate({**own, "cameras": names})
        except ValidationError as error:
            for place, message in schema_findings(error, ActionSpec):
                if place[:1] != ("cameras",):
                    path = path_text(at, place)
                    faults.append(Fault(path=path, message=message))
            continue
        people = [
            one["name"]
            for one in table.get("subjects") or ()
            if isinstance(one, dict) and isinstance(one.get("name"), str)
        ]
        faults += _cut_faults(action, at, people)
        actions.append(action)
    return tuple(actions), faults


def _cut_faults(action: ActionSpec, at: str, people: list[str]) -> Iterator[Fault]:
    """Yield names and frames in the cut of an action that it does not have."""
    first, last = action.frames
    cut = action.cut
    if cut is None:
        return
    for k, frames in enumerate(cut.improve):
        yield from _inside(f"{at}.cut.improve[{k}]", frames, (first, last))
    for field, camera in (("first", cut.first), ("last", cut.last)):
        yield from _named(f"{at}.cut.{field}", camera, action.cameras, "camera")
    for k, beat in enumerate(cut.beats):
        path = f"{at}.cut.beats[{k}]"
        yield from _named(f"{path}.camera", beat.camera, action.cameras, "camera")
        yield from _named(f"{path}.alone", beat.alone, people, "person")
        for name in beat.on or ():
            yield from _named(f"{path}.on", name, people, "person")
        if beat.tells is not None:
            for who in (*beat.tells.named, beat.tells.over):
                yield from _named(f"{path}.tells", who, people, "person")
        yield from _inside(f"{path}.frames", beat.frames, (first, last))
    for k, speech in enumerate(cut.speaks):
        path = f"{at}.cut.speaks[{k}]"
        yield from _named(f"{path}.who", speech.who, people, "person")
        yield from _inside(f"{path}.frames", speech.frames, (first, last))


def _named(
    path: str, name: str | None, known: list[str] | tuple[str, ...], what: str
) -> Iterator[Fault]:
    if name is not None and name not in known:
        listed = ", ".join(known) or "none"
        message = f"{shown(name)} is no {what} of the action ({listed})"
        yield Fault(path=path, message=message)


def _inside(
    path: str, frames: tuple[int, int], action: tuple[int, int]
) -> Iterator[Fault]:
    if not action[0] <= frames[0] <= frames[1] <= action[1]:
        message = (
            f"{frames[0]} to {frames[1]} do not rise inside the action "
            f"({action[0]} to {action[1]})"
        )
        yield Fault(path=path, message=message)
