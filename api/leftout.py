"""Left out: the rows of a list that are at fault, with everything that is wrong with each, as a file to put right."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from io import StringIO
from typing import TextIO

import numpy as np

from api.cells import Cells, EveryFault, Words
from api.figures import IntArray
from api.formulas import marked, marked_cell, unmarked
from api.sheets import Sheet
from econ.problems import Problem

# Headers that mean no column of ours, so that the file reads as the list did once its rows are put right.
HEADERS = ("row left out", "find left out", "called", "left out because")


@dataclass(frozen=True)
class LeftRow:
    """A row that is left out. number: as messages count. id: that number where it has none. title: as it reads.

    cells: as they stand in the file.
    """

    number: int
    id: str
    title: str
    problems: tuple[Problem, ...]
    cells: tuple[str, ...]


@dataclass(frozen=True)
class LeftOut:
    """The rows at fault. columns: their cells, under the headers of the file. places: of each row among them."""

    columns: tuple[Cells, ...]
    places: IntArray
    faults: EveryFault
    ids: Words
    titles: Words

    def each(self) -> Iterator[LeftRow]:
        """Yield the rows in the order of the file, each with everything that is wrong with it."""
        for row, problems in self.faults.each():
            at, number = int(self.places[row]), int(self.faults.numbers[row])
            cells = tuple(c.text(at) for c in self.columns)
            yield LeftRow(number, self.ids.word(row) or str(number), self.titles.word(row), problems, cells)


def left_out(sheet: Sheet, rows: IntArray, faults: EveryFault, ids: Words, titles: Words) -> LeftOut:
    """Return the rows of a sheet that are at fault. rows: the places of all that are not blank."""
    at = rows[faults.bad]
    all_columns = [Cells.of(h, c, at) for h, c in zip(sheet.headers, sheet.columns, strict=True)]
    columns = tuple(c for c in all_columns if c.header or any(t.strip() for t in c.texts))
    return LeftOut(columns, np.cumsum(faults.bad) - 1, faults, ids, titles)


def write_left_out(left: LeftOut, file: TextIO) -> None:
    """Write the rows at fault as CSV: row, id, title and all that is wrong, then their cells as in the list.

    What a spreadsheet might take for a formula is marked; `read_back` gives it as it stood in the list.
    file: opened with newline="", as the lines end by themselves.
    """
    writer = csv.writer(file)  # ends lines with CR LF, and so puts quotation marks round either in a cell
    writer.writerow((*HEADERS, *(marked(c.header) for c in left.columns)))
    for row in left.each():
        start = f"{left.faults.name}: {left.faults.word} {row.number}, "
        said = " ".join(p.sentence().removeprefix(start) for p in row.problems)
        writer.writerow((row.number, *map(marked, (row.id, row.title, said)), *map(marked_cell, row.cells)))


def read_back(sheet: Sheet) -> Sheet:
    """Return a sheet with its texts as they stood in the list, where its headers tell that these rows were left out."""
    if not {x for x in HEADERS if "left out" in x} & set(sheet.headers):  # some of ours may have been taken out
        return sheet

    def text(cell: str) -> str:
        return unmarked(str(cell))

    columns = tuple(replace(c, texts=np.array([*map(text, c.texts)], dtype=object)) for c in sheet.columns)
    return replace(sheet, headers=tuple(map(text, sheet.headers)), columns=columns)


def left_out_csv(left: LeftOut) -> str:
    """Return the rows at fault as the text of a CSV file."""
    file = StringIO(newline="")
    write_left_out(left, file)
    return file.getvalue()
