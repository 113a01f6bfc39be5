"""Outcome: what it came to: estimate against what was really spent, line by line, to be filled in."""

from __future__ import annotations

from typing import Any, NamedTuple

from api.workbook.courses import Courses
from api.workbook.estimate import Estimated
from api.workbook.page import Book, Page
from econ.decision import Decision
from econ.workings import Workings

SPARE = 4  # empty lines for what nobody foresaw


class Cell(NamedTuple):
    """A formula, and what it comes to in the answer, None where that is not told."""

    formula: str
    first: Any


def write_outcome(book: Book, d: Decision, x: Workings, at: Courses, estimated: Estimated | None) -> None:
    """Write the sheet."""
    page = book.page("What it came to", [46, 11, 11, *([book.wide(12)] * 3), 9, 26])
    page.line("Estimate against what it came to", role="title")
    if estimated is None:
        page.block("There is no estimate to hold it against.")
        return
    page.block(
        "Fill in what was really charged and how many hours it really took. A line left empty counts as not yet "
        "known, but where nothing was estimated; the sums say how many are.",
        "note",
    )
    page.heads("", ">hours estimated", ">hours really", ">estimate", ">really", ">more or less", ">share", "why")
    first, own = page.next, not x.terms.by_shop
    for what, row, kind in estimated.lines:
        amount, hours = (Cell(f"Estimate!{c}{row}", estimated.told.get(f"{c}{row}")) for c in "EB")
        if own:  # those of the book, at one's own pace
            told = None if hours.first is None else float(hours.first) * x.terms["slowness"]
            hours = Cell(f"{hours.formula}*slowness", told)
        _line(page, what, amount, hours if kind == "labour" and not what.startswith("rounding") else None)
    for _ in range(SPARE):
        _line(page, "", Cell("0", 0), None)
    last = page.next - 1
    total = page.next
    page.put(total, 1, "Total", "general", "total")
    for column in "BCDE":
        place = "ABCDEFGH".index(column) + 1
        shape = "hours" if column in "BC" else "money"
        told = sum(float(page.first.get(f"{column}{row}") or 0) for row in range(first, last + 1))
        page.live(total, place, f"SUM({column}{first}:{column}{last})", shape, "total", told)
    page.live(total, 6, f'IF(COUNT(E{first}:E{last})=0,"",E{total}-D{total})', "money", "total")
    page.live(total, 7, f'IF(OR(COUNT(E{first}:E{last})=0,D{total}=0),"",E{total}/D{total}-1)', "share", "total")
    lines = range(first, first + len(estimated.lines))
    some = sum(1 for row in lines if page.first.get(f"D{row}") or (own and page.first.get(f"B{row}")))
    page.live(total, 8, f'{_open(lines, own)}&" lines not yet known"', "general", "note", f"{some} lines not yet known")
    page.next += 2
    _after(page, d, x, at, lines, total)


def _open(lines: range, own: bool) -> str:
    """Return a formula of how many lines are not yet known; what comes to nothing need not be filled in."""
    b, c, d, e = (f"{column}{lines.start}:{column}{lines.stop - 1}" for column in "BCDE")
    hours = f'+({b}<>0)*({c}="")' if own else ""  # who works for himself pays in hours
    return f'SUMPRODUCT((({d}<>0)*({e}=""){hours}>0)*1)'


def _line(page: Page, what: str, estimate: Cell, hours: Cell | None) -> None:
    p, row = page, page.next
    p.put(row, 1, what or None, "general", "wrap" if what else "fill_in")
    if hours is not None:
        p.live(row, 2, hours.formula, "hours", first=hours.first)
    p.put(row, 3, None, "hours", "fill_in")
    p.live(row, 4, estimate.formula, "money", first=estimate.first)
    p.put(row, 5, None, "money", "fill_in")
    p.live(row, 6, f'IF(ISNUMBER(E{row}),E{row}-D{row},"")', "money")
    p.live(row, 7, f'IF(AND(ISNUMBER(E{row}),D{row}<>0),E{row}/D{row}-1,"")', "share")
    p.put(row, 8, None, "text", "fill_in")
    p.fit(row, (what,))
    p.next += 1


def _after(page: Page, d: Decision, x: Workings, at: Courses, lines: range, total: int) -> None:
    """Write what it was worth afterwards: would the same be paid again. lines: rows of the estimate's lines."""
    page.block("Afterwards", "strong")
    rows = [
        ("what turned out to be wrong", "text"),
        ("what was left as it is", "text"),
        ("sold for, or worth running", "money"),
    ]
    for label, shape in rows:
        page.put(page.next, 1, label)
        page.put(page.next, 4, None, shape, "fill_in")
        page.next += 1
    spent = page.next
    page.put(spent, 1, "paid, and own time at what an hour is worth" if not x.terms.by_shop else "paid")
    own = "" if x.terms.by_shop else f"+C{total}*bench_hour"
    page.live(spent, 4, f"E{total}{own}", "money", first=0)
    page.put(spent + 1, 1, "so it left, over letting it go as it was")
    left = f'IF(ISNUMBER(D{spent - 1}),D{spent - 1}-D{spent}-way_best,"sold for what?")'
    page.live(spent + 1, 4, left, "money", "strong", "sold for what?")
    jobs = d.estimate.jobs if d.estimate else ()
    limit = next((i for i, c in enumerate(d.courses) if c.jobs == jobs and c.repair_limit is not None), None)
    page.next = spent + 2
    if limit is not None:
        page.put(page.next, 1, "worth paying up to, by the answer")
        page.live(page.next, 4, at.table.cell("limit", limit), "money", first=at.told(limit, "limit"))
        page.next += 1
        page.put(page.next, 1, "so the repair was")
        verdict = f'IF(D{spent}<=D{page.next - 1},"worth what it came to","dearer than it was worth")'
        filled = ",".join(f"{column}{lines.start}:{column}{lines.stop - 1}" for column in "CE")
        known = f"IF({_open(lines, not x.terms.by_shop)}>0,H{total},{verdict})"
        formula = f'IF(COUNT({filled})=0,"not yet known",{known})'
        page.live(page.next, 4, formula, "general", "strong", "not yet known")
        page.next += 1
    page.gap()
    if d.spent_so_far:
        page.block(f"Spent before, and not counted: {d.currency} {d.spent_so_far:,f}.", "note")
