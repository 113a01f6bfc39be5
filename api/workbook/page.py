"""Page: sheets of the workbook, and how their cells look: what may be changed, what follows, what was told once."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.pagebreak import Break

from api.xlsx import as_told, money_format, put
from econ.money import DIGITS

LINE = 13.0  # height of a line [points]
THIN = Side(style="thin", color="808080")
BOX = Border(left=THIN, right=THIN, top=THIN, bottom=THIN)
# What a cell is for, and how that shows without colour too: what may be changed has a frame, what does not follow is
# slanted.
FACE = "Arial"
TOP_LINE = Alignment(vertical="top")
WRAPPED = Alignment(wrap_text=True, vertical="top")
TO_THE_LEFT = Alignment(horizontal="left", vertical="top")  # figures among words
ASIDE = Alignment(wrap_text=True, vertical="top", horizontal="left", indent=1)  # words beside figures
TOLD = PatternFill("solid", fgColor="EFEFEF")


def _font(size: int = 10, **more: Any) -> Font:
    return Font(name=FACE, size=size, **more)


ROLES: dict[str, dict[str, Any]] = {
    "plain": {"font": _font(), "alignment": TOP_LINE},
    "wrap": {"font": _font(), "alignment": WRAPPED},
    "title": {"font": _font(14, bold=True), "alignment": TOP_LINE},
    "name": {"font": _font(14, bold=True), "alignment": WRAPPED},
    "answer": {"font": _font(13, bold=True), "alignment": WRAPPED},
    "head": {
        "font": _font(bold=True),
        "border": Border(bottom=THIN),
        "alignment": Alignment(wrap_text=True, vertical="bottom"),
    },
    "head_aside": {
        "font": _font(bold=True),
        "border": Border(bottom=THIN),
        "alignment": Alignment(wrap_text=True, vertical="bottom", horizontal="left", indent=1),
    },
    "head_right": {
        "font": _font(bold=True),
        "border": Border(bottom=THIN),
        "alignment": Alignment(wrap_text=True, vertical="bottom", horizontal="right"),
    },
    "strong": {"font": _font(bold=True), "alignment": WRAPPED},
    "total": {"font": _font(bold=True), "border": Border(top=THIN), "alignment": TOP_LINE},
    "aside": {"font": _font(), "alignment": ASIDE},
    "note": {"font": _font(9, color="505050"), "alignment": WRAPPED},
    "told": {"font": _font(italic=True), "fill": TOLD, "alignment": WRAPPED},
    "told_aside": {"font": _font(italic=True), "fill": TOLD, "alignment": ASIDE},
    "input": {
        "font": _font(),
        "fill": PatternFill("solid", fgColor="FFF6D6"),
        "border": BOX,
        "alignment": TOP_LINE,
        "protection": Protection(locked=False),
    },
    "fill_in": {"font": _font(), "border": BOX, "alignment": WRAPPED, "protection": Protection(locked=False)},
    "warning": {"font": _font(bold=True), "border": BOX, "alignment": WRAPPED},
}
FORMATS = {
    "text": "@", "general": "General", "count": "0", "hours": "0.000", "share": "0.00 %", "years": "0.0",
    "figure": "0.0000",
    "day": "yyyy-mm-dd", "moment": "yyyy-mm-dd hh:mm", "times": "0.00",
}  # fmt: skip


def _apart(cell: Any) -> Any:
    """Return a cell with a style of its own, that others do not share."""
    cell._style = copy(cell._style)
    return cell


@dataclass(frozen=True)
class Place:
    """A cell or a block of cells on a sheet, as formulas on any sheet name it."""

    sheet: str
    first: str
    last: str = ""

    def __str__(self) -> str:
        return f"{quote_sheetname(self.sheet)}!{self.first}" + (f":{self.last}" if self.last else "")


def absolute(row: int, column: int) -> str:
    """Return a cell's address that stays where it is when it is copied."""
    return f"${get_column_letter(column)}${row}"


