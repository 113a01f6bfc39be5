"""Screen book: the finds of a list as a workbook, what to buy and why on its first sheet, all finds on the second.

Rows go to the file as they are made, so that memory does not grow with their number; what holds for a whole sheet is
set before its first row.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache, partial
from typing import Any, BinaryIO

from api.ranked import Ranked
from api.screenfiles import COLUMNS, MONEY, each_text, frames
from api.screentext import CARE
from api.xlsx import Pen, bare, money_format, styled
from econ.problems import BadInput, Problem

MOST_ROWS = 1_048_576  # of a sheet, by ECMA-376 (from memory)
AROUND = 24  # rows of the first sheet beside those to buy
AT_ONCE = 4_000  # rows made at a time
# Of each column of what to buy: its header, which figure of a file stands there, if one does, and its width.
BUY = (
    ("rank", "rank", 6), ("id", "", 9), ("find", "", 32), ("do", "", 44), ("asks", "asking_price", 11),
    ("offer at most", "highest_offer", 11), ("leaves", "profit", 11), ("bench hours", "bench_hours", 8),
    ("cash", "cash", 11), ("chance of a loss", "chance_of_loss", 9), ("first", "", 48),
)  # fmt: skip
FONT = "Calibri"
LINE, HIGHEST = 14.5, 409.0  # height of a line, and at most of a row (ECMA-376, from memory) [points]
# The columns of all finds: what is printed, what else is for people, and what is for programs, which is folded away.
PRINTED = (
    "rank", "buy", "id", "name", "do", "asking_price", "highest_offer", "profit", "bench_hours", "profit_per_hour",
    "cash", "km", "chance_of_loss", "holds",
)  # fmt: skip
AFTER = ("reason", "question", "question_worth", "spot_check", "spot_minutes", "spot_worth")
FOLDED = ("row", "machine_class", "course", "currency", "question_id", "spot_check_id")
ALL = (*PRINTED, *AFTER, *FOLDED)
WIDTHS = {name: width for name, (_, width) in COLUMNS.items()} | dict.fromkeys(MONEY, 11) | {
    "buy": 5, "name": 38, "do": 39, "bench_hours": 7, "km": 7, "chance_of_loss": 8, "holds": 15
}  # fmt: skip
PLAIN = ("row", "km", "spot_minutes")  # numbers that need no format: a cell with one takes half as long again
WRAPPED = {"name": 41, "do": 42}  # over several lines where they are longer than so many letters, of unequal width


def as_workbook(ranked: Ranked, file: BinaryIO) -> None:
    """Write the finds as XLSX. Raises BadInput where there are more than a sheet holds."""
    from openpyxl import Workbook

    from api.workbook.saving import save

    if max(ranked.order.size + 1, ranked.shortlist.buy + AROUND) > MOST_ROWS:
        rule = f"a sheet has at most {MOST_ROWS:,} rows"
        raise BadInput([Problem("--workbook", f"{ranked.order.size:,} finds", rule, "write --csv or --parquet")])
    book = Workbook(write_only=True)
    _front(book.create_sheet("What to buy"), ranked)
    _finds(book.create_sheet("Finds"), ranked)
    save(book, file)


def _formats(currency: str) -> dict[str, str]:
    """Return the number formats of columns in a currency."""
    return dict.fromkeys(MONEY, money_format(currency)) | {
        "rank": "0_)", "chance_of_loss": "0 %_)", "bench_hours": "0.0"
    }  # fmt: skip


def _front(sheet: Any, ranked: Ranked) -> None:
    from openpyxl.styles import Alignment, Font

    s, formats, money = ranked.shortlist, _formats(ranked.currency), money_format(ranked.currency)
    top, left = Alignment(wrap_text=True, vertical="top"), Alignment(horizontal="left", vertical="top")
    bold = partial(styled, sheet, font=Font(FONT, 11, bold=True))
    best = (("finds", "0"), ("profit", money), ("hours", "0.0"), ("cash", money), ("km", "General"))
    above = 5 + len(best)  # rows to the headers of what to buy
    _page(sheet, [_width(figure, width, money) for _, figure, width in BUY], above)
    sheet.merged_cells.add(f"A1:{_letter(len(BUY))}1")
    _append(sheet, 1, [styled(sheet, ranked.headline, font=Font(FONT, 12, bold=True), alignment=top)], 3)
    sheet.append([])
    sheet.append([None, None, None, bold("to buy"), bold(f"best per {s.rate or 'find'} first")])
    for name, unit in best:
        amounts = (getattr(x, name) for x in (s.best, s.by_rate))
        told = (styled(sheet, x, number_format=unit, alignment=left) for x in amounts)
        sheet.append([None, None, bare(sheet, name), *told])
    sheet.append([])
    heads = [_head(sheet, name, figure in formats) for name, figure, _ in BUY]
    _append(sheet, above, heads, _high([name for name, _, _ in BUY]))
    pens = [Pen(sheet, alignment=top, number_format=formats.get(figure, "General")) for _, figure, _ in BUY]
    for number, row in enumerate(_to_buy(ranked), above + 1):
        cells = [None if x is None else pen.write(x) for pen, x in zip(pens, row, strict=True)]
        _append(sheet, number, cells, _high(row))
    if not s.buy:
        sheet.append([None, None, "none"])
    sheet.append([])
    for said, count in (
        ("rows read", ranked.read), ("worth what is asked", s.pays), ("without a price", s.unpriced),
        ("to leave", s.leave), ("left out, at fault", ranked.left_out), ("currency", ranked.currency),
    ):  # fmt: skip
        sheet.append([None, None, said, styled(sheet, count, alignment=left)])
    sheet.append([])
    sheet.append([CARE])


def _to_buy(ranked: Ranked) -> Iterator[list[Any]]:
    """Yield the rows of what to buy, in their order."""
    figures = [figure for _, figure, _ in BUY[1:] if figure]
    if not ranked.shortlist.buy:
        return
    for frame in frames(ranked, ranked.best(ranked.shortlist.buy), AT_ONCE):
        said = ("id", "name", "do", "reason", "holds", "question", "spot_check")
        texts = zip(*(each_text(frame[x], str) for x in said), strict=True)
        amounts = zip(*(_known(frame[x]) for x in figures), strict=True)
        for rank, text, each in zip(frame["rank"].tolist(), texts, amounts, strict=True):
            own, name, do, reason, holds, question, check = text
            first = [f"Hold: {holds.replace('; ', ', ').replace('_', ' ')}"] if holds else []
            first += [f"Ask: {question}"] if question else []
            first += [f"There: {check[:1].lower()}{check[1:]}"] if check else []
            yield [rank, own, name, f"{do}; {reason}" if reason else do, *each, "\n".join(first)]


def _finds(sheet: Any, ranked: Ranked) -> None:
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import Alignment, PatternFill

    rule: Any = FormulaRule
    last, end, formats = _letter(len(ALL)), ranked.order.size + 1, _formats(ranked.currency)
    _page(sheet, [_width(name, WIDTHS[name], formats["profit"]) for name in ALL], 1)
    for i in range(len(ALL) - len(FOLDED), len(ALL)):
        column = sheet.column_dimensions[_letter(i + 1)]
        column.outlineLevel, column.hidden = 1, True
    sheet.column_dimensions.max_outline = 1
    sheet.freeze_panes = f"{_letter(ALL.index('do') + 1)}2"
    sheet.auto_filter.ref = f"A1:{last}{end}"
    sheet.print_area = f"A1:{_letter(len(PRINTED))}{end}"
    bought = rule([f'${_letter(ALL.index("buy") + 1)}2="yes"'], fill=PatternFill(bgColor="E8F0E4"))
    sheet.conditional_formatting.add(f"A2:{last}{max(end, 2)}", bought)
    heads = [_head(sheet, name.replace("_", " "), name in formats or name in PLAIN) for name in ALL]
    _append(sheet, 1, heads, 2)
    pens = {name: Pen(sheet, number_format=unit) for name, unit in formats.items()}
    wrap = Alignment(wrap_text=True)

    def text(name: str, x: str) -> Any:
        return styled(sheet, x, alignment=wrap) if _lines(x, WRAPPED[name]) > 1 else bare(sheet, x)

    number = 1
    for frame in frames(ranked, most=AT_ONCE):
        columns: list[Iterable[Any]] = [
            _penned(pens[x], frame[x]) if x in pens
            else _known(frame[x]) if x in PLAIN
            else each_text(frame[x], partial(text, x) if x in WRAPPED else partial(bare, sheet))
            for x in ALL
        ]  # fmt: skip
        lines = zip(*(each_text(frame[x], partial(_lines, width=most)) for x, most in WRAPPED.items()), strict=True)
        for row, high in zip(zip(*columns, strict=True), map(max, lines), strict=True):
            number += 1
            _append(sheet, number, row, high)


def _penned(pen: Pen, column: Any) -> Iterator[Any]:
    """Yield the cells of a column of numbers, each to be appended before the next; None where there is nothing."""
    for x in _known(column):
        yield None if x is None else pen.write(x)


def _known(column: Any) -> list[Any]:
    """Return the values of a column, None where there is none."""
    return [None if none else x for none, x in zip(column.isna().tolist(), column.tolist(), strict=True)]


def _append(sheet: Any, number: int, row: Sequence[Any], lines: int) -> None:
    """Append a row as high as so many lines. number: of the row."""
    if lines > 1:
        sheet.row_dimensions[number] = _row_of(lines)
    sheet.append(row)
    if lines > 1:  # it is written: of many rows it would take the most room
        del sheet.row_dimensions[number]


@lru_cache(maxsize=1000)
def _row_of(lines: int) -> Any:
    """Return what makes a row as high as so many lines."""
    from openpyxl.worksheet.dimensions import RowDimension

    row: Any = RowDimension
    return row(None, ht=min(LINE * lines, HIGHEST))


def _high(values: Sequence[Any]) -> int:
    """Return how many lines the longest text of a row of what to buy takes."""
    return max(_lines(x, width) for x, (_, _, width) in zip(values, BUY, strict=True) if isinstance(x, str))


def _lines(text: str, width: int) -> int:
    """Return about how many lines a text takes. width: of its column."""
    return sum(-(-max(len(part), 1) // width) for part in text.split("\n"))


def _head(sheet: Any, name: str, number: bool) -> Any:
    """Return the header of a column. number: of numbers, which stand at its right."""
    from openpyxl.styles import Alignment, Font

    aside = Alignment(wrap_text=True, vertical="top", horizontal="right" if number else "left")
    return styled(sheet, name, font=Font(FONT, 11, bold=True), alignment=aside)


def _width(name: str, width: int, money: str) -> int:
    """Return the width of a column. money: number format of amounts, which take more with a code than with a sign."""
    return width + len(money.split('"')[1]) - 1 if name in MONEY else width


def _letter(place: int) -> str:
    """Return the letters of a column. place: from 1."""
    from openpyxl.utils import get_column_letter

    return get_column_letter(place)


def _page(sheet: Any, widths: list[int], heads: int) -> None:
    """Set the widths of columns, and have the sheet printed as wide as a page. heads: the row on top of each."""
    for i, width in enumerate(widths, 1):
        sheet.column_dimensions[_letter(i)].width = width
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = f"{heads}:{heads}"
    for side in ("left", "right", "top", "bottom"):
        setattr(sheet.page_margins, side, 0.5 if side in ("left", "right") else 0.7)
    sheet.HeaderFooter.oddFooter.center.text = "&A, page &P of &N"
