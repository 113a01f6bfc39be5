"""Tickets: every set of jobs that is priced as one, with its operations and parts, reckoned from the inputs."""

from __future__ import annotations

from dataclasses import dataclass

from api.workbook.formula import even, millionths, minor
from api.workbook.inputs import hours_of, markup
from api.workbook.page import Book, Page, Row, Table
from econ.costing import NOISE, THOUSAND
from econ.money import RATE_UNIT
from econ.words import listed
from econ.workings import Ticket, Workings

TITLE = "Tickets"
COLUMNS = (
    "number", "jobs", "first", "hours", "charged_hours", "labour", "parts", "supplies", "tools", "shipping",
    "fees", "tax",
    "card", "total", "own_time", "wrong", "weeks", "cost", "waited", "parts_cost", "margin", "usual", "own_weeks",
    "sent",
    "by_seller", "borne",
)  # fmt: skip
HEADS = {
    "number": "no.", "jobs": "jobs", "first": "first visit", "hours": "hours [1/1000 h]",
    "charged_hours": "of them charged", "parts": "parts", "own_time": "own time", "wrong": "wrong parts, expected",
    "weeks": "weeks for parts", "cost": "cost", "waited": "cost with waiting", "parts_cost": "parts, as bought",
    "margin": "gross profit", "usual": "a part takes the usual time", "own_weeks": "longest known wait [weeks]",
    "sent": "an order is sent", "by_seller": "sellers' sending", "borne": "parts paid for nobody",
}  # fmt: skip
TOP = 10  # the first ticket; above it figures of each operation and part


@dataclass(frozen=True)
class Tickets:
    """Where the sheet of tickets has what. operations, parts: numbers on the bench of those that are used."""

    table: Table
    operations: tuple[int, ...]
    parts: tuple[int, ...]
    split: bool

    def cell(self, column: str, ticket: int) -> str:
        """Return a figure of a ticket."""
        return self.table.cell(column, ticket)

    def above(self, what: str, row: int) -> str:
        """Return a row of figures above the table: of all operations (op) or parts (part, order)."""
        numbers = self.operations if what == "op" else self.parts
        return self.table.row(f"{what}_{numbers[0]}", f"{what}_{numbers[-1]}", row - TOP)


# Rows above the table: titles, then what each operation or part comes to.
HOURS, TROUBLE, TIME, EXTRA = 4, 5, 6, 7  # hours by the book, allowance [h]; both at the pace [1/1000 h]; its parts
COST, MARKUP, PRICE, LOSS = 4, 5, 6, 7  # unit cost [minor units], mark-up [millionths], price; share lost if returned


def tickets_table(x: Workings) -> Tickets:
    """Return where the sheet of tickets has what."""
    operations = tuple(sorted({o for t in x.tickets for o, _ in t.operations}))
    used = {p for t in x.tickets for p, _ in (*t.fitted, *t.charged, *t.ordered)}
    parts = tuple(sorted(used | {p for o in operations for p, _ in x.operations[o].trouble_parts}))
    split = bool(x.bench.wrong) and any(_ordered(x, t) != t.ordered for t in x.tickets)
    columns = [*COLUMNS, *(f"op_{o}" for o in operations), *(f"part_{p}" for p in parts)]
    columns += [f"order_{p}" for p in parts] if split else []
    return Tickets(Table(TITLE, TOP, len(x.tickets), columns), operations, parts, split)


def _ordered(x: Workings, t: Ticket) -> tuple[tuple[int, int], ...]:
    return tuple((p, n) for p, n in t.charged if not x.bench.consumable[p])


def write_tickets(book: Book, x: Workings, at: Tickets) -> None:
    """Write the sheet of tickets."""
    table = at.table
    widths = [6, 44, *([book.wide(10)] * (len(COLUMNS) - 2)), *([8] * (len(table.columns) - len(COLUMNS)))]
    page = book.page(TITLE, widths)
    page.line("Workings: tickets, what each set of jobs comes to", role="title")
    page.block(
        "Every set of jobs that the courses may need: those chosen now, and the cheapest that may have to follow. In "
        "the columns to the right 1: done and charged, 2: done under a warranty; parts in thousandths of a piece.",
        "note", 14,
    )  # fmt: skip
    for row, words in (
        (HOURS, "hours by the book; unit cost"), (TROUBLE, "allowance for trouble [h]; mark-up, in millionths"),
        (TIME, "both at this pace [1/1000 h]; unit price"), (EXTRA, "parts of that trouble; lost if it goes back"),
    ):  # fmt: skip
        page.put(row, 2, words, "general", "note")
    _operations(page, x, at)
    _parts(page, x, at)
    for name in COLUMNS:
        page.put(TOP - 1, table.at(name), HEADS.get(name, name), "general", "head")
    page.sheet.freeze_panes = page.sheet.cell(TOP, 3)
    for i, ticket in enumerate(x.tickets):
        _ticket(Row(page, table, i), x, at, ticket)


