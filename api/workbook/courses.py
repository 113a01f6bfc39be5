"""Courses: what can be done, side by side, and which of it is best."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from openpyxl.utils import get_column_letter

from api.workbook.charts import bars
from api.workbook.formula import text
from api.workbook.left import Left, mean_ways
from api.workbook.page import Book, Page, Place, Row, Table, absolute
from api.workbook.tickets import Tickets
from econ.courses import TIE, USABLE_FROM
from econ.decision import CourseLine, Decision
from econ.payoffs import DISPOSALS
from econ.words import DISPOSAL, TITLES
from econ.workings import Repair, Workings

REPAIR = (
    ("estimate", "The estimate's total"),
    ("own_jobs", "what this course's own jobs change"),
    ("total", "Paid for the repair"),
    ("own_time", "own time"),
    ("wrong", "wrong parts, expected"),
    ("waiting", "waiting for parts and the bench"),
    ("over", "waiting while jobs are done over"),
    ("tracing", "finding what the test run still shows"),
    ("added", "jobs added then"),
    ("brings", "What the machine then serves and brings"),
)
OTHER = (
    ("lets_go", "What letting it go brings"),
    ("serves", "What it serves and brings as it is"),
    ("goes_on", "What going on with something else is worth"),
    ("lost", "waiting for a replacement"),
    ("closing", "closing what was opened"),
    ("fee", "fee, as it is not repaired"),
)
LAST = (("rest", "What is less likely than what is looked at here"), ("worth", "Better off by"))
BESIDE = (
    ("looks", "how often what fails is halved to find it [times]"),
    ("traced", "worth if that is found, then mended or given up"),
    ("given_up", "worth if it is given up at once"),
)
ITEMS = (*REPAIR, *OTHER, *LAST, *BESIDE)
TOP, SIDE = 7, 2
# Those after the empty column, apart, are workings; they are not printed.
COLUMNS = (
    "best", "number", "title", "worth", "p10", "p50", "p90", "cash", "cost", "follow_up", "hours", "weeks", "cured",
    "limit", "yearly", "profit", "hourly", "barred", "apart", "kind", "free", "near", "other", "near_other", "idle",
    "near_idle", "years", "short", "below", "above",
)  # fmt: skip
WIDTHS = {
    "best": 3, "number": 3, "title": 38, "worth": 11,
    "p10": 11, "p50": 11, "p90": 11, "cash": 11, "cost": 11, "yearly": 10,
    "hours": 6, "weeks": 7, "cured": 8, "follow_up": 10, "limit": 11, "profit": 10, "hourly": 9, "barred": 30,
    "short": 44,
}  # fmt: skip
MONEY = ("worth", "p10", "p50", "p90", "cash", "cost", "yearly", "follow_up", "limit", "profit", "hourly")
MAKE = (
    ("title", "what the repair costs"), ("labour", "labour"), ("parts", "parts and tools"),
    ("charges", "supplies and fees"),
    ("tax", "tax"), ("own_time", "own time"), ("waiting", "waiting"), ("later", "what may follow"),
)  # fmt: skip
SIDE_BY_SIDE = 8  # courses beside which a page has room for what their costs are made up of
DRAWN = 6  # repairs whose costs are drawn
LONG = 44  # letters of a course's name in a chart
NAMES = {
    "best": "", "number": "no.", "title": "course", "worth": "better off by", "cash": "cash now", "cost": "cost in all",
    "yearly": "cost a year", "hours": "hours", "weeks": "weeks without", "cured": "right at the first go",
    "follow_up": "added later", "limit": "worth paying up to", "profit": "gross profit", "hourly": "for a bench hour",
    "apart": "", "kind": "kind, no.", "free": "worth if open", "near": "as good as the best",
    "other": "of another kind",
    "near_other": "as good as the best of those", "idle": "without a repair",
    "near_idle": "as good as the best of these",
    "years": "years of service", "short": "in charts", "below": "down to one in ten", "above": "up to one in ten",
    "p10": "one in ten below", "p50": "half below", "p90": "one in ten above", "barred": "not open because",
}  # fmt: skip


@dataclass(frozen=True)
class Courses:
    """Where the sheets of courses have what."""

    d: Decision
    x: Workings
    table: Table

    @cached_property
    def rows(self) -> dict[str, int]:
        """Rows of the bridge by item."""
        return {name: TOP + i for i, (name, _) in enumerate(ITEMS)}

    def bridge(self, item: str, course: int) -> str:
        """Return an item of the bridge of a course."""
        return str(Place("Bridge", absolute(self.rows[item], SIDE + course)))

    def repair(self, course: CourseLine) -> tuple[int, Repair] | None:
        """Return a repair by its number among the repairs, and its workings."""
        return next(((n, r) for n, r in enumerate(self.x.repairs) if r.course == course.course), None)

    @property
    def put_right(self) -> int:
        """Number of the repair that would put it right in the answer: its own if it is one."""
        best = self.number(self.d.verdict.course)
        if self.d.courses[best].kind != "repair" and self.x.curing is not None:
            return self.number(self.x.curing)
        return best

    @cached_property
    def sums(self) -> tuple[float, float]:
        """What the repair that would put it right comes to in the answer, and up to what it pays [money]."""
        course, scale = self.x.courses[self.put_right], self.x.scale
        comes = (course.cost - course.weeks * self.x.week) / scale
        return comes, course.worth / scale + comes - self.idle

    def told(self, number: int, column: str) -> float | None:
        """Return a figure of a course as the answer has it before it is rounded, None where it tells none.

        What stands beside a formula is read by other formulas, in programs that reckon only what is changed.
        """
        c, line, items = self.x.courses[number], self.d.courses[number], self.x.bridges[self.d.courses[number].course]
        in_time = {"hours": c.hours, "weeks": c.weeks, "cured": c.cured}
        if column in in_time:
            return in_time[column]
        if column == "limit":
            if line.repair_limit is None:
                return None
            ticket = -sum(items[name] for name in ("total", "own_time", "wrong"))
            more = ticket + (c.follow_up if c.open_ended else 0.0)
            return (c.worth + more) / self.x.scale - self.idle
        if column == "yearly":
            return None if line.cost_per_year is None else c.cost / c.years / self.x.scale
        money = {"worth": c.worth, "cash": c.cash, "cost": c.cost, "follow_up": c.follow_up, "profit": c.margin}
        amount = (money | {"hourly": c.margin_per_hour})[column]
        return None if amount is None else amount / self.x.scale

    def free(self, but: str = "") -> dict[int, float]:
        """Return by number the worth of the courses that are open, without those of one kind [money]."""
        every = enumerate(self.x.courses)
        return {i: c.worth / self.x.scale for i, c in every if c.kind != but and not c.barred}

    @property
    def idle(self) -> float:
        """Worth of the best course without a repair [money]."""
        return max(self.free(but="repair").values())

    def number(self, name: str) -> int:
        """Return the number of a course, from 0."""
        return next(i for i, c in enumerate(self.d.courses) if c.course == name)


def courses_at(d: Decision, x: Workings) -> Courses:
    """Return where the sheets of courses have what."""
    return Courses(d, x, Table("Courses", 6, len(d.courses), COLUMNS))


def write_courses(book: Book, at: Courses, left: Left, tickets: Tickets, months: Table) -> None:
    """Write the courses side by side, and which of them is best."""
    d, table = at.d, at.table
    page = book.page("Courses", [book.wide(WIDTHS[name]) if name in MONEY else WIDTHS.get(name, 9) for name in COLUMNS])
    page.line("What can be done, side by side", role="title")
    if d.perspective == "shop":
        page.sheet.page_setup.fitToWidth, page.sheet.print_title_cols = 2, "A:C"
    page.block(
        "Better off: expected, in today's money, than "
        + ("walking away, before the asking price and the trip. " if d.perspective == "reseller" else
           "handing it over for nothing and going on with the cheapest other way. ")
        + "Slanted: drawn when the answer was made, it does not follow. Which repairs are shown does not follow "
        "either.",
        "note", 3 if d.perspective == "shop" else 14,  # columns that are repeated, where it prints two pages wide
    )  # fmt: skip
    page.next = table.top - 1
    page.heads(*(("" if n in ("best", "number", "title", "barred") else ">") + NAMES.get(n, n) for n in COLUMNS))
    page.sheet.freeze_panes = page.sheet.cell(table.top, 4)
    for i, course in enumerate(d.courses):
        _course(Row(page, table, i), at, course, left, tickets, months)
    idle = {"profit", "hourly"} if d.perspective != "shop" else set()
    idle |= {"yearly"} if d.perspective == "reseller" else set()
    for column in idle:
        page.sheet.column_dimensions[get_column_letter(table.at(column))].hidden = True
    page.next = table.top + table.rows + 1
    _make_up(page, at, tickets)
    page.sheet.print_area = f"A1:R{page.next - 1}"
    page.line(None, None, "Workings: which is best, as the other sheets read it", role="note")
    _which(book, page, at, left)


def _course(r: Row, at: Courses, course: CourseLine, left: Left, tickets: Tickets, months: Table) -> None:
    x, i, scale = at.x, r.number, r.page.book.scale
    best = "=>" if course.course == at.d.verdict.course else ""
    r.live("best", f'IF({r.here("number")}=best_course,"=>","")', "general", "strong", best)
    r.told("number", i + 1)
    r.live("title", _title(x, course), "general", "wrap", course.title)
    barred = [None] * (r.table.at("barred") - 4)
    r.page.fit(r.table.top + i, (None, None, course.title, *barred, course.barred))
    r.live("worth", at.bridge("worth", i), role="strong", first=at.told(i, "worth"))
    _cash(r, at, course, left, tickets, months)
    o = next((o for o in at.d.risk.outturns if o.course == course.course), None)
    if o is not None:
        for name, value in (("p10", o.p10), ("p50", o.p50), ("p90", o.p90)):
            r.told(name, value, "money", "told")
    r.told("barred", course.barred or "", "general", "aside")
    kinds = list(dict.fromkeys(c.kind for c in at.d.courses))
    r.told("kind", kinds.index(course.kind) + 1)
    free = '""' if course.barred else r.here("worth")
    if course.kind == "keep_using" and not course.barred:
        service = f"SUMPRODUCT({left.states.column('chance')},{left.states.column('service')})"
        free = f'IF({service}<{USABLE_FROM!r},"",{free})'
    r.live("free", free)
    tie = f"{TIE!r}*MAX({1 / scale!r},ABS({{0}}))"
    r.live("near", _near(r.here("free"), "best_worth", tie), "count")
    r.live("other", f'IF({r.here("kind")}=best_kind,"",{r.here("free")})')
    r.live("near_other", _near(r.here("other"), "rival_worth", tie), "count")
    r.live("idle", '""' if course.kind == "repair" else r.here("free"))
    r.live("near_idle", _near(r.here("idle"), "idle_worth", tie), "count")
    title = r.here("title")
    shut = '&" (not open)"' if course.barred else ""
    cut = f'IF(LEN({title})>{LONG},LEFT({title},{LONG - 3})&"...",{title})'
    r.live("short", f'"{i + 1}: "&{cut}{shut}', "general", first=_short(i, course))
    if o is not None:
        as_answered = "(COUNTA(changed_figures)=0)*"  # the draws do not follow what is changed
        worth = at.x.courses[i].worth / scale
        below, above = (max(far, 0.0) for far in (worth - float(o.p10), float(o.p90) - worth))
        r.live("below", f"{as_answered}MAX(0,{r.here('worth')}-{r.here('p10')})", first=below)
        r.live("above", f"{as_answered}MAX(0,{r.here('p90')}-{r.here('worth')})", first=above)


def _short(number: int, course: CourseLine) -> str:
    """Return a course's name in charts."""
    cut = course.title if len(course.title) <= LONG else course.title[: LONG - 3] + "..."
    return f"{number + 1}: {cut}" + (" (not open)" if course.barred else "")


