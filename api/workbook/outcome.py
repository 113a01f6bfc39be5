"""Outcome: what it came to: estimate against what was really spent, line by line, to be filled in."""

from __future__ import annotations

from api.workbook.estimate import Estimated
from api.workbook.page import Book, Page
from econ.decision import Decision
from econ.workings import Workings

SPARE = 4  # empty lines for what nobody foresaw


def write_outcome(book: Book, d: Decision, x: Workings, estimated: Estimated | None) -> None:
    """Write the sheet."""
    page = book.page("What it came to", [46, 11, 11, *([book.wide(12)] * 3), 9, 26])
    page.line("Estimate against what it came to", role="title")
    if estimated is None:
        page.block("There is no estimate to hold it against.")
        return
    page.block(
        "Fill in what was really charged and how many hours it really took. A line left empty counts as not yet "
        "known, and the "
        "sums say how many are.",
        "note",
    )
    page.heads("", ">hours estimated", ">hours really", ">estimate", ">really", ">more or less", ">share", "why")
    first = page.next
    for what, row, kind in estimated.lines:
        _line(
            page,
            what,
            f"Estimate!E{row}",
            f"Estimate!B{row}" if kind == "labour" and not what.startswith("rounding") else "",
        )
    for _ in range(SPARE):
        _line(page, "", "0", "")
    last = page.next - 1
    total = page.next
    page.put(total, 1, "Total", "general", "total")
    for column in "BCDE":
        at = "ABCDEFGH".index(column) + 1
        shape = "hours" if column in "BC" else "money"
        page.live(total, at, f"SUM({column}{first}:{column}{last})", shape, "total")
    page.live(total, 6, f'IF(COUNT(E{first}:E{last})=0,"",E{total}-D{total})', "money", "total")
    page.live(total, 7, f'IF(OR(COUNT(E{first}:E{last})=0,D{total}=0),"",E{total}/D{total}-1)', "share", "total")
    page.live(
        total, 8, f'{len(estimated.lines)}-COUNT(E{first}:E{last - SPARE})&" lines not yet known"', "general", "note"
    )
    page.next += 2
    _after(page, d, x, total)


def _line(page: Page, what: str, estimate: str, hours: str) -> None:
    p, row = page, page.next
    p.put(row, 1, what or None, "general", "wrap" if what else "fill_in")
    if hours:
        p.live(row, 2, hours, "hours")
    p.put(row, 3, None, "hours", "fill_in")
    p.live(row, 4, estimate, "money")
    p.put(row, 5, None, "money", "fill_in")
    p.live(row, 6, f'IF(ISNUMBER(E{row}),E{row}-D{row},"")', "money")
    p.live(row, 7, f'IF(AND(ISNUMBER(E{row}),D{row}<>0),E{row}/D{row}-1,"")', "share")
    p.put(row, 8, None, "text", "fill_in")
    p.fit(row, (what,))
    p.next += 1


def _after(page: Page, d: Decision, x: Workings, total: int) -> None:
    """Write what it was worth afterwards: would the same be paid again."""
    p = page
    p.block("Afterwards", "strong")
    rows = [
        ("what turned out to be wrong", "text"),
        ("what was left as it is", "text"),
        ("sold for, or worth running", "money"),
    ]
    for label, shape in rows:
        p.put(p.next, 1, label)
        p.put(p.next, 4, None, shape, "fill_in")
        p.next += 1
    row = p.next
    p.put(row, 1, "worth paying up to, by the answer")
    if x.curing is not None:
        p.live(row, 4, "pays_to_amount", "money")
    p.put(row + 1, 1, "so the repair was")
    if x.curing is not None:
        verdict = f'IF(E{total}<=D{row},"worth what it came to","dearer than it was worth")'
        formula = f'IF(COUNT(E5:E{total - 1})=0,"not yet known",{verdict})'
        p.live(row + 1, 4, formula, "general", "strong")
    p.next = row + 3
    if d.spent_so_far:
        p.block(f"Spent before, and not counted: {d.currency} {d.spent_so_far:,f}.", "note")