class Table:
    """A table on a sheet: columns by their names, rows by their numbers from 0."""

    def __init__(self, sheet: str, top: int, rows: int, columns: Sequence[str], left: int = 1) -> None:
        """top: row of the first of the rows, from 1."""
        self.sheet, self.top, self.rows, self.left = sheet, top, rows, left
        self._at = {name: left + i for i, name in enumerate(columns)}
        self.columns = tuple(columns)

    def at(self, column: str) -> int:
        """Return the number of a column."""
        return self._at[column]

    def has(self, column: str) -> bool:
        """Return whether there is such a column."""
        return column in self._at

    def cell(self, column: str, row: int) -> str:
        """Return one cell."""
        return str(Place(self.sheet, absolute(self.top + row, self._at[column])))

    def here(self, column: str, row: int) -> str:
        """Return one cell as formulas on the same sheet name it."""
        return f"{get_column_letter(self._at[column])}{self.top + row}"

    def column(self, column: str, first: int = 0, last: int | None = None) -> str:
        """Return a column, or rows of it."""
        end = self.rows - 1 if last is None else last
        at = self._at[column]
        return str(Place(self.sheet, absolute(self.top + first, at), absolute(self.top + end, at)))

    def row(self, first: str, last: str, row: int) -> str:
        """Return a row from one column to another; row counts from that of the first, below 0 above it."""
        number = self.top + row
        return str(Place(self.sheet, absolute(number, self._at[first]), absolute(number, self._at[last])))


class Book:
    """The workbook being written."""

    def __init__(self, currency: str, largest: float) -> None:
        """largest: amount that a column of money must have room for."""
        self.book = Workbook()
        self.book.remove(self.book.worksheets[0])
        self.currency, self.digits = currency, DIGITS[currency]
        self.scale = 10**self.digits
        money = money_format(currency)
        self.formats = FORMATS | {"money": money, "whole_money": money.partition(".")[0]}
        self.room = len(f"{money.partition(chr(34))[2].partition(chr(34))[0]}{largest:,.{self.digits}f}") + 2
        self.firsts: list[dict[str, Any]] = []  # of each sheet what formulas come to at first
        self.counts: dict[str, Any] = {}  # what each input counts as in the answer, by its name
        self.alt_texts: dict[str, list[str]] = {}  # of the charts, by sheet
        self._styles: dict[str, Any] = {}
        self.book.calculation.fullCalcOnLoad = True

    def dress(self, cell: Any, role: str, shape: str) -> None:
        """Give a cell its style: what it is for, and the shape of its figure.

        Each style is looked up by its name once; the cells that have it share what openpyxl keeps of it, which by name
        would be looked up among all styles for every cell.
        """
        name = f"{role} {shape}"
        if name not in self._styles:
            self.book.add_named_style(NamedStyle(name=name, number_format=self.formats[shape], **ROLES[role]))
            cell.style = name
            self._styles[name] = cell._style
        cell._style = self._styles[name]

    def wide(self, width: float) -> float:
        """Return the width of a column of money that is so wide or wider."""
        return max(width, self.room)

    def define(self, name: str, place: str) -> None:
        """Give a cell a name that formulas use."""
        self.book.defined_names[name] = DefinedName(name, attr_text=place)

    def page(self, title: str, widths: Sequence[float], upright: bool = False) -> Page:
        """Return a new sheet."""
        return Page(self, title, widths, upright)


