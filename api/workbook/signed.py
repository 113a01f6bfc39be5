"""Signed: sheets for signatures: cautions and declined work, the release checks, and what a buyer must be told."""

from __future__ import annotations

from datetime import date

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from api.workbook.machine import marks_of, name_of
from api.workbook.page import Book, Page
from econ.decision import Decision
from econ.words import percent
from econ.workings import Workings

DEFERS = (
    "The maker's manual, local codes and what a licensed person says come before anything written here. Fuel gas, "
    "mains connections and pressure parts are work for licensed people where the law says so."
)
TOLD_FROM = 0.1  # chance from which a fault that is left is told to a buyer [1]; judgement


def _signatures(page: Page, *who: str, column: int = 2) -> None:
    """Write lines to sign: who, name, day. column: of the name, the day beside it."""
    page.gap()
    page.heads("signed by", *("",) * (column - 2), "name", "on")
    for name in who:
        row = page.next
        page.put(row, 1, name)
        page.put(row, column, None, "text", "fill_in")
        page.put(row, column + 1, None, "day", "fill_in")
        page.sheet.row_dimensions[row].height = 26
        page.next += 1
    day = get_column_letter(column + 1)
    _days(page, f"{day}{page.next - len(who)}:{day}{page.next - 1}")


def _days(page: Page, cells: str, moment: bool = False) -> None:
    """Let cells take days alone."""
    rule = DataValidation("date", operator="greaterThan", formula1=str((date(2020, 1, 1) - date(1899, 12, 30)).days))
    rule.allow_blank, rule.showErrorMessage = True, True
    rule.error = "A day" + (" and a time, such as 2026-05-10 14:30." if moment else ", such as 2026-05-10.")
    rule.errorTitle = "That is no day"
    rule.add(cells)
    page.sheet.add_data_validation(rule)


def _words(page: Page, cells: str, *words: str) -> None:
    """Let cells take some words alone."""
    rule = DataValidation("list", formula1=f'"{",".join(words)}"', allow_blank=True)
    rule.error, rule.errorTitle, rule.showErrorMessage = f"One of: {', '.join(words)}.", "That can't stand here", True
    rule.add(cells)
    page.sheet.add_data_validation(rule)


def _machine(page: Page, d: Decision, x: Workings) -> None:
    page.block(f"{name_of(x)}, {marks_of(x)}. As of {d.as_of}.")


def write_care(book: Book, d: Decision, x: Workings) -> None:
    """Write the sheet of holds, cautions and declined safety work."""
    page = book.page("Care", (52, 22, 12, 26), upright=True)
    page.line("Holds, cautions and declined work", role="title")
    _machine(page, d, x)
    page.gap()
    c = x.machine_class
    page.block("Holds: until it is cleared, do not run it, return it or sell it as working", "strong")
    if not d.holds:
        page.block("No hold is open.")
    for hold in d.holds:
        page.block(f"{hold.title}. {hold.why} ({hold.source})", "warning")
    page.gap()
    page.block("Safety work: what clears each hold, and what was decided", "strong")
    page.heads("work", "done, declined or open", "on", "remarks")
    rows = []
    for hold in d.holds:
        ways = ["put right whatever causes it"] if c.holds[hold.id].by_cause else []
        ways += [c.jobs[j].title for j in hold.cleared_by]
        rows.append(f"{hold.title}: {', or '.join(ways) or 'nothing that can be done here clears it'}")
    first = page.next
    for said in [*rows, "", ""]:
        row = page.next
        page.put(row, 1, said, "general", "wrap" if said else "fill_in")
        for column, shape in ((2, "text"), (3, "day"), (4, "text")):
            page.put(row, column, None, shape, "fill_in")
        page.fit(row, (said,))
        page.next += 1
    _words(page, f"B{first}:B{page.next - 1}", "done", "declined", "open")
    _days(page, f"C{first}:C{page.next - 1}")
    page.block(
        "Declined: I was told of the hold and of what may happen, and I do not want the work that clears it done. I "
        "will not run the machine, and not sell or lend it as working, until that is done.",
        "note",
    )
    page.gap()
    page.block("Cautions for the work", "strong")
    for caution in d.cautions:
        page.block(f"- {caution.text} ({caution.source})")
    page.block(DEFERS, "note")
    _signatures(page, "owner of the machine", "who explained this")


