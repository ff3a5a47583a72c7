"""From the plain tables of a job file to a checked job, or every fault in them."""

import re
from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from ..errors import Fault, JobError
from .actions import (
    WrittenShot,
    action_faults,
    action_tables,
    camera_shots,
    checked_actions,
)
from .cascade import SHARED_TABLES, CascadeTable, ResolvedShot, resolve
from .coverages import coverage_faults
from .crew_files import CrewFile, with_crew_file
from .faults import field_names, schema_findings, unknown_field
from .intents import intent_layers, intents_faults, intents_of, unknown_intents
from .lengths import with_metres
from .letters import shared_setups
from .locations import Finding, Location, path_text, shown
from .quantities import NAME_PATTERN
from .rate import parse_rate
from .rules import shake_findings, shot_findings, world_findings
from .shape import shape_faults
from .shot import ShotSpec
from .spec import MAX_SHOTS, JobFile
from .timecode import frame_of_label
from .world import WorldSpec

_CASCADE_FIELDS = ("defaults", "scenes", "intents", "coverage", *SHARED_TABLES)
# What a shot says itself, and its scene or the defaults never say for it.
_OWN_FIELDS = {
    "defaults": ("name", "frames", "lock"),
    "scenes": ("name", "frames", "lock", "scene"),
}
# What only the file itself says.
_FILE_FIELDS = {*field_names(JobFile)} - {*field_names(ShotSpec)}
_DEFAULT_SCENE = ShotSpec.model_fields["scene"].default

# Valid fields that take the place of refused ones, so that the rules on the other
# fields can still be checked; a shot with any of them is never returned.
_STAND_INS: dict[str, Any] = {
    "name": "stand_in",
    "frames": [0, 0],
    "subjects": [{"name": "s", "file": "s.csv", "at": "floor", "height_m": 1.0}],
    "camera": {"film_back": "super35-4perf", "lens_kit_mm": [1.0]},
    "framing": {"size": "full"},
    "rig": {"kind": "sticks", "at": [0, 0, 0]},
    "lens_mm": 1.0,
}

_NO_FILES: Mapping[str, CrewFile] = MappingProxyType({})


def parse_job(
    data: dict[str, Any],
    crew_files: Mapping[str, CrewFile] = _NO_FILES,
    *,
    most_faulty: int | None = None,
) -> JobFile:
    """Return the checked job that plain tables describe.

    Args:
        data: as read from TOML or JSON: tables, lists, text, numbers, truth values.
        crew_files: what the crews' files that the job names hold, by name.
        most_faulty: shots with faults, after which no other shot is looked at; None
            looks at all.

    Raises:
        JobError: anything is wrong; it names every fault that was found.
    """
    faults = dict.fromkeys(shape_faults(data))
    if faults:
        raise JobError(tuple(faults))
    rate = _rate(data)
    faults |= dict.fromkeys(_file_faults(data, rate))
    header, header_faults = _header(data)
    faults |= dict.fromkeys(header_faults)
    world = header.world if header is not None else None
    written = _written(data)
    resolved, checked, n_faulty = [], [], 0
    for one in _resolved(data, written):
        resolved.append(one)
        checked.append(_checked(one, rate, world, crew_files))
        n_faulty += bool(checked[-1][1])
        if most_faulty is not None and n_faulty >= most_faulty:
            break
    sound = {k: shot for k, (shot, findings) in enumerate(checked) if not findings}
    shared, clashes = shared_setups(sound)
    for k, (one, (_, findings)) in enumerate(zip(resolved, checked, strict=True)):
        for place, message in (*findings, *clashes.get(k, ())):
            faults[Fault(path=one.path_of(place), message=message)] = None
    faults |= dict.fromkeys(_name_faults(data, written))
    faults |= dict.fromkeys(_intent_faults(data, written))
    actions, refused = checked_actions(data)
    faults |= dict.fromkeys(refused)
    if header is not None and len(sound) == len(checked):
        faults |= dict.fromkeys(_habit_faults(header, shared.values()))
    if faults or header is None:
        raise JobError(tuple(faults))
    update = {"shots": tuple(shared.values()), "actions": actions}
    return header.model_copy(update=update)


def _rate(data: dict[str, Any]) -> Fraction | None:
    """Return the rate where it is usable; the schema says what is wrong with it."""
    try:
        return parse_rate(data.get("rate"))
    except ValueError:
        return None


