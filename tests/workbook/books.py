"""Books: workbooks of cases, and their figures by name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl

from api import library
from api.workbook import write_workbook
from api.workbook.courses import COLUMNS
from econ.decision import Decision
from econ.money import DIGITS
from econ.workings import Workings
from tests.strategies import TODAY

FIELDS = {
    "worth": "net_worth", "cash": "cash_now", "cost": "present_cost", "yearly": "cost_per_year", "hours": "hours",
    "weeks": "weeks_without", "cured": "passes_at_once", "follow_up": "jobs_added_later", "limit": "repair_limit",
    "profit": "gross_profit", "hourly": "gross_profit_per_hour",
}  # fmt: skip
TOP = 6  # row of the first course


def made(document: dict[str, Any], path: Path) -> tuple[Decision, Workings]:
    """Write the workbook of a case; return its decision and workings."""
    decision, workings = library.decide_apart(document, TODAY)
    with path.open("wb") as file:
        write_workbook(decision, workings, file)
    return decision, workings


def changed(path: Path, figures: dict[str, Any], to: Path) -> Path:
    """Copy a workbook with figures written into the cells that may be changed, by the names of the inputs."""
    book = openpyxl.load_workbook(path)
    for name, value in figures.items():
        sheet, cell = book.defined_names[name].attr_text.replace("'", "").replace("$", "").split("!")
        book[sheet][f"C{cell[1:]}"].value = value
    book.save(to)
    return to


def named(book: Any, name: str) -> Any:
    """Return the figure of a named cell."""
    sheet, cell = book.defined_names[name].attr_text.replace("'", "").replace("$", "").split("!")
    return book[sheet][cell].value


def of_course(book: Any, number: int, column: str) -> Any:
    """Return a figure of a course."""
    return book["Courses"].cell(TOP + number, COLUMNS.index(column) + 1).value


def to_the_unit(shown: Any, told: Any, currency: str) -> bool:
    """Return whether a figure of a sheet is the amount that the answer tells, but for its own rounding."""
    if told is None:
        return shown in (None, "")
    return isinstance(shown, int | float) and abs(shown - float(told)) <= 0.5 * 10.0 ** -DIGITS[currency] + 1e-6
