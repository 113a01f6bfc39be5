"""Checks: what was inspected, by whom and when, and what to look at next."""

from __future__ import annotations

from collections.abc import Sequence

from api.policy import plan_lines
from api.wording import result_name, words
from api.workbook.page import Book, Page
from econ.decision import Decision
from econ.words import listed
from econ.workings import Workings

WIDTHS = (44, 34, 11, 11, 14, 16)
TITLE = "Next check"


def write_checks(book: Book, d: Decision, x: Workings) -> None:
    """Write the sheet."""
    page = book.page(TITLE, [*WIDTHS[:4], book.wide(WIDTHS[4]), WIDTHS[5]])
    page.line("What was looked at, and what to look at next", role="title")
    page.block("Worked out with the answer: this sheet does not follow what is changed elsewhere.", "note")
    _inspected(page, x)
    page.gap()
    page.block("Next", "strong")
    step = d.plan.next_check
    if step is None or (step.check is None and not step.worth):
        page.block("No check would change what is best now.", "told")
    elif step.check is None:
        page.block(f"No check pays for itself now; the nearest is: {step.title}.", "told")
    else:
        cost = f", costs {d.currency} {step.cost:,f}" if step.cost else ""
        page.block(f"{step.title}: {step.minutes:.0f} minutes{cost}, worth {d.currency} {step.worth:,f}.", "told")
    for line in plan_lines(d.plan.tree, x.machine_class):
        page.block(line, "told", lines=-(-len(line) // 140))
    page.gap()
    _open(page, d, x)
    _care(page, d, x)


def _inspected(page: Page, x: Workings) -> None:
    """Write what was found so far: the check, what it showed, who looked and when."""
    page.block("Inspected so far", "strong")
    page.heads("check", "found", "by", "on", "", "")
    c = x.machine_class
    for complaint in x.case.complaints:
        page.line("complaint", c.complaints[complaint].title, "told", None, tall=True)
    for f in x.case.findings:
        check, seen = c.checks[f.check], ""
        if f.outcome is not None:
            seen = words(f.outcome)
        elif f.reading is not None:
            seen = f"{f.reading:g} {check.reading.unit if check.reading else ''}".strip()
        elif f.found is not None:
            seen = listed([c.faults[i].title for i in f.found]) or "nothing amiss inside"
        row = page.line(check.title, seen, f.by or "not recorded", role="wrap", tall=True)
        page.said(row, 2, seen)
        page.put(row, 4, f.on or "not recorded", "day", "wrap")
    if not x.case.complaints and not x.case.findings:
        page.block("Nothing was said or looked at.", "told")


def _open(page: Page, d: Decision, x: Workings) -> None:
    """Write the checks that are still open, the one worth most first."""
    page.block("Checks still open", "strong")
    page.heads("check", "what it may show", ">chance", ">minutes", ">worth by itself", "")
    worth = {w.check: w for w in d.plan.checks}
    every = sorted(d.open_checks, key=lambda o: -(worth[o.id].evsi if o.id in worth else 0))
    for check in every:
        row = page.line(check.title, role="strong", tall=True)
        page.put(row, 4, check.minutes, "count", "told")
        if check.id in worth:
            page.put(row, 5, worth[check.id].evsi, "money", "told")
        before = listed([x.machine_class.checks[w].title for w in check.waits_for])
        how = (f"After: {before}. " if before else "") + check.how
        if how:
            page.block(how, "note")
        for r in check.results:
            name = result_name(r.outcome, x.machine_class)
            row = page.line(None, name, role="told", tall=True)
            page.put(row, 3, r.chance, "share", "told")


def _care(page: Page, d: Decision, x: Workings) -> None:
    named: Sequence[str] = tuple(dict.fromkeys(c for o in d.open_checks for c in o.cautions))
    if not named:
        return
    page.gap()
    page.block("Take care while looking", "strong")
    for name in named:
        caution = x.machine_class.cautions.get(name)
        page.block(f"- {caution.text} ({caution.source})" if caution else f"- {words(name)}", "wrap")
