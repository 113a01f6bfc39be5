"""Bridge: item by item from the estimate's total to what each course is worth."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from api.workbook.courses import ITEMS, SIDE, TOP, Courses
from api.workbook.left import Left
from api.workbook.page import Book, Page, Table, absolute
from api.workbook.tickets import Tickets
from econ.decision import CourseLine
from econ.payoffs import DISPOSALS
from econ.workings import Repair, Workings

BESIDE_EACH_OTHER = 7  # courses that a page has room for


def write_bridge(book: Book, at: Courses, left: Left, tickets: Tickets, months: Table) -> None:
    """Write the bridge: item by item from what is paid to how much better off each course leaves whoever decides."""
    d = at.d
    page = book.page("Bridge", [46, *([book.wide(14)] * len(d.courses))])
    page.line("From the estimate to what each course is worth", role="title")
    if len(d.courses) > BESIDE_EACH_OTHER:
        page.sheet.page_setup.fitToWidth, page.sheet.print_title_cols = 2, "A:A"
    page.block(
        "Costs are below nothing. Expected amounts, in today's money. Better off by, the sum, is what the answer "
        "compares; the three lines below it say how the repairs come to theirs. "
        + ("Baseline: walking away, before the asking price and the trip." if d.perspective == "reseller" else
           "Baseline: handing it over for nothing, and going on with the cheapest other way."),
        "note", 1 if len(d.courses) > BESIDE_EACH_OTHER else None,  # what is repeated, where it prints two pages wide
    )  # fmt: skip
    page.next = TOP - 1
    page.put(page.next, 1, "", "general", "head")
    for i, course in enumerate(d.courses):
        page.put(page.next, SIDE + i, f"{i + 1}: {course.title}", "general", "head_right")
    page.fit(page.next, [None, *(f"{i + 1}: {c.title}" for i, c in enumerate(d.courses))])
    page.sheet.freeze_panes = page.sheet.cell(TOP, SIDE)
    for name, title in ITEMS:
        strong = title[:1].isupper()
        page.put(
            at.rows[name], 1, title if strong else f"   {title}", "general", "total" if name == "worth" else "plain"
        )
    for i, course in enumerate(d.courses):
        b = _Bridge(page, at, i)
        found = at.repair(course)
        rest = at.x.rests[course.course].worth / book.scale
        page.put(at.rows["rest"], SIDE + i, rest, "money", "told")
        if found is None:
            _other(b, at.x, course, left, months)
        else:
            _repair(b, at.x, *found, left, tickets)


class _Bridge:
    def __init__(self, page: Page, at: Courses, course: int) -> None:
        self._page, self._at, self._course = page, at, course

    def live(self, item: str, formula: str, shape: str = "money", role: str = "plain", first: Any = None) -> None:
        """Write an item. first: what it comes to in the answer, where its bridge does not tell it."""
        told = self._at.x.bridges[self.course.course].get(item)
        if first is None and told is not None:
            first = told / self._page.book.scale if shape == "money" else told
        self._page.live(self._at.rows[item], SIDE + self._course, formula, shape, role, first)

    @property
    def estimate(self) -> Decimal:
        d = self._at.d
        return d.estimate.total if d.estimate is not None else Decimal(0)

    @property
    def worth(self) -> float | None:
        return self._at.told(self._course, "worth")

    @property
    def course(self) -> CourseLine:
        return self._at.d.courses[self._course]

    def here(self, item: str) -> str:
        return absolute(self._at.rows[item], SIDE + self._course)


def _repair(b: _Bridge, x: Workings, n: int, r: Repair, left: Left, tickets: Tickets) -> None:
    ticket, chance = r.ticket, left.left.column(f"chance_{n}")
    if x.estimate is not None:
        told = -float(b.estimate)
        more = x.bridges[r.course]["total"] / x.scale - told
        b.live("estimate", f"-{tickets.cell('total', x.estimate)}", first=told)
        b.live("own_jobs", f"{b.here('total')}-{b.here('estimate')}", first=more)
    b.live("total", f"-{tickets.cell('total', ticket)}", role="total")
    b.live("own_time", f"-{tickets.cell('own_time', ticket)}")
    b.live("wrong", f"-{tickets.cell('wrong', ticket)}")
    b.live("waiting", f"-({tickets.cell('weeks', ticket)}+bench_weeks)*week")
    chances = left.states.column("chance")
    over = [
        f"{a.uncured!r}*SUMPRODUCT({chances},{left.states.column(f'needs_{a.job}')})*{tickets.cell('weeks', a.ticket)}"
        for a in r.again
        if a.clears and a.uncured and x.terms.by_shop  # who works for himself pays for it, as the ways to cure have it
    ]
    b.live("over", f"-({'+'.join(over)})*week" if over else "0")
    if left.groups.rows:
        c = left.groups.column(f"chance_{n}")
        b.live(
            "looks", f"IF(SUM({c})>0,MAX(0,SUM({c})*LN(SUM({c}))-SUMPRODUCT({c},LN({c}+({c}=0))))/LN(2),0)", "figure"
        )
    else:
        b.live("looks", "0", "figure")
    b.live("traced", f"SUMPRODUCT({chance},{left.left.column('traced')})")
    b.live("given_up", f"SUMPRODUCT({chance},{left.left.column('given_up')})")
    traced = "TRUE" if r.open_ended else f"{b.here('traced')}-{b.here('looks')}*look_cost>={b.here('given_up')}"
    b.live("tracing", f"IF({traced},-{b.here('looks')}*look_cost,0)")
    b.live("added", f"IF({traced},-SUMPRODUCT({chance},{left.left.column('added')}),0)")
    b.live("brings", f"IF({traced},{b.here('traced')}-{b.here('added')},{b.here('given_up')})", role="total")
    items = ("total", "own_time", "wrong", "waiting", "over", "tracing", "added", "brings", "rest")
    b.live("worth", "+".join(b.here(i) for i in items), role="total", first=b.worth)


def _other(b: _Bridge, x: Workings, course: CourseLine, left: Left, months: Table) -> None:
    kind = course.kind
    b.live("fee", "-declined")
    if kind == "keep_using":
        service = f"SUMPRODUCT({left.states.column('chance')},{left.states.column('service')})"
        b.live("serves", f"MAX({months.column('keep_mean')})")
        b.live("lost", f"-(1-{service})*replacement_wait")
        b.live("closing", "-put_back")
    elif kind in DISPOSALS:
        b.live("lets_go", f"way_{kind}")
        b.live("closing", "0" if kind != "sell_as_stands" else "-put_back")
    else:
        b.live("lets_go", "way_best")
        worth = {"replace_new": "new_worth", "replace_used": "used_worth", "do_without": "without_worth"}[kind]
        b.live("goes_on", worth)
        b.live("lost", "0" if kind == "do_without" else "-replacement_wait")
        b.live("closing", "IF(way_number=1,-put_back,0)")
    items = ("lets_go", "serves", "goes_on", "lost", "closing", "fee", "rest")
    b.live("worth", f"SUM({','.join(b.here(i) for i in items)})", role="total", first=b.worth)
