"""Answer: the first sheet: what to do, the money and the reason, in one page."""

from __future__ import annotations

from typing import Any

from api.workbook.charts import bars
from api.workbook.courses import Courses
from api.workbook.formula import text
from api.workbook.machine import marks_of, name_of
from api.workbook.page import Book, Page
from econ.decision import Decision
from econ.words import listed, percent
from econ.workings import Workings

WIDTHS = (44, 14, 14, 14, 14)
WIDEST = 64  # column of courses
CHANGED = "COUNTA(changed_figures)"
UNCHANGED = "All figures are those of the answer."
CARE = (
    "Before it is run or taken apart: spark lead off or battery pack out, fuel away from flames, and the maker's "
    "manual beside it. Where this differs from the maker's manual, from local codes or from what a licensed person "
    "says, those hold."
)
HANDED_ON = (
    "The shop's own: this file holds what parts cost it, its wage and its profit. For the customer print or save as "
    "PDF the sheets Estimate, Care, Release and For the buyer, which tell none of that."
)


def write_answer(book: Book, d: Decision, x: Workings, at: Courses) -> Page:
    """Write the first sheet."""
    longest = max(len(c.title) for c in d.courses) / 1.3
    widths = [min(max(longest, WIDTHS[0]), WIDEST), *map(book.wide, WIDTHS[1:])]
    page = book.page("Answer", widths, upright=True)
    page.sheet.page_setup.fitToHeight = 1
    page.block(name_of(x), "name")
    kind = x.machine_class.about.title
    page.block(f"{kind[:1].upper()}{kind[1:]}, {marks_of(x)}, decided as of {d.as_of}.", "note")
    page.gap()
    said = d.verdict.headline
    page.block("headline", "answer", lines=-(-len(said) // int(sum(widths) * 0.75)) + 1, first=said)
    for hold in d.holds:
        page.block(
            f"DO NOT RUN IT, RETURN IT OR SELL IT AS WORKING: {hold.title}. {hold.why} More on sheet Care.", "warning"
        )
    if d.warranty_first:
        page.block(d.warranty_first, "strong")
    _figures(book, page, d, x, at)
    page.gap()
    _courses(page, d, at)
    page.gap()
    _draw(page, d, at)
    sure = f"{d.verdict.confidence_word[:1].upper()}{d.verdict.confidence_word[1:]}"
    sure = (
        f"{sure}: with the figures of the answer the best course in {percent(d.verdict.confidence)} of what it may "
        "turn out to be."
    )
    page.block(f'IF({CHANGED}=0,{text(sure)},"How sure this is, only a new answer tells.")', "note", 5, 1, sure)
    page.block(_changed(d), "note", lines=-(-(len(d.verdict.headline) + 40) // 115), first=UNCHANGED)
    page.block("To try other figures: sheet Inputs, framed cells. " + CARE, "note")
    if d.perspective == "shop":
        page.block(HANDED_ON, "note")
    return page


def _draw(page: Page, d: Decision, at: Courses) -> None:
    """Draw what the courses are worth, with what nine in ten come out above and below."""
    rows = range(len(d.courses))
    wide, high = 18.5 + (page.widths[0] - WIDTHS[0]) / 6, 1.8 + 0.72 * len(d.courses)
    bars(
        page, f"A{page.next}", at.table, "short", [("worth", "better off by")], rows,
        "Better off by; the thin lines (in the answer alone) leave out one in ten below and above",
        f"Bar chart: how much better off each of {len(d.courses)} courses leaves whoever decides; the thin lines "
        "reach from what one in ten falls below to what one in ten goes above.",
        reach=("below", "above"), ends=("p10", "p90"), size=(wide, high),
    )  # fmt: skip
    page.next += int(high / 0.46) + 2


def _changed(d: Decision) -> str:
    said = d.verdict.headline.replace('"', '""')
    pieces = "&".join(f'"{said[i : i + 240]}"' for i in range(0, len(said), 240))
    changed = f'"Figures changed: "&{CHANGED}&". The answer was: "&{pieces}'
    return f'IF({CHANGED}=0,"{UNCHANGED}",{changed})'


def _figures(book: Book, page: Page, d: Decision, x: Workings, at: Courses) -> None:
    """Write the figures people look for first."""
    scale = book.scale

    def add(label: str, formula: str, first: Any, of: tuple[str, str] = ("", "")) -> None:
        """Write a figure. of: the course it is of, as a formula and as it is in the answer."""
        if of[0]:
            page.live(page.next, 1, f"{text(label + ': ')}&{of[0]}", "general", "wrap", f"{label}: {of[1]}")
            page.fit(page.next, (f"{label}: {of[1]}",))
        else:
            page.put(page.next, 1, label)
        page.live(page.next, 2, formula, "money", "strong", first)
        page.next += 1

    best = d.courses[at.number(d.verdict.course)]
    if d.estimate is not None:
        jobs = listed([x.machine_class.jobs[j].title for j in d.estimate.jobs]) or "looking it over"
        add("estimate, tax included", "estimate_total", d.estimate.total, (text(jobs), jobs))
        if not x.terms.by_shop:
            add("beside it own time worth", "estimate_own_time", d.estimate.own_time)
    if x.curing is not None:
        comes, pays = at.sums
        title = f"INDEX({at.table.column('title')},put_right)"
        of = title, d.courses[at.put_right].title
        counted = "with what may follow" if x.terms.by_shop else "with own time and what may follow"
        add(counted, "comes_to_amount", comes, of)
        add("worth paying up to, counted so", "pays_to_amount", pays)
    add("this running", "running", float(x.market.running) / scale)
    add("a new one", "new_price", float(x.terms.new_price) / scale)
    if d.offer is not None:
        left = d.offer.left_at_asking
        add("highest offer", "offer_amount", d.offer.highest)
        said = "not asked" if left is None else left
        add("left at the asked price", 'IF(ISNUMBER(asking_price),left_amount,"not asked")', said)
    else:
        add("a year of service at its cheapest costs", "service_year", float(x.service_year) / scale)
    if d.perspective == "shop":
        profit = at.table.column("profit")
        formula = f'IF(ISNUMBER(INDEX({profit},best_course)),INDEX({profit},best_course),"no repair")'
        told = "no repair" if best.gross_profit is None else at.told(at.number(best.course), "profit")
        add("gross profit on the best course", formula, told)


def _courses(page: Page, d: Decision, at: Courses) -> None:
    """Write the courses in short: those open, the best marked."""
    page.heads("What can be done", ">better off by", ">cash now", ">cost in all", ">worth up to")
    for i in range(len(d.courses)):
        title, best = at.table.cell("title", i), at.table.cell("best", i)
        course = d.courses[i]
        barred = f'IF({at.table.cell("barred", i)}="",""," (not open)")'
        mark = "=> " if course.course == d.verdict.course else "   "
        told = f"{mark}{i + 1}: {course.title}" + (" (not open)" if course.barred else "")
        page.live(page.next, 1, f'IF({best}="","   ","=> ")&"{i + 1}: "&{title}&{barred}', "general", "wrap", told)
        page.fit(page.next, ("       " + d.courses[i].title + ("(not open)" if d.courses[i].barred else ""),))
        for column, name in enumerate(("worth", "cash", "cost", "limit"), 2):
            amount = None if name == "limit" and course.repair_limit is None else at.told(i, name)
            if amount is not None:
                page.live(page.next, column, at.table.cell(name, i), "money", first=amount)
        page.next += 1