def _file_faults(data: dict[str, Any], rate: Fraction | None) -> Iterator[Fault]:
    """Yield the faults of the file's own fields that the schema does not see."""
    shot_fields = field_names(ShotSpec)
    known = (*field_names(JobFile), *_CASCADE_FIELDS)
    for name in data:
        if name in known:
            continue
        message = unknown_field(name, known)
        if name in shot_fields:
            message = "is a field of shots; put it in [defaults] or in a shot"
        yield Fault(path=path_text("", (name,)), message=message)
    if rate is not None and isinstance(data.get("timecode"), str):
        try:
            frame_of_label(data["timecode"], rate)
        except ValueError as error:
            yield Fault(path="timecode", message=str(error))
    yield from _cascade_faults(data)


def _cascade_faults(data: dict[str, Any]) -> Iterator[Fault]:
    """Yield the faults of defaults, scenes and the list of shots as a whole."""
    if not isinstance(data.get("defaults", {}), dict):
        message = f"must be a table, got {shown(data['defaults'])}"
        yield Fault(path="defaults", message=message)
    yield from _own_field_faults("defaults", "defaults", data.get("defaults"))
    yield from intents_faults(data)
    yield from coverage_faults(data)
    yield from action_faults(data)
    scenes = data.get("scenes", {})
    if not isinstance(scenes, dict):
        yield Fault(path="scenes", message=f"must be a table, got {shown(scenes)}")
    for name, scene in _tables(data, "scenes").items():
        path = path_text("scenes", (name,))
        if re.fullmatch(NAME_PATTERN, name) is None:
            message = 'must be named by 1 to 64 letters, digits, "_" or "-"'
            yield Fault(path=path, message=message)
        if not isinstance(scene, dict):
            yield Fault(path=path, message=f"must be a table, got {shown(scene)}")
        yield from _own_field_faults("scenes", path, scene)
        if isinstance(scene, dict) and name not in _used_scenes(data):
            for field in scene.keys() - field_names(ShotSpec):
                message = unknown_field(field, field_names(ShotSpec))
                yield Fault(path=path_text(path, (field,)), message=message)
    yield from _list_faults(data)


def _own_field_faults(kind: str, path: str, table: Any) -> Iterator[Fault]:
    for name in _OWN_FIELDS[kind]:
        if isinstance(table, dict) and name in table:
            yield Fault(path=f"{path}.{name}", message="belongs in the shot itself")


def _list_faults(data: dict[str, Any]) -> Iterator[Fault]:
    shots = data.get("shots", [])
    if not isinstance(shots, list | tuple):
        yield Fault(path="shots", message=f"must be a list, got {shown(shots)}")
        return
    if not shots and not action_tables(data):
        yield Fault(path="shots", message="a job needs at least one shot")
    if len(shots) > MAX_SHOTS:
        message = f"a job has at most {MAX_SHOTS} shots, got {len(shots)}"
        yield Fault(path="shots", message=message)
    for k, shot in enumerate(shots):
        if not isinstance(shot, dict):
            yield Fault(
                path=f"shots[{k}]", message=f"must be a table, got {shown(shot)}"
            )


def _habit_faults(header: JobFile, shots: Iterable[ShotSpec]) -> Iterator[Fault]:
    """Yield the lenses of the sequence's habits that are in no shot's kit."""
    kit = sorted({lens.mm for shot in shots for lens in shot.camera.kit})
    for name, share in header.habits.lens_use.items():
        if share > 0 and float(name) not in kit:
            listed = ", ".join(f"{mm:g}" for mm in kit)
            message = f"{float(name):g} mm is in no shot's kit ({listed})"
            yield Fault(
                path=path_text("", ("habits", "lens_use", name)), message=message
            )


def _header(data: dict[str, Any]) -> tuple[JobFile | None, list[Fault]]:
    """Return the job without its shots."""
    known = set(field_names(JobFile))
    table = {name: value for name, value in data.items() if name in known}
    try:
        return JobFile.model_validate({**table, "shots": (), "actions": ()}), []
    except ValidationError as error:
        findings = schema_findings(error, JobFile)
        return None, [Fault(path=path_text("", p), message=m) for p, m in findings]


def _tables(data: dict[str, Any], name: str) -> dict[str, Any]:
    """Return a table of the file, empty where it is missing or something else."""
    table = data.get(name)
    return table if isinstance(table, dict) else {}


