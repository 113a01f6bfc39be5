"""Sources: what the answer rests on and where each figure is from, and how to read the workbook."""

from __future__ import annotations

from api.wording import resting_on
from api.workbook.page import Book
from econ.decision import Decision
from econ.workings import Workings

KEY = (
    ("input", 'framed, on yellow: may be changed (sheet Inputs, column "change to")'),
    ("fill_in", "framed, white: to be filled in by hand"),
    ("plain", "plain: a formula, it follows"),
    ("told", "slanted, on grey: worked out with the answer, it does not follow"),
)
NOT_FOLLOWING = (
    "Worked out with the answer, so that it does not follow: what each finding makes likely (it takes every set of "
    "faults, not a sheet's few hundred), the plan and what a check is worth, the draws behind one in ten and nine in "
    "ten, which repairs are shown, the tornado and the two-way table, the prices and the sending of a price book, a "
    "price fitted to comparables. For these decide the changed case anew.",
    "Follows: prices, hours, rates, tax and every other charge, chances of faults, what machines bring and cost, "
    "ages, life, interest and the years looked ahead; with them tickets, courses, repair limits, the estimate, the "
    "sentences of the answer and where the best course changes.",
)


def write_sources(book: Book, d: Decision, x: Workings) -> None:
    """Write the sheet."""
    page = book.page("Sources", (48, 26, 90))
    page.line("What this rests on, and how to read it", role="title")
    for role, said in KEY:
        page.put(page.next, 1, "like this", "general", role)
        page.put(page.next, 2, said)
        page.next += 1
    page.gap()
    for words in NOT_FOLLOWING:
        page.block(words, "note")
    page.gap()
    page.heads("figure", "value in the answer", "where it is from")
    for a in d.assumptions:
        name, value = resting_on(a, x.machine_class, d.currency)
        row = page.line(name, value, a.source, role="wrap", tall=True)
        page.said(row, 2, value)
    page.gap()
    if d.rule_of_thumb:
        page.heads("rule of thumb", "what it says", "and the answer")
        for r in d.rule_of_thumb:
            differs = "agrees" if r.agrees else f"differs: {r.why}"
            page.line(r.name, r.says, f"{differs} ({r.source})", role="wrap", tall=True)
        page.gap()
    version = f"mendworth {d.version}; " if d.version else ""
    book_of = "" if d.price_revision is None else f", prices of revision {d.price_revision} of the price book"
    share = f"{x.whole:.2%} of what is believed is looked at state by state; {d.dropped_mass:.1e} was dropped."
    page.block(f"{version}decided as of {d.as_of}{book_of}. {share} Draws: {d.risk.draws}, seed {d.risk.seed}.", "note")
