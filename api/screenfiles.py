"""Screen files: the finds of an answer as CSV, XLSX or Parquet, each put in place whole or not at all."""

from __future__ import annotations

import csv
import io
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from decimal import Decimal
from pathlib import Path
from typing import Any, BinaryIO, TextIO

from api.findlist import FindList
from api.leftout import write_left_out
from api.screening import Answer, ScreenedFind
from econ.problems import BadInput, Problem

# Of each column: its header and how wide it is shown in a workbook.
COLUMNS = {
    "rank": 6, "buy": 6, "row": 7, "id": 10, "name": 40, "machine_class": 22, "do": 44, "asking_price": 11,
    "highest_offer": 11, "profit": 10, "bench_hours": 9, "profit_per_hour": 10, "cash": 10, "km": 8,
    "chance_of_loss": 10, "reason": 50, "question": 50, "question_worth": 10, "spot_check": 44, "spot_minutes": 9,
    "spot_worth": 10, "holds": 24,
}  # fmt: skip
_MONEY = {"asking_price", "highest_offer", "profit", "profit_per_hour", "cash", "question_worth", "spot_worth"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet may take for a formula at the start of a text
MOST_ROWS = 1_048_575  # of a sheet below its header, by ECMA-376 (from memory)


def cells(n: int, x: ScreenedFind) -> dict[str, Any]:
    """Return a find as the cells of a row. n: its rank, from 1."""
    found, ask, look = x.screened, x.screened.question, x.screened.spot_check
    values = (
        n, "yes" if x.buy else "no", x.row, x.id, x.name, found.machine_class, found.title, found.asking_price,
        found.highest_offer, found.profit, found.bench_hours, found.profit_per_hour, found.cash, x.km,
        found.chance_of_loss, found.reason, ask and ask.title, ask and ask.worth, look and look.title,
        look and look.minutes, look and look.worth, "; ".join(found.holds),
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _safe(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula: texts come from strangers."""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


@contextmanager
def as_text(file: BinaryIO) -> Iterator[TextIO]:
    """Give a binary file as one of text in UTF-8, its line ends as they are written."""
    wrapped = io.TextIOWrapper(file, encoding="utf-8", newline="")
    try:
        yield wrapped
        wrapped.flush()
    finally:
        wrapped.detach()


def put(path: Path, write: Callable[[BinaryIO], None]) -> None:
    """Write a file beside its place and move it there when it is whole. Raises OSError."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with open(handle, "wb") as file:
            write(file)
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def as_csv(answer: Answer, file: TextIO) -> None:
    """Write the finds as CSV to a text file, in their order."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(COLUMNS)
    for n, x in enumerate(answer.finds, 1):
        writer.writerow(["" if v is None else _safe(v) for v in cells(n, x).values()])


def write_csv(answer: Answer, file: BinaryIO) -> None:
    """Write the finds as CSV in UTF-8."""
    with as_text(file) as text:
        as_csv(answer, text)


def write_rest(found: FindList, answer: Answer, file: BinaryIO) -> None:
    """Write the rows that could not be screened as CSV, with all that is wrong with each."""
    with as_text(file) as text:
        write_left_out(found.left_out, text)
        writer = csv.writer(text, lineterminator="\n")
        places = {int(row): i for i, row in enumerate(found.rows["row"])}
        for row, problems in sorted(answer.late.items()):
            line = found.rows.iloc[places[row]]
            said = " ".join(p.sentence() for p in problems)
            writer.writerow((row, line["id"], line["title"], said))


def as_workbook(answer: Answer, file: BinaryIO) -> None:
    """Write the finds as XLSX: what to buy and why on the first sheet, all finds on the second."""
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    if len(answer.finds) > MOST_ROWS:
        rule = f"a sheet has at most {MOST_ROWS:,} rows"
        raise BadInput([Problem("--workbook", f"{len(answer.finds):,} finds", rule, "write --csv or --parquet")])
    book = Workbook()
    front: Any = book.active
    front.title = "What to buy"
    s = answer.shortlist
    front.append([answer.headline])
    front["A1"].font, front["A1"].alignment = Font(bold=True, size=12), Alignment(wrap_text=True, vertical="top")
    front.merge_cells("A1:E1")
    front.row_dimensions[1].height = 64
    front.append([])
    front.append(["", "to buy", "best per hour first"])
    for name, unit in (("finds", "0"), ("profit", "#,##0.00"), ("hours", "0.0"), ("cash", "#,##0.00"), ("km", "0")):
        front.append([name, getattr(s.best, name), getattr(s.by_rate, name)])
        for cell in front[front.max_row][1:]:
            cell.number_format = unit
    front.append([])
    front.append(["rows read", answer.read])
    front.append(["worth what is asked", s.pays])
    front.append(["without a price", s.unpriced])
    front.append(["to leave", s.leave])
    front.append(["left out, at fault", answer.left_out])
    front.append(["currency", answer.currency])
    front.column_dimensions["A"].width = 24
    for letter in "BCDE":
        front.column_dimensions[letter].width = 22
    sheet: Any = book.create_sheet("Finds")
    sheet.append([c.replace("_", " ") for c in COLUMNS])
    for i, width in enumerate(COLUMNS.values(), 1):
        head = sheet.cell(1, i)
        head.font, head.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[get_column_letter(i)].width = width
    fill = PatternFill("solid", fgColor="E8F0E4")
    for n, x in enumerate(answer.finds, 1):
        row = cells(n, x)
        sheet.append([_safe(float(v) if isinstance(v, Decimal) else v) for v in row.values()])
        for cell, column in zip(sheet[n + 1], COLUMNS, strict=True):
            if column in _MONEY:
                cell.number_format = "#,##0.00"
            elif column == "chance_of_loss":
                cell.number_format = "0 %"
            elif column == "bench_hours":
                cell.number_format = "0.0"
            if x.buy:
                cell.fill = fill
    sheet.freeze_panes = "F2"
    sheet.auto_filter.ref = sheet.dimensions
    book.save(file)


def as_parquet(answer: Answer, file: BinaryIO) -> None:
    """Write the finds as Parquet; money as decimals."""
    import pandas as pd

    try:
        import pyarrow  # type: ignore[import-untyped, import-not-found, unused-ignore]  # noqa: F401
    except ImportError:
        remedy = 'pip install "mendworth[parquet]"'
        raise BadInput([Problem("--parquet", "no pyarrow", "Parquet is written by pyarrow", remedy)]) from None
    rows = [cells(n, x) for n, x in enumerate(answer.finds, 1)]
    pd.DataFrame(rows, columns=list(COLUMNS)).to_parquet(file, engine="pyarrow", index=False)
