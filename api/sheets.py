"""Sheets: the bytes of a CSV or XLSX file as columns of text, each with its distinct texts, and the header row found.

Nothing is read as a number here, so that nothing is lost. Rows are counted as a spreadsheet counts them: from 1, the
header and blank rows too; a field with line breaks in it stays in one row.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from econ.problems import BadInput, Problem, nearest, shown

MOST_BYTES = 50_000_000
MOST_EXPANDED = 400_000_000  # of an XLSX file, which is a zip archive
MOST_ROWS = 1_000_000
MOST_COLUMNS = 200
BLANK = 40  # rows looked at for each that may be filled: sheets have blank ones below, by the thousand at times
SWOLLEN = 20  # times the most bytes of a list that a workbook may have unpacked; common ones have 5 to 15 times theirs
TOLD = 20  # uncalculated formulas told one by one
HEADER_WITHIN = 10  # rows; above it may stand a title
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
ENCODINGS = ("utf-8", "utf-16", "utf-16-le", "utf-16-be", "windows-1252", "iso-8859-1", "iso-8859-15")
SPLIT = "split it into several"


@dataclass(frozen=True)
class Column:
    """A column of text: for each row the place of its text among the distinct ones.

    exact: which texts were numbers in a spreadsheet, written with a decimal point whatever the rest of the column does.
    """

    codes: NDArray[np.intp]
    texts: NDArray[np.object_]
    exact: NDArray[np.bool_]


@dataclass(frozen=True)
class Sheet:
    """A table of text. header_row: its number; the body starts right under it. notes: how the file was read.

    parted: its fields were told apart by a sign, so that a row may have too many.
    """

    headers: tuple[str, ...]
    columns: tuple[Column, ...]
    header_row: int
    rows: int
    notes: tuple[str, ...]
    parted: bool


@dataclass(frozen=True)
class Counted:
    """What the rows of a list are called in messages, and how they are counted.

    word: of one row. above: the header and what is above it are counted, too; else the first row below it is 1.
    """

    word: str = "row"
    above: bool = True

    def first(self, header_row: int) -> int:
        """Return the number of the first row below the headers. header_row: their number, as a spreadsheet counts."""
        return header_row + 1 if self.above else 1

    def headers(self, header_row: int) -> str:
        """Return what the headers are called together."""
        return f"{self.word} {header_row}" if self.above else "keys"


ROWS = Counted()
OBJECTS = Counted("object", above=False)  # of JSON, whose keys are the headers


class Oversized(BadInput):
    """A list larger than is read."""


@dataclass(frozen=True)
class Kind:
    """What kind of list a file holds: what it is called in messages, and how large it may be.

    most_rows: that are not blank. smaller: what to do about a larger one.
    """

    called: str = "price list"
    most_bytes: int = MOST_BYTES
    most_rows: int = MOST_ROWS
    smaller: str = SPLIT

    def largest(self) -> str:
        """Return the rule of how large it may be."""
        size = f"{self.most_bytes // 1_000_000} MB, {self.most_rows:,} rows and {MOST_COLUMNS} columns"
        return f"a {self.called} is at most {size}"

    def lines(self) -> int:
        """Return how many rows are looked at, blank ones too."""
        return min(MOST_ROWS, BLANK * self.most_rows)

    def unpacked(self) -> int:
        """Return how many bytes a workbook may have when it is unpacked."""
        return min(MOST_EXPANDED, SWOLLEN * self.most_bytes)

    def oversized(self, where: str, value: str) -> Oversized:
        """Return what is raised for a larger one. where: its name; value: how large it is."""
        return Oversized([Problem(where, value, self.largest(), self.smaller)])

    def holds(self) -> str:
        """Return the rule of what it has at least."""
        return f"a {self.called} has a header row and rows"


PRICES = Kind()

Score = Callable[[Sequence[str]], int]


def _refuse(where: str, value: str, rule: str, remedy: str) -> BadInput:
    return BadInput([Problem(where, value, rule, remedy)])


def read_sheet(body: bytes, name: str, score: Score, encoding: str = "", sheet: str = "", kind: Kind = PRICES) -> Sheet:
    """Return a file as a sheet.

    score: how many columns of ours a row of cells names; the row that names most within the first ten is the header.
    encoding: of a CSV file, where it is not to be found out. sheet: of an XLSX file; its first where left out. kind: of
    list, for messages.
    Raises BadInput where the file can't be read.
    """
    if len(body) > kind.most_bytes:
        raise kind.oversized(name, f"{len(body):,} bytes")
    if not (body[:1_000].strip() or body.strip()):
        raise _refuse(name, "an empty file", kind.holds(), "check the file")
    if body.startswith(b"PK\x03\x04"):
        if encoding:
            raise _refuse("--encoding", shown(encoding), f"{name} is no CSV file", "leave it out")
        return _xlsx(body, name, score, sheet, kind)
    if body.startswith(b"\xd0\xcf\x11\xe0"):
        rule = "this is a spreadsheet of the old binary kind, or one locked by a password"
        raise _refuse(name, "bytes D0 CF 11 E0", rule, "save it as XLSX or CSV, without a password")
    if sheet:
        raise _refuse("--sheet", shown(sheet), f"{name} is no XLSX file", "leave it out")
    return _csv(body, name, score, encoding, kind)


def _decoded(body: bytes, name: str, encoding: str) -> tuple[str, bool, tuple[str, ...]]:
    """Return the text of a CSV file, whether its bytes are that text in UTF-8, and what is to be said of it."""
    if encoding and encoding.casefold().replace("_", "-") not in ENCODINGS:
        raise _refuse("--encoding", shown(encoding), "this encoding is not read here", nearest(encoding, ENCODINGS))
    wide = body.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    tried = encoding or ("utf-16" if wide else "utf-8-sig")
    notes: tuple[str, ...] = ()
    as_it_is = tried.casefold() in ("utf-8", "utf-8-sig") and not body.startswith(codecs.BOM_UTF8)
    try:
        text = body.decode("utf-8-sig" if tried.casefold() == "utf-8" else tried)
    except UnicodeDecodeError as error:
        if encoding or wide:
            value = f"byte 0x{body[error.start]:02x} at {error.start}"
            raise _refuse(name, value, f"this is no {tried}", "name the encoding: --encoding") from None
        try:
            text = body.decode("windows-1252")
        except UnicodeDecodeError as other:
            value = f"byte 0x{body[other.start]:02x} at {other.start}"
            rule = "this is neither UTF-8 nor Windows-1252"
            raise _refuse(name, value, rule, "name the encoding: --encoding") from None
        as_it_is = False
        notes = ("read as Windows-1252, since it is no UTF-8; if letters look wrong, name the encoding: --encoding",)
    if "\x00" in text:
        row = text.count("\n", 0, text.index("\x00")) + 1
        raise _refuse(name, f"a NUL character in line {row}", "text holds none", "if it is UTF-16, say so: --encoding")
    return text, as_it_is, notes


def _records(text: str, delimiter: str, most: int | None = None) -> Iterable[list[str]]:
    """Yield the first records of a CSV text."""
    csv.field_size_limit(MOST_BYTES)
    lines = io.StringIO(text, newline="")
    for i, record in enumerate(csv.reader(lines, delimiter=delimiter, skipinitialspace=True)):
        if i == most:
            return
        yield record


def _head(text: str) -> str:
    """Return enough of a text to hold its first rows."""
    end = 0
    for _ in range(4 * HEADER_WITHIN):
        end = text.find("\n", end) + 1
        if not end:
            return text[:1_000_000]
    return text[: min(end, 1_000_000)]


def parted_by(text: str, score: Score) -> str:
    """Return the sign that parts the fields of a CSV text: with which a row names most columns of ours."""
    head = _head(text)
    ranks = {d: max((score(r), len(r)) for r in _records(head, d, 2 * HEADER_WITHIN)) for d in DELIMITERS}
    return max(DELIMITERS, key=lambda d: ranks[d])


def _csv(body: bytes, name: str, score: Score, encoding: str, kind: Kind) -> Sheet:
    text, as_it_is, notes = _decoded(body, name, encoding)
    delimiter = parted_by(text, score)
    width = max(map(len, _records(_head(text), delimiter, 2 * HEADER_WITHIN)))
    source = body if as_it_is else text.encode()
    del text  # of a large file it takes as much room again
    frame = _parsed(source, name, delimiter, width + 1, kind)
    if len(frame) > kind.lines() + HEADER_WITHIN:
        raise kind.oversized(name, f"{len(frame):,} rows")
    if delimiter != ",":
        notes += (f"columns are parted by the {DELIMITERS[delimiter]}",)
    columns = []
    for i in frame.columns:
        codes, texts = pd.factorize(frame[i].to_numpy())
        columns.append(Column(codes, texts, np.zeros(len(texts), bool)))
        del frame[i]
    return _under_header(columns, score, notes, parted=True)


def _parsed(source: bytes, name: str, delimiter: str, width: int, kind: Kind) -> pd.DataFrame:
    """Return all records of a text in UTF-8 as columns of str; short records are filled up with empty text."""
    for _ in range(2):
        if width > MOST_COLUMNS + 1:
            raise _refuse(name, f"{width - 1} columns", kind.largest(), f"check that it is a {kind.called}")
        try:
            return pd.read_csv(
                io.BytesIO(source),
                sep=delimiter, header=None, names=range(width), dtype=object, na_filter=False, skip_blank_lines=False,
                skipinitialspace=True, low_memory=False, index_col=False,
            )  # fmt: skip
        except pd.errors.ParserError as error:
            if "EOF inside string" in str(error):
                row = int(str(error).rpartition(" ")[2]) + 1
                rule = "a quotation mark opens here and never closes"
                raise _refuse(f"{name}: row {row}", '"', rule, "close it, or double it within text") from None
            width = max(map(len, _records(source.decode(), delimiter))) + 1  # some record is wider than the first ones
    raise _refuse(name, "rows that can't be parted", f"a {kind.called} is a table", "save it as CSV once more")


def _under_header(columns: Sequence[Column], score: Score, notes: tuple[str, ...], parted: bool) -> Sheet:
    """Return the sheet below the row within the first ten that names most columns of ours."""
    total = len(columns[0].codes)
    tops = [[str(c.texts[c.codes[r]]) for c in columns] for r in range(min(HEADER_WITHIN, total))]
    at = max(range(len(tops)), key=lambda r: (score(tops[r]), -r))
    below = tuple(Column(c.codes[at + 1 :], c.texts, c.exact) for c in columns)
    if at:
        notes += (f"the headers stand in row {at + 1}; what is above them is left out",)
    return Sheet(tuple(" ".join(h.split()) for h in tops[at]), below, at + 1, total - at - 1, notes, parted)


def _check_archive(body: bytes, name: str, kind: Kind) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            expanded = sum(i.file_size for i in archive.infolist())
            if expanded > kind.unpacked():
                rule = f"an XLSX file holds at most {kind.unpacked() // 1_000_000} MB when unpacked"
                remedy = "save it as CSV, or split it"
                raise Oversized([Problem(name, f"{expanded:,} bytes unpacked", rule, remedy)])
            if "[Content_Types].xml" not in archive.namelist():
                raise _refuse(name, "a zip archive", "this is no XLSX file", "save it as XLSX or CSV")
            for part in archive.namelist():  # a DTD can be made to swell; ECMA-376 part 2 has none (from memory)
                if part.endswith((".xml", ".rels")):
                    with archive.open(part) as file:
                        if b"<!DOCTYPE" in file.read(4096):
                            raise _refuse(name, "a DOCTYPE", "XLSX files hold none", "save it as CSV")
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        rule = f"this XLSX file is broken: {error}"
        raise _refuse(name, "bytes that can't be unpacked", rule, "save it anew, as XLSX or CSV") from None


@lru_cache(maxsize=1_000)
@lru_cache(maxsize=1024)
def _beside(number_format: str) -> tuple[bool, str]:
    """Return whether a number format shows 0.15 as 15 %, and what it shows beside the number: a currency, a unit.

    Number formats are those of ECMA-376 part 1, 18.8.31 (from memory): sections parted by semicolons, text in quotation
    marks or behind a backslash, and currencies as [$€-407].
    """
    first = re.match(r'(?:"[^"]*"|\\.|[^;])*', number_format)
    section = first[0] if first else ""
    told = [m[1] or m[2] or m[3] or "" for m in re.finditer(r'\[\$([^\]-]*)[^\]]*\]|"([^"]*)"|\\(.)', section)]
    bare = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]|_.', "", section)
    told += re.findall(r"[$€£¥]", bare)
    unit = " ".join("".join(told).split())
    return "%" in bare, unit if re.fullmatch(r"[^\W\d_]+\.?|[A-Za-z]{0,2}[$€£¥₹]", unit) else ""


def _cell(cell: Any) -> tuple[str, bool]:
    """Return a spreadsheet's cell as text, and whether it is a number.

    Spreadsheets show at most 15 significant digits of a number (common practice), so that 0.1 + 0.2 is 0.3. A number
    comes with what its format shows beside it, as whoever wrote the list saw it: a share as a percentage, a currency.
    """
    value = cell.value
    if isinstance(value, str):
        return value, False
    if value is None:
        return "", False
    if isinstance(value, bool):
        return str(value).upper(), False
    if isinstance(value, int | float):
        if not isfinite(value):
            return str(value), True
        exact = Decimal(f"{value:.15g}" if isinstance(value, float) else value)
        percent, unit = _beside(cell.number_format or "")
        return f"{exact.scaleb(2):f}%" if percent else f"{exact:f} {unit}".rstrip(), True
    if isinstance(value, datetime):
        return value.date().isoformat(), False
    if isinstance(value, date):
        return value.isoformat(), False
    return str(value), False


def _xlsx(body: bytes, name: str, score: Score, sheet: str, kind: Kind) -> Sheet:
    import openpyxl

    _check_archive(body, name, kind)
    try:
        book = openpyxl.load_workbook(io.BytesIO(body), read_only=True, data_only=True, keep_links=False)
        known = [s.title for s in book.worksheets]
        if not known or (sheet and sheet not in known):
            raise _refuse("--sheet", shown(sheet), f"{name} has no such sheet", nearest(sheet, known))
        page: Any = book[sheet] if sheet else book.worksheets[0]
        page.reset_dimensions()  # a file may claim any
        top = [[_cell(c)[0] for c in row] for row in page.iter_rows(max_row=2 * HEADER_WITHIN, max_col=MOST_COLUMNS)]
        filled = [i for row in top for i, text in enumerate(row) if text.strip()]
        if not filled:
            raise _refuse(name, "an empty sheet", kind.holds(), "name another: --sheet")
        columns = _cells(page, max(filled) + 1, name, kind)
        if _has_formulas(body):
            _check_formulas(body, page, name)
    except BadInput:
        raise
    except Exception as error:  # a broken file raises whatever the broken place makes of it
        rule = f"this XLSX file can't be read: {type(error).__name__}: {error}"
        raise _refuse(name, "a broken file", rule, "save it anew, as XLSX or CSV") from None
    notes = (f'read from the sheet "{page.title}"; the others are left out',) if len(known) > 1 else ()
    return _under_header(columns, score, notes, parted=False)


def _has_formulas(body: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        sheets = [x for x in archive.namelist() if x.startswith("xl/worksheets/") and x.endswith(".xml")]
        return any(re.search(rb"<f[ >/]", archive.read(x)) for x in sheets)


def _check_formulas(body: bytes, page: Any, name: str) -> None:
    """Refuse a sheet with formulas that no program calculated: it looks as if nothing stood there. Raises BadInput."""
    import openpyxl

    written = openpyxl.load_workbook(io.BytesIO(body), read_only=True, keep_links=False)[page.title]
    written.reset_dimensions()
    rule = "this formula was never calculated, so that its value is not in the file"
    remedy = "open it in a spreadsheet program and save it there, or write the value"
    problems: list[Problem] = []
    for values, formulas in zip(page.iter_rows(values_only=True), written.iter_rows(), strict=True):
        for value, cell in zip(values, formulas, strict=True):
            if value is None and isinstance(cell.value, str) and cell.value.startswith("="):
                problems.append(Problem(f"{name}: cell {cell.coordinate}", shown(cell.value), rule, remedy))
                if len(problems) == TOLD:
                    raise BadInput(problems)
    if problems:
        raise BadInput(problems)


def _cells(page: Any, width: int, name: str, kind: Kind) -> list[Column]:
    codes: list[list[int]] = [[] for _ in range(width)]
    places: list[dict[tuple[str, bool], int]] = [{} for _ in range(width)]
    for number, row in enumerate(page.iter_rows(max_col=width)):
        if number >= kind.lines() + HEADER_WITHIN:
            raise kind.oversized(name, f"more than {kind.lines():,} rows")
        for i in range(width):
            cell = _cell(row[i]) if i < len(row) else ("", False)
            codes[i].append(places[i].setdefault(cell, len(places[i])))
    columns = []
    for found, known in zip(codes, places, strict=True):
        texts = np.array([t for t, _ in known], dtype=object)
        columns.append(Column(np.array(found, np.intp), texts, np.array([x for _, x in known], bool)))
    return columns
