"""Cases that name only what their class has, with every figure anywhere in its published range."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from api import library
from api.classes import ClassLine, describe
from api.openapi import COMPONENTS, published_case_schema


def _kind(schema: dict[str, Any]) -> dict[str, Any]:
    return next((s for s in schema.get("anyOf", ()) if s.get("type") != "null"), schema)


def value_of(schema: dict[str, Any]) -> st.SearchStrategy[Any]:
    """Return values of a schema, biased to those a person would write."""
    kind = _kind(schema)
    if "$ref" in kind:
        return fields_of(kind["$ref"].removeprefix(COMPONENTS))
    if "enum" in kind:
        return st.sampled_from(kind["enum"])
    if kind["type"] == "boolean":
        return st.booleans()
    if kind["type"] == "number":
        low, high = kind.get("minimum", kind.get("exclusiveMinimum", 0)), kind.get("maximum", 1e4)
        return st.floats(low, high, exclude_min="exclusiveMinimum" in kind) | st.just(high)
    if kind["type"] == "array":
        return st.lists(value_of(kind["items"]), max_size=3)
    if "[0-9]{1,9}" in kind.get("pattern", ""):
        return st.sampled_from(["0", "0.01", "9.99", "45.00", "380.00", "999999999.999"])
    return st.just("2026-04-10") if kind.get("format") == "date" else st.text(max_size=20)


def fields_of(name: str, skip: frozenset[str] = frozenset()) -> st.SearchStrategy[dict[str, Any]]:
    """Return objects of a definition with any of its fields, always the required ones."""
    part = published_case_schema()["$defs"][name]
    fields = {k: value_of(v) for k, v in part["properties"].items() if k not in skip}
    needed = {k: v for k, v in fields.items() if k in part.get("required", ())}
    return st.fixed_dictionaries(needed, optional={k: v for k, v in fields.items() if k not in needed})


@st.composite
def cases(draw: st.DrawFn) -> dict[str, Any]:
    """Return a case whose ids are all known."""
    c: ClassLine = describe(library.machine_class(draw(st.sampled_from(library.ids()))))
    machine = draw(fields_of("Machine", frozenset({"class", "name", "serial_number"})))
    names = lambda lines, most: st.lists(st.sampled_from([x.id for x in lines]), max_size=most, unique=True)  # noqa: E731
    facts = draw(st.lists(st.sampled_from(c.history), max_size=4, unique_by=lambda f: f.id))
    checks = draw(st.lists(st.sampled_from(c.checks), max_size=5, unique_by=lambda x: x.id))
    findings = []
    for check in checks:
        if check.reveals:
            seen = st.lists(st.sampled_from(check.reveals), unique=True)
            findings.append({"check": check.id, "found": draw(seen)})
        elif check.reading_unit and draw(st.booleans()):
            findings.append({"check": check.id, "reading": draw(st.floats(-1e6, 1e6))})
        else:
            findings.append({"check": check.id, "outcome": draw(st.sampled_from([*check.outcomes, "not_sure"]))})
    return {
        "perspective": draw(st.sampled_from(["owner", "shop", "reseller"])),
        "currency": draw(st.sampled_from(["USD", "USD", "EUR", "JPY", "KWD"])),
        "as_of": "2026-04-10",
        "machine": {**machine, "class": c.id},
        "history": {f.id: draw(st.sampled_from(f.levels)) for f in facts},
        "complaints": draw(names(c.complaints, 3)),
        "findings": findings,
        "wanted": draw(names(c.wanted, 3)),
        "prior_jobs": [
            {
                "job": j,
                "months_ago": draw(st.sampled_from([0, 2, 90])),
                "warranty_months": draw(st.sampled_from([6, None])),
            }
            for j in draw(names(c.jobs, 2))
        ],
        "recalled_jobs": draw(names(c.jobs, 1)),
        "tools": {"owned": draw(names(c.tools, 3)), "cannot_get": draw(names(c.tools, 2))},
        "terms": draw(fields_of("Terms")),
        "market": draw(fields_of("Market")),
        "find": draw(fields_of("Find")),
        "prices": dict.fromkeys(draw(names(c.parts, 3)), draw(st.sampled_from(["0", "12.50", "999999999.999"]))),
        "unobtainable": draw(names(c.parts, 2)),
    }
