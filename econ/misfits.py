"""Misfits: what pydantic finds wrong with a document, told in our own words: path, value, rule and what to write."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from econ.problems import Problem, nearest, shown

BRANCHES = ("constrained-str", "Report", "[key]")  # of pydantic's paths; a document has nothing of these names
UNFIT = "a table that does not fit"
FINITE = "give a finite number, or leave it out if it is not known"


class Misfit(ValueError):  # noqa: N818 - the table does not fit
    """What a check of our own finds wrong. key: dotted, the key of the table it is about; empty for the whole."""

    def __init__(self, rule: str, remedy: str, key: str = "") -> None:
        super().__init__(rule)
        self.rule, self.remedy, self.key = rule, remedy, key


# By kind of error what was expected and what to do; {} are what pydantic tells of it. Every kind that our models give.
WORDS = {
    "string_type": ("this must be text", 'write it in quotation marks, "..."'),
    "string_too_short": ("this must be at least {min_length} of its characters", "write what it stands for"),
    "string_too_long": ("this must be at most {max_length} characters", "shorten it"),
    "bool_type": ("this must be true or false", "write true or false, without quotation marks"),
    "float_type": ("this must be a number", "write a number such as 12.5, without quotation marks"),
    "int_type": ("this must be a whole number", "write a whole number such as 12, without quotation marks"),
    "finite_number": ("this must be a finite number", FINITE),
    "greater_than": ("this must be greater than {gt}", "write a number above {gt}"),
    "greater_than_equal": ("this must be greater than or equal to {ge}", "write {ge} or more"),
    "less_than": ("this must be less than {lt}", "write a number below {lt}"),
    "less_than_equal": ("this must be less than or equal to {le}", "write {le} or less"),
    "tuple_type": ("this must be a list in [ ]", "write it in [ ], with a comma between what it holds"),
    "dict_type": ("this must be names with their values in {{ }}", "write each name with its value in {{ }}"),
    "model_type": ("this must be names with their values in {{ }}", "write each name with its value in {{ }}"),
    "too_short": ("this must hold at least {min_length}", "add {more}"),
    "too_long": ("this must hold at most {max_length}", "leave out {more}"),
    "invalid_key": ("a name is text", "write it in quotation marks"),
}
OTHER = ("this is not what belongs here", "see docs/rulebooks.md, or docs/case.md, for what does")


def _within(kind: type[BaseModel], loc: tuple[str | int, ...]) -> type[BaseModel]:
    """Return the model of the table at a path within a model."""
    for part in loc:
        fields = {f.alias or name: f for name, f in kind.model_fields.items()}
        if part in fields:
            kind = next(_models(fields[str(part)].annotation), kind)
    return kind


def _models(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)


def _dig(value: Any, key: str) -> Any:
    for part in key.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    return value


def _numbers(error: Mapping[str, Any]) -> dict[str, str]:
    """Return the numbers of an error as text, and how many items are too many or missing."""
    told = error.get("ctx", {})
    said = {k: f"{float(v):.15g}" for k, v in told.items() if not isinstance(v, str | ValueError) and v is not None}
    actual = told.get("actual_length")
    if error["type"] in ("too_short", "too_long"):
        bound = told["min_length" if error["type"] == "too_short" else "max_length"]
        held = len(error["input"]) if actual is None else actual
        said["more"] = str(abs(held - bound))
    return said


def _told(error: Mapping[str, Any], kind: type[BaseModel]) -> tuple[str, str, str, str]:
    """Return the key within what the path names (mostly none), the value, the rule and the remedy."""
    sort, value, loc = error["type"], error["input"], error["loc"]
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, Misfit):
        got = _dig(value, cause.key) if cause.key else value
        whole = not cause.key and isinstance(value, Mapping)
        said = UNFIT if whole else "nothing" if got is None else shown(got)
        return cause.key, said, cause.rule, cause.remedy
    if sort == "missing":
        source = str(loc[-1]).endswith("source")
        rule = "this is required" + (": every figure has a source" if source else "")
        return "", "nothing", rule, f"add {loc[-1]}" + (', such as "judgement"' if source else "")
    if sort == "extra_forbidden":
        names = [f.alias or name for name, f in _within(kind, loc[:-1]).model_fields.items()]
        return "", shown(value), "this name is not permitted here", nearest(loc[-1], names)
    if sort == "literal_error":
        choices = re.findall("'([^']*)'", error["ctx"]["expected"])
        return "", shown(value), f"this must be one of {', '.join(choices)}", nearest(value, choices)
    if sort == "string_pattern_mismatch":  # the one pattern there is, that of an id
        near = re.sub("[^a-z0-9]+", "_", value.lower()).strip("_")[:64]
        remedy = f'write "{near}"' if near else "rename it"
        return "", shown(value), "an id is small letters, digits and _, at most 64 of them", remedy
    rule, remedy = (x.format(**_numbers(error)) for x in WORDS.get(sort, OTHER))
    return "", shown(value), rule, remedy


def misfits(error: ValidationError, kind: type[BaseModel], place: Callable[[str], str] = str) -> list[Problem]:
    """Return what is wrong with a document, one problem for each path.

    kind: the model it was held against. place: what names a path, dotted, empty for the whole document.
    """
    found: dict[str, Problem] = {}
    for e in error.errors(include_url=False):
        if "constrained-str" in e["loc"] and isinstance(e["input"], Mapping):
            continue  # the other form that a history report may take is the one meant
        key, value, rule, remedy = _told(e, kind)
        loc = [str(p) for p in e["loc"] if p not in BRANCHES]
        path = place(".".join(loc))
        if key and place(".".join([*loc, key])).startswith(path):
            path = place(".".join([*loc, key]))
        elif key:  # another text wrote that figure: it is the table that does not fit
            value = UNFIT
        found.setdefault(path, Problem(path, value, rule, remedy))
    return list(found.values())
