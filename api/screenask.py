"""Screenask: what a request asks of a list of finds, rows of JSON or a file, read and answered.

Beside the finds stand options, those of `mendworth screen` by the same names: nested in JSON, flat in a form.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from api.common import read_common
from api.findheads import FINDS, heads_for, read_find_map
from api.findlist import FindList, read_finds
from api.findrows import ToldOfFinds
from api.jsonrows import json_rows, sheet_of
from api.screening import CASH, Desk, screen_list
from api.screenlist import LeftOutRow, ScreenedList
from api.screenoptions import MOST_FINDS, NEUTRAL, FileSent, FindsSent, Options, read_options
from api.sheets import MOST_COLUMNS, OBJECTS, ROWS, Counted, Kind, Oversized, Sheet
from api.strictjson import MOST_BYTES, NotJson, read_json
from econ.problems import BadInput, Problem, nearest, shown
from econ.rulebook import Shelf
from econ.selection import GAP
from econ.shortlist import Limits

NAME = "finds"  # of the list, in a request and in its problems
SENT = Kind(
    FINDS.called,
    MOST_BYTES,
    MOST_FINDS,
    "send fewer, or screen them on the command line, which takes more: mendworth screen",
)
MOST_TOLD = 100  # problems of one request that are told one by one


def screen_rows(body: bytes, desk: Desk, today: date) -> ScreenedList:
    """Return the answer to finds sent as JSON. today: the day of the decision where nothing names another.

    Raises BadInput with every problem: NotJson where the body is none, Oversized where there are too many finds.
    """
    document = read_json(body)
    if not isinstance(document, Mapping):
        rule = "this is a JSON object with the finds and what holds for them"
        raise BadInput([Problem("document", shown(document), rule, "see docs/screening.md")])
    problems: list[Problem] = []
    asked = read_options(FindsSent, document, problems)
    rows = _rows(body, asked.finds, desk.classes, problems)
    told = ToldOfFinds(asked.currency or "", asked.as_of, "point", asked.dates or "", per_km=asked.per_km)
    x = asked.limits
    limits = Limits(x.hours, x.cash, x.places, x.km)
    finds = None if rows is None else sheet_of(rows)
    return _answer(asked, finds, OBJECTS, told, limits, "limits.cash", problems, desk, today)


def screen_file(
    texts: Mapping[str, Sequence[str]], files: Mapping[str, Sequence[bytes]], desk: Desk, today: date
) -> ScreenedList:
    """Return the answer to a file in a form. texts: its fields; files: its files; of each name all there are.

    today: as for `screen_rows`. Raises BadInput with every problem, Oversized where there are too many finds.
    """
    problems: list[Problem] = []
    asked = read_options(FileSent, _document(texts, files, problems), problems)
    mapped = _mapped(asked.map, desk.classes, problems)
    told = ToldOfFinds(
        asked.currency or "", asked.as_of, asked.decimal or "", asked.dates or "", asked.encoding, asked.sheet, mapped,
        asked.per_km,
    )  # fmt: skip
    limits = Limits(asked.hours, asked.cash, asked.places, asked.km)
    return _answer(asked, asked.finds, ROWS, told, limits, "cash", problems, desk, today)


def _rows(body: bytes, finds: object, classes: Shelf, problems: list[Problem]) -> list[dict[str, str]] | None:
    """Return the finds of a JSON body as rows of text; None, and why joins the problems, where they are none."""
    if not isinstance(finds, list) or not finds:
        if finds is not None or not any(p.path == NAME for p in problems):
            rule = "the finds are a list of objects, one at least"
            problems.append(Problem(NAME, shown(finds), rule, "see docs/screening.md"))
        return None
    if len(finds) > MOST_FINDS:
        raise SENT.oversized(NAME, f"{len(finds):,} rows")
    first: dict[str, str] = {}  # of each key, where it first stands
    for i, row in enumerate(finds):
        for key in row if isinstance(row, Mapping) else ():
            first.setdefault(key, f"{NAME}.{i}.{key}")
    if len(first) > MOST_COLUMNS:
        raise SENT.oversized(NAME, f"{len(first):,} keys")
    known = heads_for(first, classes).columns
    odd = [
        Problem(path, shown(key), "a list of finds has no such column", nearest(key, known))
        for key, path in first.items()
        if key not in known
    ]
    rows = None
    try:
        rows = json_rows(body, NAME)
    except BadInput as error:
        odd += error.problems
    if rows is not None and not odd and "machine_class" not in first:
        odd.append(Problem(NAME, "no machine_class", "each find names its machine class", "add it"))
    problems += odd
    return None if odd else rows


def _document(
    texts: Mapping[str, Sequence[str]], files: Mapping[str, Sequence[bytes]], problems: list[Problem]
) -> dict[str, Any]:
    """Return a form as a document of values. What is given twice or in the wrong way joins the problems."""
    found: dict[str, Any] = {}
    once, keep = "it is given once", "keep the one that holds"
    for name, given in texts.items():
        if name == "map":
            found[name] = list(given)
        elif name == NAME:
            rule, remedy = "the finds are a file: CSV, XLSX or Parquet", "send it as a file with a name"
            problems.append(Problem(name, shown(given[0]), rule, remedy))
            found[name] = None
        elif len(given) > 1 and name in FileSent.model_fields:
            problems.append(Problem(name, f"{len(given)} of them", once, keep))
            found |= {name: NEUTRAL[name]} if name in NEUTRAL else {}
        else:
            found[name] = given[0]
    for name, bodies in files.items():
        if name != NAME:
            remedy = "send it as text" if name in FileSent.model_fields else f"call it {NAME}, or leave it out"
            problems.append(Problem(name, "a file", "the finds are the one file", remedy))
        elif len(bodies) > 1:
            problems.append(Problem(name, f"{len(bodies)} of them", once, keep))
            found[name] = None
        else:
            found.setdefault(name, bodies[0])
    for name, value in found.items():
        if name in ("hours", "places", "km", "exact") and isinstance(value, str):
            found[name] = _figure(value)
    if isinstance(found.get("common"), str):
        try:
            found["common"] = read_json(found["common"].encode())
        except NotJson as error:
            problems += [replace(p, path="common") for p in error.problems]
            found["common"] = None
    return found


def _figure(text: str) -> object:
    """Return a number, or true or false, as JSON would have it; else the text."""
    if re.fullmatch(r"true|false|-?(0|[1-9][0-9]{0,20})(\.[0-9]{1,20})?", text):
        return read_json(text.encode())
    return text


def _mapped(said: Sequence[str], classes: Shelf, problems: list[Problem]) -> Mapping[str, str]:
    try:
        return read_find_map(said, classes)
    except BadInput as error:
        problems += map(_here, error.problems)
        return {}


def _answer(
    asked: Options,
    finds: bytes | Sheet | None,
    counted: Counted,
    told: ToldOfFinds,
    limits: Limits,
    cash: str,
    problems: list[Problem],
    desk: Desk,
    today: date,
) -> ScreenedList:
    """Return the answer to a list.

    cash: the field of the cash there is. problems: those of the request so far; with them none is given.
    """
    found: FindList | None = None
    if finds is not None:
        try:
            found = read_finds(finds, NAME, told, desk.classes, today, counted, SENT)
        except Oversized:
            raise
        except BadInput as error:
            problems += map(_here, error.problems)
    common = _common(asked.common, found, desk, problems)
    if problems or found is None:
        raise BadInput(_first(problems))
    found = replace(found, notes=tuple(map(_said_here, found.notes)))
    try:
        answer = screen_list(found, common, limits, 0.0 if asked.exact else GAP, desk)
    except BadInput as error:
        raise BadInput(replace(p, path=cash) if p.path == CASH else p for p in error.problems) from None
    return replace(answer, left_out_rows=tuple(map(_row_here, answer.left_out_rows)))


def _common(document: object, found: FindList | None, desk: Desk, problems: list[Problem]) -> Mapping[str, Any]:
    """Return what holds for all finds, checked. Its problems join the others."""
    if document is None:
        return {}
    named = [] if found is None else [desk.classes[i] for i in found.rows["machine_class"].unique()]
    try:
        common = read_common(document, named or list(desk.classes.values()))
    except BadInput as error:
        own = isinstance(document, Mapping)
        problems += [replace(p, path=f"common.{p.path}" if own else "common") for p in error.problems]
        return {}
    if common.get("price_revision") is not None and desk.book is None:
        value, rule = shown(common["price_revision"]), "no price book is in use here"
        problems.append(Problem("common.price_revision", value, rule, "leave it out"))
    return common


def _first(problems: Sequence[Problem]) -> Sequence[Problem]:
    """Return the problems; of many the first ones, and how many more there are."""
    more = len(problems) - MOST_TOLD
    if more <= 0:
        return problems
    rule = f"the first {MOST_TOLD} are told one by one"
    return [*problems[:MOST_TOLD], Problem("document", f"{more:,} more", rule, "put these right first")]


# What a list leaves open is asked about by the options of the command line; here they are fields.
_OPTION = re.compile(r'--(currency|decimal|dates|encoding|sheet|map|per-km)( (?=comma|point|day|month|"))?')


def _said_here(text: str) -> str:
    """Return what is said of the command line's options as a request has them: --dates day as dates=day."""

    def field(m: re.Match[str]) -> str:
        name = m[1].replace("-", "_")
        return f"{name}=" if m[2] else f"field {name}" if text[: m.start()].endswith(": ") else name

    return _OPTION.sub(field, text)


def _here(problem: Problem) -> Problem:
    path = _said_here(problem.path) if problem.path.startswith("--") else problem.path
    return replace(problem, path=path, rule=_said_here(problem.rule), remedy=_said_here(problem.remedy))


def _row_here(row: LeftOutRow) -> LeftOutRow:
    told = (replace(p, rule=_said_here(p.rule), remedy=_said_here(p.remedy)) for p in row.problems)
    return replace(row, problems=tuple(told))