class Page:
    """A sheet being written, row after row or at a place."""

    def __init__(self, book: Book, title: str, widths: Sequence[float], upright: bool) -> None:
        self.book, self.title, self.widths = book, title, list(widths)
        self.sheet = book.book.create_sheet(title)
        self.first: dict[str, Any] = {}
        book.firsts.append(self.first)
        self.next = 1
        for i, width in enumerate(widths, 1):
            self.sheet.column_dimensions[get_column_letter(i)].width = width
        setup = self.sheet.page_setup
        setup.orientation = "portrait" if upright else "landscape"
        setup.paperSize = 9 if book.currency != "USD" else 1  # A4; letter where dollars are counted
        setup.fitToWidth, setup.fitToHeight = 1, 0
        self.sheet.sheet_properties.pageSetUpPr.fitToPage = True
        self.sheet.oddFooter.left.text = "&A"
        self.sheet.oddFooter.right.text = "&P / &N"
        self.sheet.protection.sheet = True  # without a password: against slips, not against people
        self.sheet.protection.formatColumns = self.sheet.protection.formatRows = False

    def put(self, row: int, column: int, value: Any, shape: str = "general", role: str = "plain") -> None:
        """Write a value."""
        cell = self.sheet.cell(row, column)
        put(cell, value)
        quoted = cell.quotePrefix
        self.book.dress(cell, role, shape)
        if quoted:  # a style takes it away
            _apart(cell).quotePrefix = True

    def said(self, row: int, column: int, words: str, role: str = "wrap") -> None:
        """Write words; a figure alone as a number that looks as it is told."""
        figure = as_told(words)
        if figure is None:
            self.put(row, column, words, "general", role)
            return
        self.put(row, column, figure[0], "general", role)
        cell = self.shaped(row, column, figure[1])
        cell.alignment = TO_THE_LEFT

    def shaped(self, row: int, column: int, shape: str) -> Any:
        """Give one cell that is written a number format that others of its style have not, and return it."""
        cell = _apart(self.sheet.cell(row, column))
        cell.number_format = shape
        return cell

    def live(
        self, row: int, column: int, formula: str, shape: str = "general", role: str = "plain", first: Any = None
    ) -> None:
        """Write a formula, without its sign. first: what it comes to with the figures of the answer, where known."""
        cell = self.sheet.cell(row, column)
        cell.value = "=" + formula
        if first is not None:
            self.first[cell.coordinate] = first
        self.book.dress(cell, role, shape)

    def line(self, *values: Any, shape: str = "general", role: str = "plain", tall: bool = False) -> int:
        """Write values below what is there, and return the row. tall: as high as its texts take."""
        row = self.next
        for column, value in enumerate(values, 1):
            if value is not None:
                self.put(row, column, value, "general" if isinstance(value, str) else shape, role)
        if tall:
            self.fit(row, values)
        self.next += 1
        return row

    def fit(self, row: int, values: Sequence[Any], widths: Sequence[float] = ()) -> None:
        """Make a row as high as its longest text takes in its column. widths: other than the columns', if joined."""
        lines = 1
        for value, width in zip(values, widths or self.widths, strict=False):
            if isinstance(value, str):
                lines = max(
                    lines, sum(-(-max(len(part), 1) // max(int(width * 1.3) - 1, 1)) for part in value.split("\n"))
                )
        if lines > 1:
            self.sheet.row_dimensions[row].height = LINE * lines + 2

    def block(
        self,
        words: str,
        role: str = "wrap",
        columns: int | None = None,
        lines: int | None = None,
        first: str | None = None,
    ) -> int:
        """Write a paragraph over some columns, all where left out, and return its row.

        first: what the words come to, where they are a formula.
        """
        row, last = self.next, columns or len(self.widths)
        width = sum(self.widths[:last])
        if role == "warning":  # a frame goes round all the cells that are joined
            for column in range(2, last + 1):
                self.put(row, column, None, "general", role)
        self.sheet.merge_cells(start_row=row, end_row=row, start_column=1, end_column=last)
        if first is not None:
            self.live(row, 1, words, "general", role, first)
        else:
            self.put(row, 1, words, "general", role)
        large = role in ("answer", "title", "name")
        wide = 0.82 if large else 1.1
        taken = lines or sum(-(-max(len(part), 1) // int(width * wide)) for part in words.split("\n"))
        high = LINE * (1.35 if large else 1.0)
        self.sheet.row_dimensions[row].height = high * taken + 3
        self.next += 1
        return row

    def heads(self, *names: str) -> int:
        """Write the heads of a table, and return their row; those with > in front stand to the right, over figures."""
        row, before = self.next, ""
        for column, name in enumerate(names, 1):
            role = "head_right" if name.startswith(">") else "head_aside" if before.startswith(">") else "head"
            self.put(row, column, name.removeprefix(">"), "general", role)
            before = name
        self.fit(row, names)
        self.next += 1
        return row

    def gap(self) -> None:
        """Leave a row empty."""
        self.next += 1

    def turn(self) -> None:
        """Print what comes next on a new page."""
        self.sheet.row_breaks.append(Break(self.next - 1))

    def place(self, row: int, column: int) -> str:
        """Return a cell as formulas on any sheet name it."""
        return str(Place(self.title, absolute(row, column)))


class Row:
    """A row of a table being written."""

    def __init__(self, page: Page, table: Table, number: int) -> None:
        """number: from 0."""
        self.page, self.table, self.number = page, table, number

    def here(self, column: str, back: int = 0) -> str:
        """Return a cell of the row, or of so many rows before it, as formulas on the same sheet name it."""
        return self.table.here(column, self.number - back)

    def live(self, column: str, formula: str, shape: str = "money", role: str = "plain", first: Any = None) -> None:
        """Write a formula. first: as for `Page.live`."""
        self.page.live(self.table.top + self.number, self.table.at(column), formula, shape, role, first)

    def told(self, column: str, value: Any, shape: str = "count", role: str = "plain") -> None:
        """Write a value."""
        self.page.put(self.table.top + self.number, self.table.at(column), value, shape, role)
