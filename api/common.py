"""Common: what holds for every find of a list: terms, tools and prices, from one JSON document, laid into each case."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from econ.case import read_shape
from econ.problems import BadInput, Problem, nearest, shown
from econ.rulebook import MachineClass

FIELDS = ("terms", "tools", "prices", "unobtainable", "listed_as", "price_revision")


def read_common(document: object, classes: Iterable[MachineClass]) -> Mapping[str, Any]:
    """Return what holds for every find, checked. classes: those of the finds.

    Raises BadInput with every problem: a field that is not of FIELDS, a value that a case would not take, a part or a
    tool that none of the classes has.
    """
    if not isinstance(document, Mapping):
        raise BadInput(
            [Problem("terms", shown(document), "what holds for all finds is an object", "see docs/screening.md")]
        )
    problems = [
        Problem(str(name), shown(value), "this does not hold for all finds", nearest(str(name), FIELDS))
        for name, value in document.items()
        if name not in FIELDS
    ]
    known = {k: v for k, v in document.items() if k in FIELDS}
    _, wrong = read_shape({"perspective": "reseller", "machine": {"class": "any"}, **known})
    problems += wrong
    every = list(classes)
    parts, tools = {p for c in every for p in c.parts}, {t for c in every for t in c.tools}
    asked = [(f"{name}.{p}", p, parts) for name in ("prices", "listed_as") for p in _names(known.get(name))]
    asked += [(f"unobtainable.{i}", p, parts) for i, p in enumerate(_names(known.get("unobtainable")))]
    own = known.get("tools")
    for kind in ("owned", "cannot_get"):
        named = own.get(kind) if isinstance(own, Mapping) else None
        asked += [(f"tools.{kind}.{i}", t, tools) for i, t in enumerate(_names(named))]
    told, rule = {p.path for p in problems}, "no machine class of these finds has it"
    problems += [
        Problem(path, shown(name), rule, nearest(name, have))
        for path, name, have in asked
        if name not in have and path not in told
    ]
    if problems:
        raise BadInput(problems)
    return known


def _names(value: object) -> list[str]:
    """Return the names in a list or the keys of an object; none of anything else, which is told otherwise."""
    return [x for x in value if isinstance(x, str)] if isinstance(value, Mapping | list) else []


def with_common(find: Mapping[str, Any], common: Mapping[str, Any], c: MachineClass) -> dict[str, Any]:
    """Return a case document with what holds for every find, as far as its class has the parts and tools named."""
    laid: dict[str, Any] = {}
    for name, value in common.items():
        if name in ("prices", "listed_as"):
            laid[name] = {p: x for p, x in value.items() if p in c.parts}
        elif name == "unobtainable":
            laid[name] = [p for p in value if p in c.parts]
        elif name == "tools":
            laid[name] = {kind: [t for t in value.get(kind, ()) if t in c.tools] for kind in ("owned", "cannot_get")}
        else:
            laid[name] = value
    return {**laid, **find}