def _shot_tables(data: dict[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    shots = data.get("shots")
    listed = shots if isinstance(shots, list | tuple) else ()
    return [(k, shot) for k, shot in enumerate(listed) if isinstance(shot, dict)]


def _written(data: dict[str, Any]) -> list[WrittenShot]:
    """Return the shots of a job, and behind them the cameras of its actions."""
    shots = []
    for k, table in _shot_tables(data)[:MAX_SHOTS]:
        layer = CascadeTable(path=f"shots[{k}]", table=table)
        shots.append(WrittenShot(path=layer.path, layers=(layer,)))
    return [*shots, *camera_shots(data)]


def _scene_of(data: dict[str, Any], shot: WrittenShot) -> str:
    scene = shot.said("scene")
    if scene is None:
        scene = _tables(data, "defaults").get("scene", _DEFAULT_SCENE)
    return scene if isinstance(scene, str) else _DEFAULT_SCENE


def _used_scenes(data: dict[str, Any]) -> set[str]:
    return {_scene_of(data, shot) for shot in _written(data)}


def _resolved(
    data: dict[str, Any], written: Iterable[WrittenShot]
) -> Iterator[ResolvedShot]:
    """Yield each shot with all that it inherits."""
    shared = {name: data[name] for name in SHARED_TABLES if name in data}
    defaults = _without(_tables(data, "defaults"), _OWN_FIELDS["defaults"])
    scenes, intents = _tables(data, "scenes"), intents_of(data)
    for shot in written:
        name = _scene_of(data, shot)
        scene = _without(_tables(scenes, name), _OWN_FIELDS["scenes"])
        own = (defaults, scene, *(layer.table for layer in shot.layers))
        yield resolve(
            (
                CascadeTable(path="", table=shared),
                CascadeTable(path="defaults", table=defaults),
                CascadeTable(path=path_text("scenes", (name,)), table=scene),
                *intent_layers(intents, own),
                *shot.layers,
            )
        )


def _intent_faults(
    data: dict[str, Any], written: Iterable[WrittenShot]
) -> Iterator[Fault]:
    """Yield the intents that shots name and the job does not have."""
    intents, scenes = intents_of(data), _tables(data, "scenes")
    defaults = _tables(data, "defaults")
    for shot in written:
        name = _scene_of(data, shot)
        own = [layer.path for layer in shot.layers]
        paths = ("defaults", path_text("scenes", (name,)), *own)
        tables = (
            defaults,
            _tables(scenes, name),
            *(layer.table for layer in shot.layers),
        )
        yield from unknown_intents(intents, paths, tables)


def _without(table: dict[str, Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: value for name, value in table.items() if name not in names}


def _checked(
    resolved: ResolvedShot,
    rate: Fraction | None,
    world: WorldSpec | None,
    crew_files: Mapping[str, CrewFile],
) -> tuple[ShotSpec, list[Finding]]:
    """Return a shot, with stand-ins where it is refused, and all its findings."""
    findings: list[Finding] = []
    unusable: set[str] = set()
    written = resolved.table
    if world is not None:
        written = with_metres(written, world.metres_per_unit)
    try:
        shot = ShotSpec.model_validate(written)
    except ValidationError as error:
        refused = schema_findings(error, ShotSpec)
        unusable = {str(place[0]) for place, _ in refused}
        findings += [
            (place, _of_the_file(place) or message) for place, message in refused
        ]
        usable = _without(written, unusable)
        shot = ShotSpec.model_validate(_STAND_INS | usable)
    shot = shot.model_copy(update={"intent": ()})  # they are in the shot now
    if "crew" not in unusable:
        shot, refused = with_crew_file(shot, crew_files)
        findings += refused
    findings += shot_findings(shot, unusable)
    if world is not None:
        findings += world_findings(shot, world, unusable)
    if rate is not None and "shake" not in unusable:
        findings += shake_findings(shot, rate)
    return shot, findings


def _of_the_file(place: Location) -> str:
    """Return the sentence for a field of the file in a table of a shot, or ""."""
    if len(place) == 1 and place[0] in _FILE_FIELDS:
        return "is a field of the file; put it at the top"
    return ""


def _name_faults(
    data: dict[str, Any], written: Iterable[WrittenShot]
) -> Iterator[Fault]:
    """Yield names that differ from an earlier one in nothing but case, or not even."""
    shots: dict[str, WrittenShot] = {}
    scenes: dict[str, str] = {}
    for shot in written:
        name = shot.said("name")
        if isinstance(name, str):
            first = shots.setdefault(name.lower(), shot)
            if first is not shot:
                message = f"{shown(name)} is already the name of {first.path}"
                yield Fault(path=f"{shot.path}.name", message=message)
        scene = _scene_of(data, shot)
        before = scenes.setdefault(scene.lower(), scene)
        if before != scene:
            message = f"{shown(scene)} and {shown(before)} differ only in case"
            yield Fault(path=shot.path_of("scene"), message=message)
    for name in _tables(data, "scenes"):
        before = scenes.setdefault(name.lower(), name)
        if before != name:
            message = f"{shown(name)} and {shown(before)} differ only in case"
            yield Fault(path=path_text("scenes", (name,)), message=message)