def write_release(book: Book, d: Decision, x: Workings) -> None:
    """Write the sheet of release checks: reading, person and time of each, and whether it passes."""
    page = book.page("Release", (38, 10, 14, 16, 15, 24, 17, 40))
    page.line("Release checks: all must pass before it goes back", role="title")
    _machine(page, d, x)
    page.block(DEFERS, "note")
    page.gap()
    page.heads("check", "limit", "unit, or yes or no", "reading", "passes", "checked by", "on, at", "how")
    first = page.next
    for t in d.release_checks:
        row = page.next
        page.put(row, 1, t.title, "general", "wrap")
        worked = f" Worked out from what the case tells: {t.reading:g} {t.unit}." if t.reading is not None else ""
        how = f"{t.how}{worked} ({t.source})"
        page.put(row, 8, how, "general", "note")
        if t.limit is not None:
            page.put(row, 2, t.limit)
            page.put(row, 3, f"{t.unit}, {'at most' if t.at_most else 'at least'}", "general", "aside")
            page.put(row, 4, None, "times", "fill_in")
            sign = "<=" if t.at_most else ">="
            passed = f"D{row}{sign}B{row}"
        else:
            page.put(row, 2, "passes: yes or no", "general", "wrap")
            page.put(row, 3, None, "text", "fill_in")
            page.put(row, 4, None, "text", "fill_in")
            passed = f'C{row}="yes"'
            _words(page, f"C{row}", "yes", "no")
        page.put(row, 6, None, "text", "fill_in")
        page.put(row, 7, None, "moment", "fill_in")
        given = f"{'D' if t.limit is not None else 'C'}{row}"
        signed = f'IF(OR(F{row}="",G{row}=""),"by whom, when?","passes")'
        page.live(row, 5, f'IF({given}="","open",IF({passed},{signed},"FAILS"))', "general", "strong", "open")
        page.fit(row, (t.title, None, None, None, None, None, None, how))
        page.next += 1
    if d.release_checks:
        cells = f"E{first}:E{page.next - 1}"
        _days(page, f"G{first}:G{page.next - 1}", moment=True)
        page.gap()
        done = f'COUNTIF({cells},"passes")'
        page.live(
            page.next, 1,
            f'IF({done}={len(d.release_checks)},"All checks pass.",'
            f'IF(COUNTIF({cells},"FAILS")>0,"NOT TO BE RELEASED: a check fails.",'
            f'({len(d.release_checks)}-{done})&" checks are open."))',
            "general", "strong", f"{len(d.release_checks)} checks are open.",
        )  # fmt: skip
        page.next += 1
    _signatures(page, "who releases it", column=6)


def _answered(d: Decision) -> tuple[str, ...]:
    """Return the jobs that the answer takes; none where it is no repair, or where the cause is found first."""
    return next(c.jobs for c in d.courses if c.course == d.verdict.course)


def write_buyer(book: Book, d: Decision, x: Workings) -> None:
    """Write what whoever takes the machine over must be told."""
    page = book.page("For the buyer", (58, 20, 16), upright=True)
    page.line("What whoever takes it over must be told", role="title")
    _machine(page, d, x)
    page.gap()
    for hold in d.holds:
        page.block(
            f"NOT TO BE RUN AS IT IS: {hold.title}. {hold.why} Sold for parts or repair only, until this is cleared.",
            "warning",
        )
    c, jobs = x.machine_class, _answered(d)
    page.block("What is known or likely to be wrong with it", "strong")
    page.heads("fault", "chance in the answer", "put right")
    first = page.next
    likely = [f for f in d.faults if f.probability >= TOLD_FROM]
    for f in likely:
        row = page.line(f.title + (" (inside, not seen)" if f.hidden else ""), role="wrap", tall=True)
        page.said(row, 2, percent(f.probability))
        page.put(row, 3, None, "text", "fill_in")
    if likely:
        _words(page, f"C{first}:C{page.next - 1}", "yes", "no", "not looked at")
    else:
        page.block("Nothing that was said or seen makes a fault likely.")
    page.gap()
    page.block("Work done on it" + (": what the answer takes" if jobs else ""), "strong")
    page.heads("job", "done", "on")
    first = page.next
    for job in [*(c.jobs[j].title for j in jobs), "", "", ""]:
        row = page.next
        page.put(row, 1, job or None, "general", "wrap" if job else "fill_in")
        page.put(row, 2, None, "text", "fill_in")
        page.put(row, 3, None, "day", "fill_in")
        page.fit(row, (job,))
        page.next += 1
    _words(page, f"B{first}:B{page.next - 1}", "yes", "no")
    _days(page, f"C{first}:C{page.next - 1}")
    page.gap()
    hidden = f"Hidden damage of any kind, in the answer: {percent(d.hidden_damage)}."
    if not any(f.hidden for f in d.faults):
        hidden = "The answer counts no damage that is seen only inside."
    page.block(
        f"{hidden} What nobody opened nobody has seen. Release checks and their readings: sheet Release. " + DEFERS,
        "note",
    )
    _signatures(page, "who hands it over", "who takes it over, told of all this")
