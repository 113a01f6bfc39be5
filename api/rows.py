"""Rows: a sheet below its headers, column by column, and what every list checks alike.

That is: fields beyond the headers, what each row must state, and the currency of each row.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from api.cells import Cells, Faults, Numbers, Words, chosen, currency_of, same, units_of
from api.figures import IntArray
from api.headers import Matched
from api.sheets import ROWS, Counted, Sheet
from econ.money import DIGITS
from econ.problems import BadInput, Problem, nearest, shown


@dataclass(frozen=True)
class Below:
    """The rows of a sheet that are not blank.

    rows: their places below the headers. numbers: as messages count them. headers: of our columns, as the file has them
    and in its order. cells: of each of our columns that the file has.
    """

    rows: IntArray
    numbers: IntArray
    headers: Mapping[str, str]
    cells: Mapping[str, Cells]


def below(sheet: Sheet, matched: Matched, name: str, counted: Counted = ROWS) -> Below:
    """Return the rows of a sheet below its headers. Raises BadInput where there is none."""
    filled = np.zeros(sheet.rows, bool)
    for column in sheet.columns:
        if filled.all():
            break
        filled |= np.array([bool(t.strip()) for t in column.texts], bool)[column.codes]
    rows = np.flatnonzero(filled)
    if not len(rows):
        rule = f"a {matched.heads.called} has rows below its headers"
        raise BadInput([Problem(name, "no rows", rule, "check the file")])
    headers = {c: sheet.headers[i] for c, i in sorted(matched.places.items(), key=lambda x: x[1])}
    cells = {
        c: Cells.of(sheet.headers[i], sheet.columns[i], rows, matched.units.get(c, ""))
        for c, i in matched.places.items()
    }
    return Below(rows, rows + counted.first(sheet.header_row), headers, cells)


def beside(sheet: Sheet, rows: IntArray, faults: Faults) -> tuple[str, ...]:
    """Note rows of a CSV file with more fields than headers; return which columns in between have no header."""
    last = max(i for i, h in enumerate(sheet.headers) if h)
    notes = []
    over = np.zeros(len(rows), bool)
    for i, header in enumerate(sheet.headers):
        if not header:
            column = sheet.columns[i]
            some = np.array([bool(t.strip()) for t in column.texts], bool)[column.codes][rows]
            if i > last and sheet.parted:
                over |= some
            elif some.any():
                notes.append(f"column {i + 1} has no header and is left out")
    rule = f"the row has more fields than the {last + 1} headers"
    faults.rows(over, "all of it", lambda _: "fields beyond them", rule, "put quotation marks round text with commas")
    return tuple(notes)


def categories(column: Words) -> pd.Categorical:
    """Return a column of words as pandas keeps it."""
    return pd.Categorical.from_codes(column.codes, categories=pd.Index(column.words, dtype=object))


def required(column: Words, name: str, cells: Mapping[str, Cells], faults: Faults, rule: str, remedy: str) -> None:
    """Note rows that leave a column open; where there is no such column at all, once for the file."""
    if name in cells:
        there = cells[name]
        empty = np.array([not t.strip() for t in there.texts], bool)[there.codes]  # what can't be read is told already
        faults.rows(column.blank() & empty, there.header, lambda _: "nothing", rule, remedy)
    elif column.blank().all():
        faults.whole.append(Problem(f"{faults.name}: {name}", "no such column", rule, remedy))
    else:
        faults.rows(column.blank(), name, lambda _: "nothing", rule, remedy)


def currencies(cells: Cells | None, n: int, faults: Faults, default: str, amounts: Iterable[Numbers]) -> Words:
    """Return the currency of each row: its own, else that beside the first of its amounts that has one, else default.

    amounts: columns of money of the rows, by rank.
    """
    known = {c.casefold(): c for c in DIGITS} | {"": ""}
    found = chosen(cells, n, faults, known, "a currency has three letters of ISO 4217")
    blank = found.blank()
    if not blank.any():
        return found
    signed = [(column, places, of) for column in amounts for places, of in [_by_sign(column)] if of.astype(bool).any()]
    if blank.all() and not signed:
        return same(default, n)
    each = np.where(blank, "", found.each())
    for column, places, of in signed:
        each = np.where(each == "", of[places][column.cells.codes], each)
    places, distinct = pd.factorize(np.where(each == "", default, each))
    return Words(places, distinct)


def _by_sign(column: Numbers) -> tuple[np.ndarray, np.ndarray]:
    """Return for each distinct text of a column the place of its unit, and the one currency each unit can mean."""
    places, units = units_of(column)
    return places, np.array([currency_of(u) for u in units], object)


def unknown_currency(code: str) -> tuple[Problem, ...]:
    """Return what is wrong with the currency the user told, where something is."""
    if not code or code in DIGITS:
        return ()
    return (Problem("--currency", shown(code), "there is no such currency here", nearest(code, DIGITS)),)