def _make_up(page: Page, at: Courses, tickets: Tickets) -> None:
    """Write and draw what the costs of each repair are made up of."""
    found = [(i, it[1]) for i, c in enumerate(at.d.courses) if (it := at.repair(c)) is not None][:DRAWN]
    if not found:
        return
    if len(at.d.courses) > SIDE_BY_SIDE:
        page.turn()
    table = Table(page.title, page.next + 1, len(found), [name for name, _ in MAKE], left=3)
    for column, (_, title) in enumerate(MAKE, 3):
        page.put(page.next, column, title, "general", "head_right" if column > 3 else "head")
    page.fit(page.next, (None, None, *(title for _, title in MAKE)))
    for n, (i, repair) in enumerate(found):
        r, t = Row(page, table, n), repair.ticket

        def of(name: str, t: int = t) -> str:
            return tickets.cell(name, t)

        course, scale = at.d.courses[i], page.book.scale
        items = at.x.bridges[repair.course]
        tax = f'IF(tax_inclusive="yes",0,{of("tax")})'
        r.live("title", at.table.cell("short", i), "general", first=_short(i, course))
        formulas = (
            ("labour", of("labour")), ("parts", f"{of('parts')}+{of('tools')}+{of('wrong')}"),
            ("charges", f"{of('supplies')}+{of('fees')}+{of('card')}"), ("tax", tax), ("own_time", of("own_time")),
            ("waiting", f"-{at.bridge('waiting', i)}"), ("later", at.table.cell("follow_up", i)),
        )  # fmt: skip
        for name, formula in formulas:
            told = at.told(i, "follow_up") if name == "later" else abs(items[name]) / scale
            r.live(name, formula, first=told)
    page.next = table.top + table.rows + 1
    height = 3.2 + 0.9 * len(found)
    bars(
        page, f"C{page.next}", table, "title", list(MAKE[1:]), range(len(found)),
        "What each repair costs, own time and waiting counted",
        f"Stacked bar chart: the costs of {len(found)} repairs by labour, parts, fees, tax, own time, waiting and "
        "what may follow.",
        stacked=True, size=(26.0, height),
    )  # fmt: skip
    page.next += int(height / 0.46) + 2


