"""Xlsx: what goes into the cells of a workbook, so that a spreadsheet reads each value as what it is."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from openpyxl.cell.cell import Cell

from api.formulas import may_be_formula
from econ.money import DIGITS, SIGNS

LONGEST = 32_767  # characters a cell holds, by ECMA-376, Part 1 (from memory)
# Characters that XML 1.0 (fifth edition, 2.2) has no place for, and halves of surrogate pairs.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def clean(text: str) -> str:
    """Return a text as a cell can hold it: characters that XML has no place for left out, no longer than a cell."""
    return _UNWRITABLE.sub("", text)[:LONGEST]


def _to_mark(text: str) -> bool:
    """Return whether a text might be taken for a formula, or for an error such as #N/A."""
    return text.startswith("#") or may_be_formula(text)


def put(cell: Any, value: Any) -> None:
    """Put a value into a cell: a text always as a text, whatever it begins with; numbers and days as they are.

    A text that a spreadsheet might take for a formula is marked so that it stays a text when somebody edits it.
    """
    if isinstance(value, str):
        text = clean(value)
        cell.value = text
        if _to_mark(text):
            cell.data_type = "s"
            cell.quotePrefix = True
        return
    cell.value = float(value) if isinstance(value, Decimal) else value


# A figure in words: with or without the sign of a currency, and with a unit.
_TOLD = re.compile(
    r"(?P<sign>(?:[$€£]|[A-Z]{3} )?)(?P<figure>-?\d[\d,]*(?:\.(?P<decimals>\d+))?)(?P<unit>(?: [a-z%]+)?)"
)


def as_told(text: str) -> tuple[float, str] | None:
    """Return a figure that is told in words as a number, and the format in which it looks just so.

    None where the words tell something else, or more.
    """
    found = _TOLD.fullmatch(text)
    if found is None:
        return None
    decimals, unit = found["decimals"] or "", found["unit"]
    after = (" %" if unit == " %" else f'"{unit}"') if unit else ""
    before = f'"{found["sign"]}"' if found["sign"] else ""
    commas = "#,##0" if "," in found["figure"] else "0"
    number = float(found["figure"].replace(",", "")) / (100 if unit == " %" else 1)
    return number, f"{before}{commas}{'.' * bool(decimals)}{'0' * len(decimals)}{after}"


class _Cell(Cell):
    """A cell with a style that stays: looked up once, as are the words of an error that openpyxl raises and catches."""

    __slots__ = ("_place",)
    has_style = True

    @property
    def style_id(self) -> int:
        """The place of its style in the workbook."""
        try:
            return self._place
        except AttributeError:
            self._place: int = super().style_id
            return self._place

    def __repr__(self) -> str:
        return "a cell"


def styled(sheet: Any, value: Any, **style: Any) -> Any:
    """Return a value as a cell of a write-only sheet. style: font, alignment, fill, number_format and the like."""
    cell = _Cell(sheet, 1, 1)
    for name, what in style.items():
        setattr(cell, name, what)
    put(cell, value)
    return cell


def bare(sheet: Any, text: str) -> Any:
    """Return a text as it goes into a row of a write-only sheet without a style, None where there is none."""
    text = clean(text)
    return styled(sheet, text) if _to_mark(text) else text or None


class Pen:
    """Writes one column of a write-only sheet in one style, a row after the other, with one cell for all.

    The workbook keeps the style of a cell that was written, so that it must not be changed: what is marked as a text
    has a cell of its own.
    """

    def __init__(self, sheet: Any, **style: Any) -> None:
        """sheet: that it writes on. style: as for `styled`."""
        self._cell, self._marked = styled(sheet, None, **style), styled(sheet, None, **style, quotePrefix=True)

    def write(self, value: Any) -> Any:
        """Return the cell with a value; it holds it until the next one is asked for."""
        if isinstance(value, str):
            cell = self._marked if _to_mark(clean(value)) else self._cell
            put(cell, value)
            return cell
        self._cell.value = float(value) if isinstance(value, Decimal) else value  # as `put` does
        return self._cell


def money_format(currency: str) -> str:
    """Return the number format of amounts in a currency: its digits, and its sign, or its code where it has none."""
    digits = DIGITS[currency]
    return f'"{SIGNS.get(currency, currency + " ")}"#,##0{"." * bool(digits)}{"0" * digits}'
