"""Strict JSON: bytes in, one plain value out, and nothing that only some readers would accept.

Refused beyond broken JSON: NaN and Infinity, numbers too large to hold, keys given twice, lone surrogates, text that is
not UTF-8, deep nesting, and more than a megabyte.
"""

from __future__ import annotations

import json
import math
import re
from typing import Any

from econ.problems import BadInput, Problem, shown

MOST_BYTES = 1_000_000
MOST_LEVELS = 32
LONGEST_INTEGER = 15  # digits; longer ones are read as floating-point numbers
# A string (closed or not, so that each character is looked at once) or a bracket.
_STRING_OR_BRACKET = re.compile(r'"(?:[^"\\]|\\.)*+"?|[\[\]{}]', re.DOTALL)


class NotJson(BadInput):
    """A body that can't be read as strict JSON."""

    def __init__(self, value: str, rule: str, remedy: str) -> None:
        super().__init__([Problem("body", value, rule, remedy)])


class TooLarge(NotJson):
    """A body of more than MOST_BYTES."""

    def __init__(self, value: str = "more") -> None:
        super().__init__(value, f"a case is at most {MOST_BYTES:,} bytes", "leave out what is not part of the case")


def _constant(name: str) -> None:
    raise NotJson(name, "JSON has no such number", "give a finite number, or leave it out if it is not known")


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        rule = "this number is too large to hold"
        raise NotJson(shown(text[:40]), rule, "give a finite number, or leave it out if it is not known")
    return value


def _integer(text: str) -> float | int:
    return int(text) if len(text) <= LONGEST_INTEGER else _number(text)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise NotJson(f"{shown(key)} twice", "a key stands once in an object", "keep the one that holds")
        found[key] = value
    return found


def _check_depth(text: str) -> None:
    depth = 0
    for match in _STRING_OR_BRACKET.finditer(text):
        sign = match[0]
        depth += (sign in "[{") - (sign in "]}")
        if depth > MOST_LEVELS:
            rule = f"a case is nested at most {MOST_LEVELS} levels deep"
            raise NotJson("more levels", rule, "see docs/case.md for its shape")


def as_text(body: bytes) -> str:
    """Return the text of a body in UTF-8. Raises NotJson."""
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        value = f"byte 0x{body[error.start]:02x} at {error.start}"
        raise NotJson(value, "JSON is UTF-8 text", "save it as UTF-8") from None


def parse(text: str, **hooks: Any) -> Any:
    """Return the value of a JSON text, made by the hooks of `json.loads`. Raises NotJson where it is broken."""
    try:
        return json.loads(text, **hooks)
    except json.JSONDecodeError as error:
        near = shown(text[error.pos : error.pos + 20]) if error.pos < len(text) else "the end"
        where = f"line {error.lineno}, column {error.colno}"
        rule = f"this is not JSON: {error.msg[:1].lower()}{error.msg[1:]}"
        raise NotJson(f"{near} at {where}", rule, "correct it there") from None


def read_json(body: bytes) -> Any:
    """Return the value of a JSON text. Raises NotJson (TooLarge where it is the size)."""
    if len(body) > MOST_BYTES:
        raise TooLarge(f"{len(body):,} bytes")
    text = as_text(body)
    _check_depth(text)
    value = parse(text, object_pairs_hook=_object, parse_constant=_constant, parse_float=_number, parse_int=_integer)
    if "\\u" in text:
        try:
            json.dumps(value, ensure_ascii=False).encode()
        except UnicodeEncodeError:
            rule = "text is whole characters"
            raise NotJson("half of a surrogate pair", rule, "write the character itself") from None
    return value


def write_json(value: object) -> str:
    """Return a JSON text, the same at every door. Raises ValueError where a number is not finite."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n"
