"""The JSON Schema of the job file, made from the models that check it.

It says what one table may hold. Rules between fields, and which fields a shot may
leave to its scene or the defaults, are checked by `parse_job` only: fields that can
be inherited are required nowhere.
"""

from typing import Any

from .quantities import NAME_PATTERN
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
    "AcceptSpec",
)
_OWN_REQUIRED = ["name", "frames"]


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the job file as plain tables."""
    schema = JobFile.model_json_schema(by_alias=True)
    tables = schema["$defs"]
    for name, table in tables.items():
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
    inherited = {"$ref": "#/$defs/InheritedFields"}
    schema["properties"] |= {
        "camera": {"$ref": "#/$defs/CameraSpec"},
        "crew": {"$ref": "#/$defs/CrewSpec"},
        "stage": {"$ref": "#/$defs/StageSpec"},
        "defaults": inherited,
        "scenes": {
            "type": "object",
            "propertyNames": {"pattern": NAME_PATTERN},
            "additionalProperties": inherited,
        },
    }
    schema["properties"]["shots"]["minItems"] = 1
    return {"$schema": _DIALECT, **schema, "title": "Carrellata job"}


def _any_kind(rig: dict[str, Any]) -> dict[str, Any]:
    """Return the union without its discriminator, which may be inherited."""
    return {"anyOf": rig["oneOf"]}