def _near(cell: str, most: str, tie: str) -> str:
    return f"IF(ISNUMBER({cell}),({cell}>={most}-{tie.format(most)})*1,0)"


def _cash(r: Row, at: Courses, course: CourseLine, left: Left, tickets: Tickets, months: Table) -> None:
    x, i, scale = at.x, r.number, r.page.book.scale
    rest, found = x.rests[course.course], at.repair(course)
    own = at.d.perspective != "reseller"
    if found is not None:
        n, repair = found
        chance = left.left.column(f"chance_{n}")
        ticket = repair.ticket
        r.live("cash", f"-{tickets.cell('total', ticket)}", first=at.told(i, "cash"))
        follow = f"-({at.bridge('tracing', i)}+{at.bridge('added', i)})+{rest.follow_up / scale!r}"
        r.live("follow_up", follow, first=at.told(i, "follow_up"))
        r.live(
            "cost",
            f"{tickets.cell('cost', ticket)}-{at.bridge('waiting', i)}+{r.here('follow_up')}",
            first=at.told(i, "cost"),
        )
        hours = f"{tickets.cell('hours', ticket)}/1000"
        r.live("hours", hours, "hours", first=at.told(i, "hours"))
        r.live("weeks", f"{tickets.cell('weeks', ticket)}+bench_weeks", "years", first=at.told(i, "weeks"))
        traced = f"{at.bridge('tracing', i)}+{at.bridge('added', i)}<0"
        if repair.open_ended:
            traced = "TRUE"
        r.live(
            "cured",
            f"SUMPRODUCT({chance},{left.left.column('cured')})+{rest.cured!r}",
            "share",
            first=at.told(i, "cured"),
        )
        limit = f"{r.here('worth')}+{tickets.cell('cost', ticket)}-idle_worth"
        more = f"+{r.here('follow_up')}" if repair.open_ended else ""
        if course.repair_limit is not None:
            r.live("limit", limit + more, first=at.told(i, "limit"))
        every = f"SUMPRODUCT({chance},{left.left.column('years')})"
        ended = f"SUMPRODUCT({chance},{left.left.column('years')},({left.left.column('group')}=0)*1)"
        r.live("years", f"IF({traced},{every},{ended})+{rest.years!r}", "years")
        if x.terms.perspective == "shop":
            _profit(r, at, n, repair, left, tickets, traced, hours)
    else:
        _money_of_other(r, at, course)
        years = {"replace_new": "new_years", "replace_used": "used_years", "do_without": "without_years"}
        if course.kind in years:
            r.live("years", years[course.kind], "years")
        if course.kind == "keep_using":
            at_best = f"MATCH({at.bridge('serves', i)},{months.column('keep_mean')},0)"
            r.live("years", f"INDEX({months.column('keep_years')},{at_best})+{rest.years!r}", "years")
    if own:
        yearly = f'IF({r.here("years")}>=1,{r.here("cost")}/{r.here("years")},"")'
        r.live("yearly", yearly, first=at.told(i, "yearly"))


