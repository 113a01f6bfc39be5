"""Estimate: the written, itemised price of the repair, line by line, with its tax inside and on top."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from api.workbook.formula import even, minor, text
from api.workbook.machine import marks_of, name_of
from api.workbook.page import Book, Page, absolute
from api.workbook.tickets import EXTRA, HOURS, PRICE, TROUBLE, Tickets, card_on, tax_on
from econ.costing import NOISE, THOUSAND, complication_chance
from econ.decision import Decision
from econ.estimate import COVERED, Line
from econ.words import listed
from econ.workings import Workings

WIDTHS = (46, 8, 5, 12, 13, 22)
FIRST = 7  # row of the first line


@dataclass(frozen=True)
class Estimated:
    """Where the lines of the estimate stand: (what, row, kind) of each; told: what its cells come to in the answer."""

    lines: tuple[tuple[str, int, str], ...]
    told: Mapping[str, Any]


class _Lines:
    def __init__(self, page: Page, x: Workings, told: Sequence[Line]) -> None:
        """told: the lines of the answer; those of nothing are not among them."""
        self.page, self.x, self._told = page, x, list(told)
        self.rows: dict[str, list[int]] = {}
        self.found: list[tuple[str, int, str]] = []

    def add(
        self, kind: str, what: str, amount: str, quantity: str = "", unit: str = "", price: str = "", note: str = ""
    ) -> int:
        """Write a line: a quantity, its unit and its price where it has them, the amount, all as formulas."""
        page, row = self.page, self.page.next
        page.put(row, 1, what, "general", "wrap")
        told = self._of_the_answer(what)
        if quantity:
            known = None if told is None else told.quantity
            page.live(row, 2, quantity, "hours" if unit == "h" else "times", first=known)
            page.put(row, 3, unit)
        if price:
            page.live(row, 4, price, "money", first=None if told is None else told.unit_price)
        page.live(row, 5, amount, "money", first=0 if told is None else told.amount)
        if note:
            page.put(row, 6, note, "general", "note")
        page.fit(row, (what, None, None, None, None, note))
        self.rows.setdefault(kind, []).append(row)
        self.found.append((what, row, kind))
        page.next += 1
        return row

    def _of_the_answer(self, what: str) -> Line | None:
        """Return the next line of the answer, where it is this one."""
        at_all = self._told[0].what if self._told else ""
        begins = what.partition(" ")[0] in ("rounding:", "tax", "card") and at_all.startswith(what.partition(" ")[0])
        return self._told.pop(0) if self._told and (at_all == what or begins) else None

    def sum(self, *kinds: str) -> str:
        """Return the sum of the lines of some kinds."""
        cells = [f"E{row}" for kind in kinds for row in self.rows.get(kind, ())]
        return "+".join(cells) or "0"


def write_estimate(book: Book, d: Decision, x: Workings, tickets: Tickets) -> Estimated | None:
    """Write the estimate; None where no repair can be done."""
    page = book.page("Estimate", [*WIDTHS[:3], *map(book.wide, WIDTHS[3:5]), WIDTHS[5]], upright=True)
    page.line("Estimate", role="title")
    jobs = d.estimate.jobs if d.estimate else ()
    page.block(f"{name_of(x)}, {marks_of(x)}. Prices of {d.as_of}.", "note")
    if d.estimate is None or x.estimate is None:
        page.block("No repair can be done here, so there is no estimate.")
        return None
    titles = [x.machine_class.jobs[j].title for j in jobs]
    page.block(f"For: {listed(titles)}." if jobs else "For: looking it over and the test run.", "strong")
    own = [i + 1 for i, c in enumerate(d.courses) if c.kind == "repair" and c.jobs == jobs]
    other = "The answer is another course: this is what the repair would come to if it were chosen."
    is_own = "+".join(f"(best_course={n})" for n in own) or "0"
    chosen = next(i + 1 for i, c in enumerate(d.courses) if c.course == d.verdict.course)
    page.block(f'IF({is_own}>0,"",{text(other)})', "note", first="" if chosen in own else other)
    page.next = FIRST - 1
    page.heads("", ">quantity", "", ">price of one", ">amount", "")
    lines = _Lines(page, x, d.estimate.lines)
    _labour(lines, x, tickets, x.estimate)
    _parts(lines, x, tickets, x.estimate)
    _other(lines, x, book, tickets, x.estimate)
    found = _totals(lines, d, x, book, tickets, is_own)
    page.sheet.print_area = f"A1:F{page.next}"
    return found


def _labour(lines: _Lines, x: Workings, tickets: Tickets, number: int) -> None:
    scale = lines.page.book.scale
    rate = minor("shop_rate", scale)
    for o, charged in x.tickets[number].operations:
        op = x.operations[o]
        at = x.machine_class.operations[op.id]
        note = "" if charged else COVERED
        by_shop = x.terms.by_shop
        for kind, what, base in (
            ("labour", op.title, _thousandths(tickets, o, HOURS)),
            ("allowance", "", _thousandths(tickets, o, TROUBLE)),
        ):
            if kind != "labour":
                if not op.trouble_hours:
                    continue
                rusty = x.case.machine.rusty
                chances = ", ".join(f"{t.title} {complication_chance(t, rusty):.0%}" for t in at.complications)
                what = f"allowance: {chances}"
            amount = f"{even(f'{base}*{rate}/{THOUSAND}')}/{scale}" if by_shop and charged else "0"
            price = "shop_rate" if by_shop else ""
            lines.add("labour", what, amount, f"{base}/{THOUSAND}", "h", price, note or ("" if by_shop else "own time"))
    if x.terms.by_shop:
        page = lines.page
        spoken = lines.sum("labour")
        whole = tickets.cell("labour", number)
        rule = "minimum charge and billing steps"
        lines.add("labour", f"rounding: {rule}", f"ROUND({whole}-({spoken}),{page.book.digits})")


def tickets_cell(row: int, column: int) -> str:
    """Return a cell above the tickets."""
    return f"Tickets!{absolute(row, column)}"


def _thousandths(tickets: Tickets, operation: int, row: int) -> str:
    """Return hours of an operation, or its allowance, in thousandths at the pace that is reckoned with."""
    cell = tickets_cell(row, tickets.table.at(f"op_{operation}"))
    return even(f"ROUND({cell}*hours_factor*1000,{NOISE})")


def _parts(lines: _Lines, x: Workings, tickets: Tickets, number: int) -> None:
    scale = lines.page.book.scale
    ticket = x.tickets[number]
    charged = dict(ticket.charged)
    for p, fitted in ticket.fitted:
        part = x.machine_class.parts[x.bench.parts[p]]
        what = f"{part.title} ({part.designation})" if part.designation else part.title
        price = tickets_cell(PRICE, tickets.table.at(f"part_{p}"))
        paid = charged.get(p, 0)
        amount = f"{even(f'{paid}*{price}/{THOUSAND}')}/{scale}" if paid else "0"
        note = COVERED if paid < fitted else ""
        lines.add("parts", what, amount, f"{fitted}/{THOUSAND}", "", f"{price}/{scale}", note)
    extra = [tickets_cell(EXTRA, tickets.table.at(f"op_{o}")) for o, charge in ticket.operations if charge]
    if any(x.operations[o].trouble_parts for o, charge in ticket.operations if charge):
        lines.add("parts", "allowance: parts for complications", f"({'+'.join(extra)})/{scale}")
    bench = x.bench
    for i in range(len(bench.tools)):
        if any(bench.op_tools[o, i] for o, _ in ticket.operations):
            tool = x.machine_class.tools[bench.tools[i]]
            verb = "hire" if tool.hire is not None and tool.hire <= tool.price else "buy"
            lines.add("parts", f"{verb} {tool.title}", repr(int(bench.tool_price[i]) / scale))


def _other(lines: _Lines, x: Workings, book: Book, tickets: Tickets, number: int) -> None:
    scale, ticket = book.scale, x.tickets[number]
    if x.terms.by_shop:
        lines.add("supplies", "shop supplies", tickets.cell("supplies", number))
    if ticket.sent:
        lines.add("fees", "shipping of parts", "parts_shipping")
    if ticket.by_seller:
        lines.add("fees", "sellers' shipping, as in the answer", repr(ticket.by_seller / scale))
    if x.terms.by_shop:
        lines.add("fees", "diagnosis", 'IF(diagnosis_credited="yes",0,diagnosis_fee)')
        lines.add("fees", "collection and delivery", "pickup_delivery")
        lines.add("fees", "disposal of oil, fuel and waste", "disposal_fee")
        stored = "MAX(0,storage_days-storage_free_days)*storage_per_day"
        lines.add("fees", "storage", f"ROUND({stored},{book.digits})")


def _totals(lines: _Lines, d: Decision, x: Workings, book: Book, tickets: Tickets, is_own: str) -> Estimated:
    page, scale = lines.page, book.scale
    kinds = {kind: lines.sum(kind) for kind in ("labour", "parts", "supplies", "fees")}
    base = "(" + "+".join(f'(tax_on_{kind}="yes")*({cells})' for kind, cells in kinds.items()) + ")"
    number, e, inside = x.estimate, d.estimate, x.case.terms.tax_inclusive
    assert number is not None and e is not None  # noqa: PT018, S101 - there is an estimate
    card_fee = sum((line.amount for line in e.lines if line.what == "card fee"), Decimal(0))
    before = e.total - card_fee - (0 if inside else e.tax)
    sums = page.next
    label = 'IF(tax_inclusive="yes","together, tax contained","before tax and card fee")'
    page.live(sums, 1, label, "general", "total", "together, tax contained" if inside else "before tax and card fee")
    page.live(sums, 5, lines.sum("labour", "parts", "supplies", "fees"), "money", "total", before)
    page.next += 1
    taxed = page.next
    page.put(taxed, 1, "of it taxed")
    taxable = [row for kind in x.case.terms.taxable for row in lines.rows.get(kind, ())]
    page.live(taxed, 5, base, "money", first=sum((Decimal(page.first[f"E{row}"]) for row in taxable), Decimal(0)))
    page.next += 1
    contained = page.next
    page.put(contained, 1, "tax contained in these prices")
    page.live(contained, 4, 'IF(tax_inclusive="yes",tax_rate,0)', "share", first=x.case.terms.tax_rate if inside else 0)
    page.live(
        contained, 5, f'IF(tax_inclusive="yes",{tax_on(f"E{taxed}", scale)},0)', "money", first=e.tax if inside else 0
    )
    page.next += 1
    tax = lines.add("tax", "tax on top", f'IF(tax_inclusive="yes",0,{tax_on(f"E{taxed}", scale)})')
    page.live(tax, 4, 'IF(tax_inclusive="yes",0,tax_rate)', "share", first=0 if inside else x.case.terms.tax_rate)
    paid = f"(E{sums}+E{tax})"
    card = lines.add("card", "card fee", card_on(paid, scale)) if x.terms.by_shop else 0
    total = page.next
    page.put(total, 1, f"Total, {d.currency}, tax included", "general", "strong")
    whole = f"ROUND(E{sums}+E{tax}" + (f"+E{card}" if card else "") + f",{book.digits})"
    page.live(total, 5, whole, "money", "total", e.total)
    book.define("estimate_total", page.place(total, 5))
    page.next += 1
    net = page.next
    page.put(net, 1, "Total without tax")
    page.live(net, 5, f"E{total}-E{tax}-E{contained}", "money", first=e.total - e.tax)
    page.next += 1
    page.put(page.next, 1, "Check: the same from the ticket it is reckoned with")
    page.live(
        page.next,
        5,
        f'IF(ABS(E{total}-{tickets.cell("total", number)})<{0.1 / scale!r},"agrees","DIFFERS")',
        first="agrees",
    )
    page.next += 2
    if x.terms.by_shop:
        page.put(page.next, 1, "in advance")
        page.live(page.next, 5, f"MIN(deposit,E{total})", "money", first=e.deposit)
        page.next += 1
    else:
        page.put(page.next, 1, "beside it own time worth")
        page.live(page.next, 5, tickets.cell("own_time", number), "money", first=e.own_time)
        book.define("estimate_own_time", page.place(page.next, 5))
        page.next += 1
    page.put(page.next, 1, "hours by the book")
    page.live(page.next, 5, f"{tickets.cell('hours', number)}/1000", "hours", first=e.hours)
    page.next += 2
    _promise(page, d, x, is_own)
    return Estimated(tuple(lines.found), page.first)


def _promise(page: Page, d: Decision, x: Workings, is_own: str) -> None:
    """Write what was agreed: how high it may run, and the lines to sign. is_own: above 0 if it is best."""
    a = d.risk.authorisation
    if a is not None and x.terms.by_shop and d.verdict.course.startswith("repair"):  # else nobody agrees to it
        currency = d.currency
        said = (
            f"Not to exceed {currency} {a.not_to_exceed:,f} without asking again (worked out with the answer). "
            f"Looking it over costs up to {currency} {a.diagnosis_up_to:,f}; to decline after that costs {currency} "
            f"{a.decline:,f}."
        )
        page.block(f'IF({is_own}>0,{text(said)},"")', "told", lines=2, first=said)
        page.gap()
    page.line("Agreed by", None, None, "on", role="plain")
    for column in (1, 4):
        page.put(page.next, column, None, "text" if column == 1 else "day", "fill_in")
    page.next += 1