def _operations(page: Page, x: Workings, at: Tickets) -> None:
    """Write what each operation takes, above the column that tells which tickets have it."""
    table = at.table
    estimated = set() if x.estimate is None else {o for o, _ in x.tickets[x.estimate].operations}
    for o in at.operations:
        op, column = x.operations[o], table.at(f"op_{o}")
        page.put(TOP - 1, column, op.title, "general", "head")
        if o in estimated:
            page.live(HOURS, column, hours_of(op.id), "hours")
        else:
            page.put(HOURS, column, op.hours, "hours")
        page.put(TROUBLE, column, op.trouble_hours, "hours")
        hours, trouble = (
            f"ROUND({table.here(f'op_{o}', r - TOP)}*hours_factor*1000,{NOISE})" for r in (HOURS, TROUBLE)
        )
        page.live(TIME, column, f"{even(hours)}+{even(trouble)}", "count")
        extra = "+".join(f"{table.here(f'part_{p}', PRICE - TOP)}*{n!r}" for p, n in op.trouble_parts)
        page.live(EXTRA, column, even(f"ROUND({extra},{NOISE})") if extra else "0", "count")


def _parts(page: Page, x: Workings, at: Tickets) -> None:
    """Write what each part costs, above the column that tells how much of it tickets have."""
    table, scale = at.table, page.book.scale
    for p in at.parts:
        column, part = table.at(f"part_{p}"), x.bench.parts[p]
        page.put(TOP - 1, column, x.machine_class.parts[part].title, "general", "head")
        page.live(COST, column, minor(f"price_{part}", scale), "count")
        cost, rate = (table.here(f"part_{p}", r - TOP) for r in (COST, MARKUP))
        page.live(MARKUP, column, markup(x, cost, scale), "count")
        page.live(PRICE, column, f"{cost}+{even(f'{cost}*{rate}/{RATE_UNIT}')}", "count")
        stated = part in x.terms.priced and getattr(x.terms.priced[part].offer, "return_loss", None) is not None
        loss = repr(float(x.bench.return_loss[p])) if stated or not x.bench.wrong else "return_loss"
        if x.bench.consumable[p] and not at.split:
            loss = "0"
        page.live(LOSS, column, loss, "share")
        if at.split:
            page.put(
                TOP - 1, table.at(f"order_{p}"), f"to order: {x.machine_class.parts[part].title}", "general", "head"
            )


def _ticket(r: Row, x: Workings, at: Tickets, ticket: Ticket) -> None:
    scale, table, i = r.page.book.scale, at.table, r.number
    live, told, here = r.live, r.told, r.here
    jobs = listed([x.machine_class.jobs[x.bench.jobs[j]].title for j in ticket.jobs]) or "test run only"
    told("number", i + 1)
    told("jobs", jobs, "general")
    told("first", int(ticket.first))
    for o, charged in ticket.operations:
        told(f"op_{o}", 1 if charged else 2)
    for p, n in ticket.charged:
        told(f"part_{p}", n)
    if at.split:
        for p, n in ticket.ordered:
            told(f"order_{p}", n)
    ops = table.row(f"op_{at.operations[0]}", f"op_{at.operations[-1]}", i)
    time, extra = at.above("op", TIME), at.above("op", EXTRA)
    live("hours", f"SUMPRODUCT(({ops}>0)*{time})", "count")
    live("charged_hours", f"SUMPRODUCT(({ops}=1)*{time})", "count")
    _labour(r, x, ticket)
    trouble = f"SUMPRODUCT(({ops}=1)*{extra})"
    bought = trouble
    if at.parts:
        used = table.row(f"part_{at.parts[0]}", f"part_{at.parts[-1]}", i)
        lines = f"{used}*{at.above('part', PRICE)}/{THOUSAND}"
        costs = f"{used}*{at.above('part', COST)}/{THOUSAND}"
        if any(n % THOUSAND for _, n in ticket.charged):  # whole pieces need no rounding
            lines, costs = even(lines), even(costs)
        live("parts", f"(SUMPRODUCT({lines})+{trouble})/{scale}")
        bought = f"SUMPRODUCT({costs})+{trouble}"
    else:
        live("parts", f"{trouble}/{scale}")
    told("tools", ticket.tools / scale, "money")
    told("sent", int(ticket.sent))
    told("by_seller", ticket.by_seller / scale, "money")
    told("borne", ticket.borne / scale, "money")
    live("shipping", f"{here('sent')}*parts_shipping+{here('by_seller')}")
    fixed = "first_fees" if x.terms.by_shop and ticket.first else "0"
    live("fees", f"{here('shipping')}+{fixed}")
    _taxes(r, x.terms.by_shop)
    if x.terms.by_shop:
        told("own_time", 0, "money")
    else:
        own = f"{here('hours')}*ROUND(slowness*1000,0)*{minor('bench_hour', scale)}/1000000"
        live("own_time", f"{even(own)}/{scale}")
    _wrong(r, at, x)
    told("usual", int(ticket.usual))
    told("own_weeks", ticket.own, "years")
    times = "*(1+wrong_part_chance)" if x.bench.wrong else ""
    live("weeks", f"MAX({here('usual')}*lead_weeks,{here('own_weeks')}){times}", "figure")
    live("cost", f"{here('total')}+{here('own_time')}+{here('wrong')}")
    live("waited", f"{here('cost')}+{here('weeks')}*week")
    if x.terms.perspective == "shop":
        live("parts_cost", f"({bought})/{scale}+{here('borne')}")
        wages = f"{here('hours')}/1000*mechanic_wage"
        sums = "-".join(here(n) for n in ("total", "tax", "card", "parts_cost", "shipping"))
        live("margin", f"{sums}-{wages}")


