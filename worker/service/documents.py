"""The service's OpenAPI: what comes in, what goes out, and every status."""

import json
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from ...jobs.job.schema import job_schema
from .problems import MEDIA_TYPE
from .results import ARROW, JSON, PARQUET

Responses = dict[int | str, dict[str, Any]]

_PREFIX = "#/components/schemas/"
_BINARY = {"schema": {"type": "string", "format": "binary"}}
_TEXT = {"schema": {"type": "string"}}

JOB_BODY = {
    "required": True,
    "content": {JSON: {"schema": {"$ref": f"{_PREFIX}Job"}}},
}
TAKE_BODY = JOB_BODY | {"description": "A job of exactly one shot."}
BATCH_BODY = JOB_BODY | {"description": "A job of any number of shots."}

TAKE_CONTENT = {
    JSON: {"schema": {"$ref": f"{_PREFIX}Take"}},
    PARQUET: _BINARY,
    ARROW: _BINARY,
}
TAKE_RESPONSES: Responses = {
    200: {
        "description": "The take, in the form that Accept asks for.",
        "content": TAKE_CONTENT,
        "headers": {"ETag": _TEXT, "Carrellata-Take-Key": _TEXT},
    },
    202: {
        "description": "It is being solved; fetch it from Location.",
        "headers": {"Location": _TEXT, "Retry-After": _TEXT},
    },
}


def problems(*statuses: int) -> Responses:
    """Return what is documented of the problems that a route may answer with."""
    return {
        status: {
            "description": HTTPStatus(status).phrase,
            "content": {MEDIA_TYPE: {"schema": {"$ref": f"{_PREFIX}Problem"}}},
        }
        for status in statuses
    }


def answer(status: int, found: dict[str, Any]) -> Responses:
    """Return what is documented of one status."""
    return {status: found}


def json_response(name: str, description: str) -> dict[str, Any]:
    """Return what is documented of a JSON answer of a named form."""
    return {
        "description": description,
        "content": {JSON: {"schema": {"$ref": f"{_PREFIX}{name}"}}},
    }


def describe(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of the service."""
    document = get_openapi(
        title="Carrellata",
        version="1",
        summary="Follow cameras that move as operated ones do.",
        routes=app.routes,
    )
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    refused = problems(422)[422]
    for path in document["paths"].values():
        for operation in path.values():
            if "422" in operation["responses"]:  # of a parameter
                operation["responses"]["422"] = refused
    schemas |= _SCHEMAS | _job_schemas()
    return document


def _job_schemas() -> dict[str, Any]:
    """Return the job's schema with its parts where OpenAPI looks for them."""
    moved = json.loads(json.dumps(job_schema()).replace("#/$defs/", _PREFIX))
    parts: dict[str, Any] = moved.pop("$defs")
    del moved["$schema"]
    return {**parts, "Job": moved}


_COUNT = {"type": "integer", "minimum": 0}
_STRING = {"type": "string"}
_SCHEMAS: dict[str, Any] = {
    "Problem": {
        "type": "object",
        "description": "RFC 9457 problem details.",
        "required": ["type", "title", "status", "code", "detail"],
        "properties": {
            "type": _STRING,
            "title": _STRING,
            "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "code": _STRING,
            "detail": _STRING,
            "n_faults": _COUNT,
            "faults": {
                "type": "array",
                "items": {
                    "type": "object",
                    "required": ["path", "message"],
                    "properties": {"path": _STRING, "message": _STRING},
                },
            },
        },
    },
    "Take": {
        "type": "object",
        "required": ["schema", "rows", "metadata", "columns"],
        "properties": {
            "schema": {"const": "carrellata.take/1"},
            "rows": _COUNT,
            "metadata": {"type": "object"},
            "columns": {"type": "object", "additionalProperties": {"type": "array"}},
        },
    },
    "Batch": {
        "type": "object",
        "required": ["id", "state", "sequence", "shots", "done", "counts", "failed"],
        "properties": {
            "id": _STRING,
            "state": {
                "enum": [
                    "queued",
                    "running",
                    "cancelling",
                    "done",
                    "failed",
                    "cancelled",
                ]
            },
            "detail": {"type": ["string", "null"]},
            "sequence": _STRING,
            "shots": {"type": "array", "items": _STRING},
            "done": _COUNT,
            "counts": {"type": "object", "additionalProperties": _COUNT},
            "failed": {
                "type": "array",
                "items": {
                    "type": "object",
                    "required": ["shot", "error"],
                    "properties": {"shot": _STRING, "error": _STRING},
                },
            },
        },
    },
    "Lenses": {
        "type": "object",
        "required": ["height_m", "headroom", "lenses"],
        "properties": {
            "height_m": {"type": "number"},
            "headroom": {"type": "number"},
            "lenses": {"type": "array", "items": {"type": "object"}},
        },
    },
    "JobSchema": {"type": "object"},
    "ReviewNotes": {
        "type": "object",
        "required": ["notes"],
        "properties": {"notes": {"type": "string", "maxLength": 1_000_000}},
    },
    "SavedNotes": {
        "type": "object",
        "required": ["saved", "decisions"],
        "properties": {"saved": _STRING, "decisions": _COUNT},
    },
}
