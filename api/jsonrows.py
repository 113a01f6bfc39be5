"""Rows of JSON: a list as JSON, in; the rows of the same list as CSV, text by column name, or as a sheet, out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from typing import Any

import numpy as np

from api.figures import MOST_DIGITS
from api.sheets import Column, Sheet
from api.strictjson import NotJson, as_text, parse
from econ.problems import BadInput, Problem, shown

SHAPE = "the rows are a list of objects, or the one list of an object"


class Number(str):
    """The text of a number, told apart from the same text in quotation marks."""

    __slots__ = ()


_POWER = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?)[eE]([+-]?[0-9]{1,2})")  # beyond that it is no figure of a list


def plain_number(text: str) -> Number:
    """Return a number of JSON without a power of ten; one that is not whole with the 15 digits spreadsheets show."""
    power = _POWER.fullmatch(text)
    if power is None and not re.fullmatch(r"-?[0-9]+\.[0-9]+", text):
        return Number(text)
    value = Decimal(power[1]).scaleb(int(power[2]), Context(prec=len(text))) if power else Decimal(text)
    if len(value.as_tuple().digits) > MOST_DIGITS:
        value = value.normalize(Context(prec=MOST_DIGITS))
    return Number(f"{value if value else abs(value):f}")


@dataclass(frozen=True)
class _Refused:
    """A value that stands in JSON and is no cell; told with its place once that is known."""

    value: str
    rule: str
    remedy: str


def _constant(name: str) -> _Refused:
    return _Refused(name, "JSON has no such number", "give a finite number, or leave it out if it is not known")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                found[key] = _Refused(
                    f"{shown(key)} twice", "a key stands once in an object", "keep the one that holds"
                )
            seen.add(key)
    return found


def _whole(text: str) -> bool:
    return text.isascii() or not any("\ud800" <= c <= "\udfff" for c in text)


def _cell(value: Any) -> str | _Refused:
    """Return a value as the text of a cell; numbers are text already, digit for digit."""
    if isinstance(value, str):
        if _whole(value):
            return value
        return _Refused("half of a surrogate pair", "text is whole characters", "write the character itself")
    if isinstance(value, dict | list):
        kind = "an object" if isinstance(value, dict) else "a list"
        return _Refused(kind, "a cell holds one text or number", "write it as one text, or its values in columns")
    if isinstance(value, _Refused):
        return value
    return {None: "", True: "true", False: "false"}[value]


def _rows(value: Any, key: str) -> tuple[str, list[Any]]:
    """Return where the rows stand, and the rows."""
    if key:
        return key, value[key]
    if isinstance(value, list):
        return "body", value
    lists = {k: v for k, v in value.items() if isinstance(v, list)} if isinstance(value, dict) else {}
    if len(lists) != 1:
        got = f"an object of {len(lists)} lists" if isinstance(value, dict) else "a single value"
        raise BadInput([Problem("body", got, SHAPE, "send only the list of rows")])
    ((key, rows),) = lists.items()
    return f"body.{key}", rows


def _row(path: str, row: Any, problems: list[Problem]) -> dict[str, str]:
    """Return the cells of a row, its faults added to the problems."""
    cells: dict[str, str] = {}
    if not isinstance(row, dict):
        got = "a list" if isinstance(row, list) else "a single value"
        problems.append(Problem(path, got, "a row is an object, its keys the column names", "name the columns"))
        return cells
    for key, value in row.items():
        cell = _cell(value)
        if not _whole(key):
            got, rule = "half of a surrogate pair", "text is whole characters"
            problems.append(Problem(path, got, rule, "write the character itself"))
        elif isinstance(cell, _Refused):
            problems.append(Problem(f"{path}.{key}", cell.value, cell.rule, cell.remedy))
        else:
            cells[key] = cell
    return cells


def json_rows(body: bytes, key: str = "") -> list[dict[str, str]]:
    """Return the rows of a JSON text: an array of objects, or an object with one array; its other values are left out.

    key: of the array, where it is known that the text is an object with an array there.
    Keys are column names, values the text of a cell: a number with the digits it is written with, ``1.10`` stays
    ``1.10``, and is a `Number`; null is an empty cell. Raises BadInput with all that is wrong, each by its path.
    """
    try:
        value = parse(
            as_text(body), object_pairs_hook=_object, parse_constant=_constant, parse_float=Number, parse_int=Number
        )
    except RecursionError:
        raise NotJson("more levels than can be read", SHAPE, "send only the list of rows") from None
    if isinstance(value, _Refused):
        raise BadInput([Problem("body", value.value, value.rule, value.remedy)])
    where, rows = _rows(value, key)
    problems: list[Problem] = []
    cells = [_row(f"{where}.{i}", row, problems) for i, row in enumerate(rows)]
    if problems:
        raise BadInput(problems)
    return cells


def sheet_of(rows: Sequence[Mapping[str, str]]) -> Sheet:
    """Return rows as a sheet, the columns in the order in which they first come up; numbers have a decimal point.

    Not by way of CSV, where what was a number is no longer told from text, and a row might be taken for the headers.
    """
    columns = []
    names = list(dict.fromkeys(name for row in rows for name in row))
    for name in names:
        places: dict[tuple[str, bool], int] = {}
        codes = [places.setdefault(_told(row.get(name, "")), len(places)) for row in rows]
        texts = np.array([text for text, _ in places], dtype=object)
        columns.append(Column(np.array(codes, np.intp), texts, np.array([x for _, x in places], bool)))
    return Sheet(tuple(" ".join(name.split()) for name in names), tuple(columns), 0, len(rows), (), parted=False)


def _told(cell: str) -> tuple[str, bool]:
    """Return a cell as plain text, and whether it was a number."""
    return str(plain_number(cell) if isinstance(cell, Number) else cell), isinstance(cell, Number)
