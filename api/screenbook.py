"""Screen book: the finds of a list as a workbook, what to buy and why on its first sheet, all finds on the second."""

from __future__ import annotations

from typing import Any, BinaryIO

import pandas as pd

from api.ranked import Ranked
from api.screenfiles import COLUMNS, MONEY, frames, safe, safe_texts
from api.screentext import CARE
from econ.problems import BadInput, Problem

MOST_ROWS = 1_048_575  # of a sheet below its header, by ECMA-376 (from memory)
# Of each column of what to buy: its header, which figure of a file stands there, if one does, and its width.
BUY = (
    ("rank", "", 6), ("id", "", 9), ("find", "", 32), ("do", "", 44), ("asks", "asking_price", 11),
    ("offer at most", "highest_offer", 11), ("leaves", "profit", 11), ("bench hours", "bench_hours", 8),
    ("cash", "cash", 11), ("chance of a loss", "chance_of_loss", 9), ("first", "", 48),
)  # fmt: skip
LINE = 13.5  # height of a line [points]
FORMATS = dict.fromkeys(MONEY, "#,##0.00") | {"chance_of_loss": "0 %", "bench_hours": "0.0"}


def as_workbook(ranked: Ranked, file: BinaryIO) -> None:
    """Write the finds as XLSX. Raises BadInput where there are more than a sheet holds."""
    from openpyxl import Workbook

    if ranked.order.size > MOST_ROWS:
        rule = f"a sheet has at most {MOST_ROWS:,} rows"
        raise BadInput([Problem("--workbook", f"{ranked.order.size:,} finds", rule, "write --csv or --parquet")])
    book = Workbook()
    _front(book.active, ranked)
    _finds(book.create_sheet("Finds"), ranked)
    book.save(file)


def _front(sheet: Any, ranked: Ranked) -> None:
    from openpyxl.styles import Alignment, Font

    sheet.title, s = "What to buy", ranked.shortlist
    sheet.append([ranked.headline])
    sheet["A1"].font = Font(bold=True, size=12)
    sheet["A1"].alignment = Alignment(wrap_text=True, vertical="top")
    sheet.merge_cells(start_row=1, end_row=1, start_column=1, end_column=len(BUY))
    sheet.row_dimensions[1].height = 36
    sheet.append([])
    _row(sheet, ["", "", "", "to buy", f"best per {s.rate or 'find'} first"], bold=True)
    for name, unit in (("finds", "0"), ("profit", "#,##0.00"), ("hours", "0.0"), ("cash", "#,##0.00"), ("km", "0")):
        _row(sheet, ["", "", name, getattr(s.best, name), getattr(s.by_rate, name)])
        for cell in sheet[sheet.max_row][3:5]:
            cell.number_format, cell.alignment = unit, Alignment(horizontal="left")
    sheet.append([])
    _row(sheet, [head for head, _, _ in BUY], bold=True, wide=True)
    top = sheet.max_row
    for rank, x in enumerate(ranked.first(s.buy), 1):
        f = x.screened
        first = [f"Hold: {', '.join(h.replace('_', ' ') for h in f.holds)}"] if f.holds else []
        first += [f"Ask: {f.question.title}"] if f.question else []
        first += [f"There: {f.spot_check.title[:1].lower()}{f.spot_check.title[1:]}"] if f.spot_check else []
        do = f"{f.title}; {f.reason}" if f.reason else f.title
        figures = f.asking_price, f.highest_offer, f.profit, f.bench_hours, f.cash, f.chance_of_loss
        _row(sheet, [rank, x.id, x.name, do, *figures, "\n".join(first)], wide=True)
        for cell, (_, figure, _) in zip(sheet[sheet.max_row], BUY, strict=True):
            cell.number_format = FORMATS.get(figure, "General")
        cell.alignment = Alignment(wrap_text=True, vertical="top", indent=1)
    if not s.buy:
        _row(sheet, ["", "", "none"])
    sheet.append([])
    for said, count in (
        ("rows read", ranked.read), ("worth what is asked", s.pays), ("without a price", s.unpriced),
        ("to leave", s.leave), ("left out, at fault", ranked.left_out), ("currency", ranked.currency),
    ):  # fmt: skip
        _row(sheet, ["", "", said, count])
        sheet[sheet.max_row][3].alignment = Alignment(horizontal="left")
    sheet.append([])
    sheet.append([CARE])
    _page(sheet, [width for _, _, width in BUY], f"{top}:{top}")


def _finds(sheet: Any, ranked: Ranked) -> None:
    from openpyxl.styles import PatternFill

    _row(sheet, [c.replace("_", " ") for c in COLUMNS], bold=True)
    fill = PatternFill("solid", fgColor="E8F0E4")
    for frame in frames(ranked):
        for row in safe_texts(frame).itertuples(index=False):
            sheet.append([None if pd.isna(x) else x for x in row])
            for cell, column in zip(sheet[sheet.max_row], COLUMNS, strict=True):
                cell.number_format = FORMATS.get(column, "General")
                if row[1] == "yes":
                    cell.fill = fill
    sheet.freeze_panes = "F2"
    sheet.auto_filter.ref = sheet.dimensions
    _page(sheet, [width for _, width in COLUMNS.values()], "1:1")


def _row(sheet: Any, values: list[Any], bold: bool = False, wide: bool = False) -> None:
    """Append a row. wide: of the table of what to buy, as high as its longest text takes."""
    from openpyxl.styles import Alignment, Font

    sheet.append([safe(x) for x in values])
    for cell in sheet[sheet.max_row]:
        cell.font, cell.alignment = Font(bold=bold), Alignment(wrap_text=wide, vertical="top")
    if wide:
        lines = [
            sum(-(-max(len(part), 1) // (width - 2)) for part in x.split("\n")) if isinstance(x, str) else 1
            for x, (_, _, width) in zip(values, BUY, strict=True)
        ]
        sheet.row_dimensions[sheet.max_row].height = LINE * max(lines)


def _page(sheet: Any, widths: list[int], repeated: str) -> None:
    """Set the widths of columns, and have the sheet printed as wide as a page. repeated: rows on top of each."""
    from openpyxl.utils import get_column_letter

    for i, width in enumerate(widths, 1):
        sheet.column_dimensions[get_column_letter(i)].width = width
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = repeated