def _labour(r: Row, x: Workings, ticket: Ticket) -> None:
    scale, put, cell = r.page.book.scale, r.live, r.here
    if not x.terms.by_shop:
        put("labour", "0")
        put("supplies", "0")
        return
    hours = cell("charged_hours")
    step = "ROUND(billing_step_hours*1000,0)"
    billed = f"IF({step}>0,-INT(-{hours}/MAX({step},1))*{step},{hours})"
    rate = minor("shop_rate", scale)
    amount = even(f"{billed}*{rate}/1000") + f"/{scale}"
    least = "minimum_charge" if ticket.first else "0"
    put("labour", f"IF({hours}>0,MAX({amount},{least}),0)")
    labour = cell("labour")
    some = even(f"{minor(labour, scale)}*{millionths('supplies_rate')}/{RATE_UNIT}") + f"/{scale}"
    put("supplies", f"IF(ISNUMBER(supplies_cap),MIN({some},supplies_cap),{some})")


def _taxes(r: Row, by_shop: bool) -> None:
    scale, put, cell = r.page.book.scale, r.live, r.here
    sums = "+".join(
        f'(tax_on_{kind}="yes")*({amount})'
        for kind, amount in (
            ("labour", cell("labour")),
            ("parts", f"{cell('parts')}+{cell('tools')}"),
            ("supplies", cell("supplies")),
            ("fees", cell("fees")),
        )
    )
    put("tax", tax_on(f"({sums})", scale))
    paid = "+".join(cell(n) for n in ("labour", "parts", "supplies", "tools", "fees"))
    before = f'({paid}+IF(tax_inclusive="yes",0,{cell("tax")}))'
    put("card", card_on(before, scale) if by_shop else "0")
    put("total", f"ROUND({before}+{cell('card')},{len(str(scale)) - 1})")


def tax_on(base: str, scale: int) -> str:
    """Return the tax on a base: added to it, or contained in it where prices include tax."""
    rate = millionths("tax_rate")
    part = f'{minor(base, scale)}*{rate}/({RATE_UNIT}+IF(tax_inclusive="yes",{rate},0))'
    return f"{even(part)}/{scale}"


def card_on(amount: str, scale: int) -> str:
    """Return the fee for paying an amount by card."""
    part = f"{minor(amount, scale)}*{millionths('card_fee_rate')}/{RATE_UNIT}"
    return f"{even(part)}/{scale}"


def _wrong(r: Row, at: Tickets, x: Workings) -> None:
    scale, put, say, cell, i = r.page.book.scale, r.live, r.told, r.here, r.number
    if not x.bench.wrong:
        say("wrong", 0, "money")
        return
    lost = "0"
    if at.parts:
        kind = "order" if at.split else "part"
        ordered = at.table.row(f"{kind}_{at.parts[0]}", f"{kind}_{at.parts[-1]}", i)
        lost = f"SUMPRODUCT({ordered},{at.above('part', PRICE)},{at.above('part', LOSS)})/{THOUSAND}"
    whole = f"wrong_part_chance*({lost}+{cell('shipping')}*{scale})"
    put("wrong", f"{even(f'ROUND({whole},{NOISE})')}/{scale}")
