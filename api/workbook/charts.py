"""Charts: native charts that read from cells, told apart by patterns and shades of grey, with a text for each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from openpyxl.chart import BarChart, LineChart, Reference, Series
from openpyxl.chart.data_source import NumDataSource, NumRef
from openpyxl.chart.error_bar import ErrorBars
from openpyxl.chart.legend import Legend
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.title import title_maker
from openpyxl.drawing.colors import ColorChoice
from openpyxl.drawing.fill import PatternFillProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, ParagraphProperties

from api.workbook.page import Page, Table

WHITE: Any = "FFFFFF"
# Fills that stay apart in black and white: pattern (none for a plain one) and shade.
FILLS: tuple[tuple[Any, Any], ...] = (
    (None, "303030"), ("ltUpDiag", "000000"), (None, "C0C0C0"), ("pct20", "000000"), (None, "808080"),
    ("lgGrid", "404040"), (None, "F2F2F2"), ("smCheck", "606060"),
)  # fmt: skip


def _reach(below: str, above: str) -> Any:
    """Return lines of reach, their parts in the order of the schema; the library puts minus before plus.

    References: ECMA-376, Part 1, CT_ErrBars (from memory).
    """
    minus, plus = (NumDataSource(numRef=NumRef(f=cells)) for cells in (below, above))
    lines: Any = ErrorBars(errBarType="both", errValType="cust", minus=minus, plus=plus, noEndCap=False)
    lines.__elements__ = ("errDir", "errBarType", "errValType", "noEndCap", "plus", "minus", "val", "spPr")
    return lines


def _fill(n: int) -> GraphicalProperties:
    pattern, shade = FILLS[n % len(FILLS)]
    line = LineProperties(solidFill="404040", w=6350)
    if pattern is None:
        return GraphicalProperties(solidFill=shade, ln=line)
    patterned = PatternFillProperties(prst=pattern)
    patterned.foreground, patterned.background = ColorChoice(srgbClr=shade), ColorChoice(srgbClr=WHITE)
    return GraphicalProperties(pattFill=patterned, ln=line)


def _reference(table: Table, column: str, rows: range) -> Reference:
    return Reference(range_string=table.column(column, rows.start, rows.stop - 1))


def _series(table: Table, column: str, rows: range, title: str) -> Any:  # the library's types say too little of it
    return Series(_reference(table, column, rows), title=title)


def _title(words: str) -> Any:
    title: Any = title_maker(words)
    title.overlay = False
    for paragraph in title.tx.rich.p:
        paragraph.pPr = ParagraphProperties(defRPr=CharacterProperties(sz=1000, b=True))
        for run in paragraph.r:
            run.rPr = CharacterProperties(sz=1000, b=True)
    return title


def _placed(page: Page, chart: Any, at: str, width: float, height: float, alt: str) -> None:
    chart.width, chart.height = width, height
    chart.visible_cells_only = False  # what is drawn may stand in columns that are folded away
    page.sheet.add_chart(chart, at)
    page.book.alt_texts.setdefault(page.title, []).append(alt)


def _axes(chart: Any, unit: str, shape: str) -> None:
    chart.x_axis.delete = chart.y_axis.delete = False  # left to itself the library hides them
    chart.y_axis.number_format = shape
    if unit:
        chart.y_axis.title = unit
    chart.y_axis.majorGridlines.spPr = GraphicalProperties(ln=LineProperties(solidFill="D0D0D0"))
    chart.x_axis.tickLblPos = "low"


def bars(
    page: Page,
    at: str,
    table: Table,
    names: str,
    columns: Sequence[tuple[str, str]],
    rows: range,
    title: str,
    alt: str,
    stacked: bool = False,
    across: bool = False,
    reach: tuple[str, str] | None = None,
    ends: tuple[str, str] = ("", ""),
    size: tuple[float, float] = (24.0, 9.0),
) -> None:
    """Draw lying bars, a row for each name.

    columns: (column, its title); reach: columns of how far below and above, ends: of where that is.
    across: two series laid over each other, as where one goes left and the other right.
    """
    chart = BarChart()
    chart.type, chart.title = "bar", _title(title)
    chart.grouping = "stacked" if stacked else "clustered"
    if stacked or across:
        chart.overlap = 100
    chart.gapWidth = 60
    for n, (column, name) in enumerate(columns):
        series = _series(table, column, rows, name)
        series.graphicalProperties = _fill(n + (2 if reach else 0))
        series.invertIfNegative = False
        if reach:
            series.errBars = _reach(*(table.column(x, rows.start, rows.stop - 1) for x in reach))
        chart.series.append(series)
    if reach:  # without ink: so that the axis has room for the lines
        for ink_free in ends:
            series = _series(table, ink_free, rows, " ")
            series.graphicalProperties = GraphicalProperties(noFill=True, ln=LineProperties(noFill=True))
            chart.series.append(series)
        chart.overlap = 100
    chart.set_categories(_reference(table, names, rows))
    chart.x_axis.scaling.orientation = "maxMin"  # the first on top
    _axes(chart, "", page.book.formats["whole_money"])
    chart.legend = None if len(columns) == 1 else chart.legend
    if chart.legend is not None:
        chart.legend.position = "b"
    _placed(page, chart, at, *size, alt)


def lines(
    page: Page, at: str, table: Table, names: str, columns: Sequence[tuple[str, str]], rows: range, title: str, alt: str
) -> None:
    """Draw lines over years."""
    chart = LineChart()
    chart.title = _title(title)
    for n, (column, name) in enumerate(columns):
        series = _series(table, column, rows, name)
        dash: Any = ("solid", "dash", "sysDot")[n % 3]
        series.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill="303030", w=22_000, prstDash=dash))
        series.smooth = False
        chart.series.append(series)
    chart.set_categories(_reference(table, names, rows))
    _axes(chart, "", page.book.formats["whole_money"])
    chart.x_axis.title = "years from now"
    chart.legend = Legend()
    chart.legend.position = "b"
    _placed(page, chart, at, 24.0, 9.0, alt)
