"""OpenAPI: a thin layer of our own that describes the routes in OpenAPI 3.1, from one table and the real types.

Our own because problem details have to be documented exactly, and because a case is checked in one pass with its
rulebook rather than by a framework first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from http import HTTPStatus
from typing import Any

from api import demo, library, refusal
from api.again import EXAMPLE, OF_A_CASE, asked_schema
from api.answer import schema_of
from api.common import FIELDS
from api.findheads import COLUMNS, OF_FACT
from api.form import MEDIA_TYPE as FORM
from api.screenoptions import FINDS_EXAMPLE, MOST_FINDS, FileSent, FindsSent
from econ import __version__
from econ.case import case_schema

COMPONENTS = "#/components/schemas/"
DAY = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
INTRODUCTION = (
    "Is this machine worth the next hour and the next parts order, and what would change that? Money is decimal text "
    "in the case's one currency; every error is problem details (RFC 9457) with all that is wrong in `problems`."
)


@dataclass(frozen=True)
class Query:
    """One parameter in the query of an address, left out or given once."""

    name: str
    description: str
    schema: Mapping[str, Any]
    example: str


@dataclass(frozen=True)
class Route:
    """One operation.

    answers: its view; kind: the type of its 200 body; errors: further statuses it may give; takes: the name of the
    document in its body, one of `BODIES`, or empty; query: the parameters it takes; upload: the name of the form that
    may be sent instead, one of `FORMS`, or empty; instead: what is answered instead where the media type is asked for.
    """

    method: str
    path: str
    id: str
    summary: str
    answers: Callable[..., Any]
    kind: Any
    errors: tuple[int, ...] = ()
    takes: str = ""
    query: tuple[Query, ...] = ()
    upload: str = ""
    instead: Mapping[str, Callable[..., bytes]] = field(default_factory=dict)


def _moved(schema: Any) -> Any:
    """Return a schema with references to components and with keys of open objects bound as they really are.

    pydantic writes the key pattern of a mapping as patternProperties, which would allow any other key beside.
    """
    if isinstance(schema, list):
        return [_moved(x) for x in schema]
    if not isinstance(schema, Mapping):
        return schema
    found = {k: _moved(v) for k, v in schema.items() if k != "patternProperties"}
    if isinstance(found.get("$ref"), str):
        found["$ref"] = found["$ref"].replace("#/$defs/", COMPONENTS)
    patterns = schema.get("patternProperties")
    if isinstance(patterns, Mapping):
        ((pattern, value),) = patterns.items()
        found["propertyNames"] = {**found.get("propertyNames", {}), "pattern": pattern}
        found["additionalProperties"] = _moved(value)
    return found


def _one_of(names: Iterable[str]) -> list[dict[str, Any]]:
    """Return the alternatives of exactly one of several fields being given; null counts as not given."""
    fields = tuple(names)
    return [
        {
            "required": [given],
            "properties": {n: {"not": {"type": "null"}} if n == given else {"type": "null"} for n in fields},
        }
        for given in fields
    ]


@cache
def published_case_schema(ids: tuple[str, ...] | None = None) -> dict[str, Any]:
    """Return the case schema as published: with the machine classes there are, days and findings said exactly.

    ids: of the machine classes; of those that ship where left out.
    """
    schema: dict[str, Any] = _moved(case_schema())
    parts = schema["$defs"]
    parts["Machine"]["properties"]["class"]["enum"] = list(library.ids() if ids is None else ids)
    parts["Finding"]["oneOf"] = _one_of(("outcome", "reading", "found"))
    for holder, name in ((schema, "as_of"), (parts["Finding"], "on")):
        holder["properties"][name]["anyOf"][0]["pattern"] = DAY
    return schema


@cache
def published_question_schema(ids: tuple[str, ...] | None = None) -> dict[str, Any]:
    """Return the schema of a question about a part that fails, as published: its life is stated or fitted.

    ids: as for `published_case_schema`.
    """
    case, asked = published_case_schema(ids), _moved(asked_schema())
    parts = {**case["$defs"], **asked["$defs"]}
    stated = {"required": ["life_years"], "properties": {"life_years": {"type": "number"}, "failures": {"maxItems": 0}}}
    fitted = {"required": ["failures"], "properties": {"life_years": {"type": "null"}, "failures": {"minItems": 1}}}
    parts["Component"] = {**parts["Component"], "oneOf": [stated, fitted]}
    shared = {name: case["properties"][name] for name in OF_A_CASE}
    return {**asked, "properties": {**shared, **asked["properties"]}, "required": ["machine", "component"]} | {
        "$defs": {k: v for k, v in parts.items() if k in _named(shared, parts) | _named(asked, parts)}
    }


CELL = {"type": ["string", "number", "boolean", "null"]}  # what is wrong in a cell leaves out its row, no more
COMMON = {"$ref": f"{COMPONENTS}FindsCommon"}
# What a file may be, by the types in use (that of Parquet is registered with IANA, from memory).
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FILES = (
    "text/csv",
    XLSX,
    "application/vnd.apache.parquet",
    "application/octet-stream",
)


def _common_parts(ids: tuple[str, ...] | None) -> dict[str, Any]:
    """Return the definition of what holds for all finds, FindsCommon, and those that it needs."""
    case = published_case_schema(ids)
    found = {
        "type": "object",
        "description": "Of a case, what holds for all finds (docs/case.md).",
        "properties": {name: case["properties"][name] for name in FIELDS},
        "additionalProperties": False,
    }
    needed = _named(found, case["$defs"])
    return {"FindsCommon": found, **{k: v for k, v in case["$defs"].items() if k in needed}}


@cache
def published_finds_schema(ids: tuple[str, ...] | None = None) -> dict[str, Any]:
    """Return the schema of finds sent as JSON, as published: a row may hold any column, and anything in a cell.

    ids: as for `published_case_schema`.
    """
    schema: dict[str, Any] = _moved(FindsSent.model_json_schema())
    properties = {name: {**CELL, "description": head.about} for name, head in COLUMNS.items()}
    row = {
        "type": "object",
        "description": "A find: a row of a list, its keys the columns (sample_prices/README.md).",
        "properties": properties,
        "patternProperties": {f"^{re.escape(OF_FACT)}[a-z0-9_]+$": CELL},
        "additionalProperties": False,
    }
    # No maxItems: it would make one more a fault of the document, which is 422, and not of its length, which is 413.
    told = f"{MOST_FINDS} rows at most, else 413"
    finds = {"type": "array", "minItems": 1, "items": {"$ref": f"{COMPONENTS}ListedFind"}, "description": told}
    own = schema["properties"]
    own |= {"finds": finds, "common": {"anyOf": [COMMON, {"type": "null"}]}}
    own["as_of"]["anyOf"][0]["pattern"] = DAY
    return {**schema, "$defs": {**schema["$defs"], **_common_parts(ids), "ListedFind": row}}


@cache
def published_form_schema(ids: tuple[str, ...] | None = None) -> dict[str, Any]:
    """Return the schema of a form with a file of finds, as published. A form has no null.

    ids: as for `published_case_schema`.
    """
    schema: dict[str, Any] = _moved(FileSent.model_json_schema())
    own = {name: _without_null(x) for name, x in schema["properties"].items()}
    told = f"a CSV, XLSX or Parquet file, {MOST_FINDS} rows at most, else 413"
    file = {"type": "string", "format": "binary", "contentMediaType": FILES[-1], "description": told}
    own |= {"finds": file, "common": COMMON}
    own["as_of"]["pattern"] = DAY
    return {**schema, "properties": own, "$defs": _common_parts(ids)}


def _without_null(schema: Mapping[str, Any]) -> dict[str, Any]:
    """Return the schema of what may be left out but not be null."""
    given = [x for x in schema.get("anyOf", ()) if x != {"type": "null"}]
    kept = {k: v for k, v in schema.items() if k not in ("anyOf", "default") or (k == "default" and v is not None)}
    return {**kept, **given[0]} if given else kept


def _named(schema: Any, parts: Mapping[str, Any]) -> set[str]:
    """Return the definitions that a schema needs, near and far."""
    if isinstance(schema, list):
        return {n for x in schema for n in _named(x, parts)}
    if not isinstance(schema, Mapping):
        return set()
    found = {n for key, x in schema.items() if key != "$defs" for n in _named(x, parts)}
    reference = schema.get("$ref")
    if isinstance(reference, str):
        name = reference.removeprefix(COMPONENTS)
        found |= {name} | _named(parts[name], parts)
    return found


def _case_examples() -> dict[str, Any]:
    return {d.name: {"summary": f"{d.about} (invented)", "value": d.case} for d in demo.demos()}


def _question_examples() -> dict[str, Any]:
    return {"bearing": {"summary": "a clutch bearing that failed again (invented)", "value": EXAMPLE}}


def _finds_examples() -> dict[str, Any]:
    return {"two": {"summary": "two finds and ten bench hours (invented)", "value": FINDS_EXAMPLE}}


BODIES: Mapping[str, tuple[Callable[[tuple[str, ...] | None], dict[str, Any]], Callable[[], dict[str, Any]]]] = {
    "Case": (published_case_schema, _case_examples),
    "Question": (published_question_schema, _question_examples),
    "Finds": (published_finds_schema, _finds_examples),
}
FORMS: Mapping[str, tuple[Callable[[tuple[str, ...] | None], dict[str, Any]], dict[str, Any]]] = {
    "FindsFile": (
        published_form_schema,
        {"finds": {"contentType": ", ".join(FILES)}, "common": {"contentType": "application/json"}},
    )
}


def _hoist(components: dict[str, Any], name: str, schema: Mapping[str, Any]) -> dict[str, str]:
    """Put a schema and its definitions among the components; return a reference to it."""
    parts = {**schema.get("$defs", {}), name: {k: v for k, v in schema.items() if k != "$defs"}}
    for part, content in parts.items():
        if components.setdefault(part, content) != content:
            raise ValueError(f"two different schemas are called {part}")
    return {"$ref": COMPONENTS + name}


def _response(status: int, media_type: str, schema: Mapping[str, Any]) -> dict[str, Any]:
    return {"description": HTTPStatus(status).phrase, "content": {media_type: {"schema": schema}}}


def _operation(
    route: Route, components: dict[str, Any], problem: Mapping[str, Any], ids: tuple[str, ...] | None
) -> dict[str, Any]:
    answer: dict[str, Any] = {"type": "object"}
    if route.kind is not dict:
        answer = _hoist(components, route.kind.__name__, schema_of(route.kind, COMPONENTS + "{model}"))
    responses = {"200": _response(200, "application/json", answer)}
    for media_type in route.instead:
        file = {"type": "string", "format": "binary", "contentMediaType": media_type}
        responses["200"]["content"][media_type] = {"schema": file}
    for status in (*route.errors, 500):
        responses[str(status)] = _response(status, refusal.MEDIA_TYPE, problem)
    operation: dict[str, Any] = {"operationId": route.id, "summary": route.summary, "responses": responses}
    names = [part[1:-1] for part in route.path.split("/") if part.startswith("{")]
    parameters: list[dict[str, Any]] = [
        {"name": n, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}} for n in names
    ]
    for q in route.query:
        told = {"name": q.name, "in": "query", "description": q.description, "schema": dict(q.schema)}
        parameters.append({**told, "example": q.example})
    if parameters:
        operation["parameters"] = parameters
    if route.takes:
        schema, examples = BODIES[route.takes]
        body = {"schema": _hoist(components, route.takes, schema(ids)), "examples": examples()}
        content = {"application/json": body}
        if route.upload:
            form, encoding = FORMS[route.upload]
            content[FORM] = {"schema": _hoist(components, route.upload, form(ids)), "encoding": encoding}
        operation["requestBody"] = {"required": True, "content": content}
    return operation


def describe_routes(routes: Iterable[Route], ids: tuple[str, ...] | None = None) -> dict[str, Any]:
    """Return the OpenAPI document of a table of routes. ids: as for `published_case_schema`."""
    components: dict[str, Any] = {}
    problem = _hoist(components, "Refusal", schema_of(refusal.Refusal, COMPONENTS + "{model}"))
    paths: dict[str, Any] = {}
    for route in routes:
        paths.setdefault(route.path, {})[route.method.lower()] = _operation(route, components, problem, ids)
    info = {"title": "mendworth", "version": __version__, "description": INTRODUCTION}
    return {"openapi": "3.1.0", "info": info, "paths": paths, "components": {"schemas": components}}
