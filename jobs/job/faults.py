"""Errors of the schema as sentences that name rule, value and unit."""

import re
from collections.abc import Iterable, Iterator
from typing import Any, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from .locations import Finding, Location, shown
from .meanings import hint
from .quantities import RULE, Spec, unit_of

_BOUNDS = {
    "greater_than": (">", "gt"),
    "greater_than_equal": (">=", "ge"),
    "less_than": ("<", "lt"),
    "less_than_equal": ("<=", "le"),
}
_KINDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "string_type": "text",
    "string_unicode": "text without half characters",
    "tuple_type": "a list",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
}


def schema_findings(error: ValidationError, model: type[Spec]) -> list[Finding]:
    """Return what a model refused, each at the place where the file has it."""
    details = error.errors(include_url=False)
    wanted = _wanted_lengths(details)
    findings: dict[Finding, None] = {}
    for detail in details:
        if detail["type"] == "too_short" and _has_refused_items(detail, details):
            continue
        place, tables = _placed(model, detail["loc"])
        if detail["type"] == "missing" and place and isinstance(place[-1], int):
            place = place[:-1]
            length = wanted[detail["loc"][:-1]]
            text = f"must have {length} values, got {len(detail['input'])}"
        else:
            text = _sentence(detail, place, tables)
        if detail["type"].startswith("union_tag"):
            place = (*place, "kind")
        findings[place, text] = None
    return list(findings)


def unknown_field(name: str, known: Iterable[str]) -> str:
    """Return the sentence for a field that does not exist, with the nearest one."""
    return f"unknown field{hint(name, known)}"


def field_names(model: type[Spec]) -> list[str]:
    """Return the fields of a table as they are written in the file."""
    return [field.alias or name for name, field in model.model_fields.items()]


def _sentence(
    detail: ErrorDetails, place: Location, tables: tuple[type[Spec], ...]
) -> str:
    kind, value, context = detail["type"], detail["input"], detail.get("ctx", {})
    unit = unit_of(place)
    tail = f" {unit}" if unit else ""
    if kind == RULE:
        return str(context["text"])
    if kind == "missing":
        return f"is required, in {unit}" if unit else "is required"
    if kind == "extra_forbidden":
        known = [name for table in tables for name in field_names(table)]
        return unknown_field(str(place[-1]), known)
    if kind in _BOUNDS:
        sign, key = _BOUNDS[kind]
        return f"must be {sign} {context[key]:.12g}{tail}, got {shown(value)}{tail}"
    if kind in _KINDS:
        of_unit = f" of {unit}" if unit and kind == "float_type" else ""
        return f"must be {_KINDS[kind]}{of_unit}, got {shown(value)}"
    if kind == "literal_error":
        return _choice(str(context["expected"]), value)
    if kind == "union_tag_invalid":
        return _choice(str(context["expected_tags"]), context["tag"])
    if kind == "union_tag_not_found":
        return "is required"
    if kind == "string_pattern_mismatch":
        return (
            'must be 1 to 64 letters, digits, "_" or "-" and start with a letter '
            f"or digit, got {shown(value)}"
        )
    return _length_sentence(kind, value, context) or detail["msg"]


def _length_sentence(kind: str, value: Any, context: dict[str, Any]) -> str:
    if kind in ("too_short", "too_long"):
        side = "least" if kind == "too_short" else "most"
        limit = context["min_length" if kind == "too_short" else "max_length"]
        return f"must have at {side} {limit} values, got {len(value)}"
    if kind == "string_too_long":
        limit = context["max_length"]
        return f"must have at most {limit} characters, got {len(value)}"
    if kind == "string_too_short":
        return "must not be empty"
    return ""


def _choice(expected: str, value: Any) -> str:
    names = re.findall(r"'([^']*)'", expected) or [expected]
    listed = ", ".join(f'"{name}"' for name in names) if "'" in expected else expected
    one_of = "one of " if len(names) > 1 else ""
    meant = hint(value, names) if len(names) > 1 else ""
    return f"must be {one_of}{listed}, got {shown(value)}{meant}"


def _has_refused_items(of: ErrorDetails, details: list[ErrorDetails]) -> bool:
    """Return whether a list only looks too short because items of it are refused."""
    place = of["loc"]
    return any(
        detail["loc"][: len(place)] == place and len(detail["loc"]) > len(place)
        for detail in details
    )


def _wanted_lengths(details: list[ErrorDetails]) -> dict[Location, int]:
    """Return how long each list that lacks items should have been."""
    wanted: dict[Location, int] = {}
    for detail in details:
        last = detail["loc"][-1] if detail["loc"] else ""
        if detail["type"] == "missing" and isinstance(last, int):
            place = detail["loc"][:-1]
            wanted[place] = max(wanted.get(place, 0), last + 1)
    return wanted


def _placed(
    model: type[Spec], location: Location
) -> tuple[Location, tuple[type[Spec], ...]]:
    """Return a place without union tags, and the tables its last field is in."""
    place: list[str | int] = []
    tables: tuple[type[Spec], ...] = (model,)
    holders = tables
    for part in location:
        if isinstance(part, int):
            place.append(part)
            continue
        if part == "[key]":
            # The name of a field is refused; the place already ends with it.
            continue
        tagged = tuple(_of_kind(tables, part)) if len(tables) > 1 else ()
        if tagged:
            tables = tagged
            continue
        place.append(part)
        holders = tables
        tables = tuple(_below(tables, part))
    return tuple(place), holders


def _of_kind(tables: tuple[type[Spec], ...], kind: str) -> Iterator[type[Spec]]:
    for table in tables:
        field = table.model_fields.get("kind")
        if field is not None and kind in get_args(field.annotation):
            yield table


def _below(tables: tuple[type[Spec], ...], name: str) -> Iterator[type[Spec]]:
    for table in tables:
        for own, field in table.model_fields.items():
            if name == (field.alias or own):
                yield from _tables_in(field.annotation)


def _tables_in(annotation: Any) -> Iterator[type[Spec]]:
    if isinstance(annotation, type) and issubclass(annotation, Spec):
        yield annotation
    for argument in get_args(annotation):
        yield from _tables_in(argument)
