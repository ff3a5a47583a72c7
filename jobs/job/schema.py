"""The JSON Schema of the job file, made from the models that check it.

It says what one table may hold. Rules between fields, and which fields a shot may
leave to its scene or the defaults, are checked by `parse_job` only: fields that can
be inherited are required nowhere.
"""

import ast
import inspect
import sys
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from .intents import FIELDS
from .lengths import LENGTH_PATTERN
from .quantities import NAME_PATTERN, SCENE_UNITS, Spec, unit_of
from .spec import JobFile

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
# Items of lists are never merged, so their required fields stay required.
_WHOLE_TABLES = (
    "SubjectSpec",
    "SamplesSpec",
    "ColumnsSpec",
    "CueSpec",
    "LensSpec",
    "KeepOutSpec",
    "PropSpec",
    "AcceptSpec",
    "ClaimSpec",
    "BeatSpec",
    "SpeechSpec",
)
_OWN_REQUIRED = ["name", "frames"]
_SET_NAME = {"type": "string", "minLength": 1}


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the job file as plain tables."""
    schema = JobFile.model_json_schema(by_alias=True)
    tables = schema["$defs"]
    _describe(schema | {"title": JobFile.__name__}, *tables.values())
    for name, table in tables.items():
        _allow_lengths(table)
        if name not in (*_WHOLE_TABLES, "WorldSpec"):
            table.pop("required", None)
    shot = tables["ShotSpec"]
    shot["properties"]["rig"] = _any_kind(shot["properties"]["rig"])
    tables["InheritedFields"] = {
        **shot,
        "title": "InheritedFields",
        "description": "Fields that shots inherit.",
        "properties": {
            name: field
            for name, field in shot["properties"].items()
            if name not in _OWN_REQUIRED
        },
    }
    shot["required"] = _OWN_REQUIRED
    _describe_actions(tables, shot)
    inherited = {"$ref": "#/$defs/InheritedFields"}
    schema["properties"] |= {
        "camera": {"$ref": "#/$defs/CameraSpec"},
        "crew": {"$ref": "#/$defs/CrewSpec"},
        "stage": {"$ref": "#/$defs/StageSpec"},
        "coverage": _coverage_schema(tables["ActionSpec"]),
        "defaults": inherited,
        "intents": _intents_schema(shot),
        "scenes": {
            "type": "object",
            "propertyNames": {"pattern": NAME_PATTERN},
            "additionalProperties": inherited,
        },
    }
    return {"$schema": _DIALECT, **schema, "title": "Carrellata job"}


def _allow_lengths(table: dict[str, Any]) -> None:
    """Let lengths of a table be in feet and inches too, as `with_metres` reads them."""
    fields = table.get("properties", {})
    for name, one in fields.items():
        if unit_of((name,)) in ("m", SCENE_UNITS):
            fields[name] = _as_length(one)


def _as_length(field: Any) -> Any:
    """Return a schema whose numbers, however deep in it, may be lengths as text."""
    if isinstance(field, list):
        return [_as_length(one) for one in field]
    if not isinstance(field, dict):
        return field
    if field.get("type") != "number":
        return {name: _as_length(one) for name, one in field.items()}
    said = {name: field[name] for name in ("default", "title") if name in field}
    number = {name: one for name, one in field.items() if name not in said}
    text = {"type": "string", "pattern": LENGTH_PATTERN}
    return said | {"anyOf": [number, text]}


def _describe_actions(tables: dict[str, Any], shot: dict[str, Any]) -> None:
    """Give actions the fields that their cameras inherit, and cameras their own.

    Args:
        tables: of the schema, by name.
        shot: the table of a shot.
    """
    inherited = {
        name: field
        for name, field in shot["properties"].items()
        if name not in ("name", "frames", "cut", "setup", "lock")
    }
    action = tables["ActionSpec"]
    action["properties"] = {**inherited, **action["properties"], "coverage": _SET_NAME}
    action["properties"]["cameras"]["items"] = {"$ref": "#/$defs/ActionCamera"}
    action["required"] = ["name", "frames", "subjects"]
    own = {
        name: field
        for name, field in inherited.items()
        if name not in ("scene", "handles", "preroll", "subjects")
    }
    person = {"type": ["string", "integer"], "minLength": 1, "minimum": 1}
    people = {"anyOf": [person, {"type": "array", "items": person, "minItems": 1}]}
    tables["ActionCamera"] = {
        "title": "ActionCamera",
        "description": "A shot over the whole action.",
        "type": "object",
        "properties": {
            **own,
            "name": shot["properties"]["name"],
            "lock": shot["properties"]["lock"],
            "on": {**people, "description": "Whom it follows, by name or number."},
            "over": {**people, "description": "Over whose shoulder."},
            "size": {**_SET_NAME, "description": "Short for framing.size."},
        },
        "required": ["name"],
        "additionalProperties": False,
    }


def _coverage_schema(action: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of the table of sets of cameras."""
    cameras = action["properties"]["cameras"]
    own = {
        "type": "object",
        "properties": {"cameras": cameras},
        "additionalProperties": False,
    }
    return {"type": "object", "additionalProperties": own}


def _intents_schema(shot: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of the table of intents, or of the name of their file."""
    fields = {name: shot["properties"][name] for name in FIELDS}
    bundle = {"type": "object", "properties": fields, "additionalProperties": False}
    table = {"type": "object", "additionalProperties": bundle}
    return {"anyOf": [table, {"type": "string"}]}


def _describe(*tables: dict[str, Any]) -> None:
    """Put what the models say of their fields under the fields of their tables.

    It is read from the source here: reading it where the models are made, as their
    library does when asked, takes a fifth of the time that a command has to start.
    """
    said = dict(_said_of_fields(Spec))
    for table in tables:
        fields = table["properties"]
        for name in fields:
            if (table["title"], name) in said:
                described = fields[name] | {"description": said[table["title"], name]}
                fields[name] = dict(sorted(described.items()))


def _said_of_fields(model: type[Spec]) -> Iterator[tuple[tuple[str, str], str]]:
    """Yield names of table and field, and the words below the field, of all models."""
    for below in model.__subclasses__():
        for one in reversed(below.__mro__):
            if one is not Spec and issubclass(one, Spec):
                for name, words in _words_below(one).items():
                    alias = below.model_fields[name].alias
                    yield (below.__name__, alias or name), words
        yield from _said_of_fields(below)


def _words_below(model: type[Spec]) -> dict[str, str]:
    """Return the words that stand below fields in the source of a class."""
    source = inspect.getsource(sys.modules[model.__module__])
    (body,) = (
        node.body
        for node in ast.parse(source).body
        if isinstance(node, ast.ClassDef) and node.name == model.__name__
    )
    return {
        field.target.id: inspect.cleandoc(below.value.value)
        for field, below in pairwise(body)
        if isinstance(field, ast.AnnAssign)
        and isinstance(field.target, ast.Name)
        and isinstance(below, ast.Expr)
        and isinstance(below.value, ast.Constant)
        and isinstance(below.value.value, str)
    }


def _any_kind(rig: dict[str, Any]) -> dict[str, Any]:
    """Return the union without its discriminator, which may be inherited."""
    return {"anyOf": rig["oneOf"]}