def _profit(r: Row, at: Courses, n: int, repair: Repair, left: Left, tickets: Tickets, traced: str, hours: str) -> None:
    x, scale, i = at.x, r.page.book.scale, r.number
    rest, chance = x.rests[repair.course], left.left.column(f"chance_{n}")
    chances = left.states.column("chance")
    comebacks = [
        f"{a.uncured!r}*SUMPRODUCT({chances},{left.states.column(f'needs_{a.job}')})"
        f"*({tickets.cell('hours', a.ticket)}/1000*mechanic_wage+{tickets.cell('parts_cost', a.ticket)})"
        for a in repair.again
        if a.clears and a.uncured
    ]
    looks, rate = f"{at.bridge('looks', i)}*look_hours", "shop_rate" if x.terms.by_shop else "0"
    later = f"SUMPRODUCT({chance},{left.left.column('margin')})+{looks}*({rate}-mechanic_wage)"
    back = f"-({'+'.join(comebacks)})" if comebacks else ""
    r.live(
        "profit",
        f"{tickets.cell('margin', repair.ticket)}+IF({traced},{later},0){back}+{rest.margin / scale!r}",
        first=at.told(i, "profit"),
    )
    more = f"IF({traced},SUMPRODUCT({chance},{left.left.column('hours')})+{looks},0)+{rest.later_hours!r}"
    r.live("hourly", f"{r.here('profit')}/({hours}+{more})", first=at.told(i, "hourly"))


