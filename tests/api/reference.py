"""The field reference of a case, worked out from its JSON Schema: field, what it takes, default."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api import library
from econ.case import case_schema
from econ.rulebook import CURRENCY

MONEY = "[0-9]{1,9}"


def _parts(schema: dict[str, Any]) -> list[dict[str, Any]]:
    return [s for s in schema.get("anyOf", [schema]) if s.get("type") != "null"]


def _number(kind: dict[str, Any]) -> str:
    low, above = kind.get("minimum"), kind.get("exclusiveMinimum")
    least = f"{low:g}" if low is not None else f"over {above:g}" if above is not None else ""
    most = kind.get("maximum")
    if least and most is not None:
        return f"number, {least} to {most:g}"
    return f"number, {least or 'any'}" + (" or more" if least and most is None else "")


def takes(kind: dict[str, Any], defs: dict[str, Any]) -> str:
    """Return what a schema takes, in words."""
    if "$ref" in kind:
        return f"object {kind['$ref'].rpartition('/')[2]}"
    if "enum" in kind:
        known = kind["enum"]
        return "ISO 4217 code" if "USD" in known else ", ".join(f"`{x}`" for x in known)
    if kind["type"] == "array":
        return "list of " + " or ".join(takes(k, defs) for k in _parts(kind["items"]))
    if kind["type"] == "object":
        (value,) = kind["patternProperties"].values()
        return "object of " + " or ".join(takes(k, defs) for k in _parts(value)) + " by id"
    if kind["type"] in ("number", "integer"):
        return ("whole " if kind["type"] == "integer" else "") + _number(kind)
    if kind["type"] == "boolean":
        return "true or false"
    if kind.get("format") == "date":
        return "day"
    if MONEY in kind.get("pattern", ""):
        return "money, may be negative" if "-?" in kind["pattern"] else "money"
    return "id" if kind.get("pattern") else "text"


def _default(owner: str, name: str, schema: dict[str, Any], required: list[str]) -> str:
    if name in required:
        return "required"
    value = schema.get("default")
    if owner == "Terms" and value is None and name in library.defaults():
        term = library.defaults()[name]
        return f"{term.value:g} {CURRENCY}" if term.money else f"{term.value:g}"
    if value is None or value in ([], {}) or isinstance(value, dict):
        return "-"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ", ".join(f"`{x}`" for x in value)
    return f"{value:g}" if isinstance(value, float) else f"`{value}`"


def fields() -> Iterator[tuple[str, str, str, str, str]]:
    """Yield (object, field, what it takes, default, description) for every field of a case."""
    schema = case_schema()
    defs = schema["$defs"]
    for name, part in (("Case", schema), *defs.items()):
        for field, told in part["properties"].items():
            kinds = " or ".join(takes(k, defs) for k in _parts(told))
            yield name, field, kinds, _default(name, field, told, part.get("required", [])), told.get("description", "")