def _money_of_other(r: Row, at: Courses, course: CourseLine) -> None:
    rest, scale, i = at.x.rests[course.course], r.page.book.scale, r.number
    own_hours = ("selling_hours*hour_worth", "apart_hours*bench_hour", "0")
    if course.kind == "keep_using":
        cash, cost, weeks = "0", f"-{at.bridge('lost', i)}", "0"
    elif course.kind in DISPOSALS:
        own = own_hours[DISPOSALS.index(course.kind)]
        cash, cost, weeks = f"way_{course.kind}+{own}", own, "0"
    else:
        outlay = {"replace_new": "new_total", "replace_used": "used_total", "do_without": "0"}[course.kind]
        yearly = "do_without_per_year*without_years" if course.kind == "do_without" else outlay
        cash = f"way_best+CHOOSE(way_number,{','.join(own_hours)})-{outlay}"
        cost = f"{yearly}-way_best-{at.bridge('lost', i)}"
        weeks = "0" if course.kind == "do_without" else "replacement_days/7"
    r.live("cash", f"{cash}-declined", first=at.told(i, "cash"))
    r.live("cost", f"{cost}+declined+{rest.cost / scale!r}", first=at.told(i, "cost"))
    r.live("hours", "0", "hours", first=0)
    r.live("weeks", weeks, "years", first=at.told(i, "weeks"))


def _title(x: Workings, course: CourseLine) -> str:
    """Return what a course is; how the machine goes meanwhile follows from the inputs."""
    if course.kind in ("replace_used", "replace_new", "do_without"):
        held = " for parts or repair, the hold disclosed" if "the hold disclosed" in course.title else ""
        stands = f"selling this one{held}" if held else DISPOSAL["sell_as_stands"]
        ways = ",".join(text(w) for w in (stands, DISPOSAL["part_out"], DISPOSAL["scrap"]))
        return f"{text(TITLES[course.kind] + ', ')}&CHOOSE(way_number,{ways})"
    return text(course.title)


def _which(book: Book, page: Page, at: Courses, left: Left) -> None:
    """Write which course is best, which of another kind comes next, and which is best without a repair."""
    table, d, x = at.table, at.d, at.x

    def add(name: str, label: str, formula: str, first: Any, shape: str = "money") -> None:
        row = page.next
        page.put(row, 3, label)
        page.live(row, 4, formula, shape, first=first)
        book.define(name, page.place(row, 4))
        page.next += 1

    for kind, formula in mean_ways(x, left).items():
        add(f"way_{kind}", f"to {TITLES[kind]} brings", formula, x.ways[kind] / x.scale)
    add(
        "way_number",
        "the best of these three",
        "IF(way_sell_as_stands-put_back>=MAX(way_part_out,way_scrap),1,IF(way_part_out>=way_scrap,2,3))",
        DISPOSALS.index(x.way) + 1,
        "count",
    )
    ways = "CHOOSE(way_number,way_sell_as_stands,way_part_out,way_scrap)"
    add("way_best", "which brings", ways, x.ways[x.way] / x.scale)
    best = at.number(d.verdict.course)
    kinds = list(dict.fromkeys(c.kind for c in d.courses))
    worth = max(at.free().values())
    add("best_worth", "the best course leaves better off by", f"MAX({table.column('free')})", worth)
    add("best_course", "its number", f"MATCH(1,{table.column('near')},0)", best + 1, "count")
    kind = f"INDEX({table.column('kind')},best_course)"
    add("best_kind", "its kind", kind, kinds.index(d.courses[best].kind) + 1, "count")
    others = at.free(but=d.courses[best].kind)
    rival = max(others, key=lambda i: others[i], default=None)
    worth = 0 if rival is None else others[rival]
    add("rival_worth", "the best of another kind", f"MAX({table.column('other')})", worth)
    place = f"IFERROR(MATCH(1,{table.column('near_other')},0),0)"
    add("rival_course", "its number", place, 0 if rival is None else rival + 1, "count")
    add("idle_worth", "the best without a repair", f"MAX({table.column('idle')})", at.idle)
