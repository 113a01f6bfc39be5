"""Estimate: the written, itemised price of one scope; its lines sum to its total exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from econ.costing import THOUSAND, Bench, complication_chance, labour_charge, members, ordered, tickets, work
from econ.money import divide, share, to_decimal
from econ.rulebook import MachineClass

COVERED = "under warranty or recall"


@dataclass(frozen=True)
class Line:
    """One line of an estimate. quantity in the unit (h, pieces); amount is what counts towards the total."""

    kind: str
    what: str
    quantity: Decimal | None
    unit: str
    unit_price: Decimal | None
    amount: Decimal
    note: str = ""


@dataclass(frozen=True)
class Estimate:
    """The price of a scope before work, at mean hours.

    total: what is paid; own_time: worth of the own hours beside it; tax: contained in total; deposit: part of total
    paid in advance; hours: expected bench hours.
    """

    jobs: tuple[str, ...]
    lines: tuple[Line, ...]
    total: Decimal
    tax: Decimal
    own_time: Decimal
    deposit: Decimal
    hours: Decimal


def _thousandth(value: int) -> Decimal:
    return Decimal(int(value)).scaleb(-3)


def _labour_lines(bench: Bench, c: MachineClass, scope: Sequence[int], rusty: bool) -> list[tuple[str, str, int, bool]]:
    """Return (kind, what, hours [mh], charged) for each operation and each allowance."""
    w = work(bench, members(bench, [scope]))
    lines = []
    for o in np.flatnonzero(w.done[0]):
        op = c.operations[bench.ops[o]]
        charged = bool(w.charged[0, o])
        lines.append(("labour", op.title, int(bench.op_hours[o]), charged))
        if bench.op_trouble_hours[o]:
            chances = ", ".join(f"{t.title} {complication_chance(t, rusty):.0%}" for t in op.complications)
            lines.append(("allowance", f"allowance: {chances}", int(bench.op_trouble_hours[o]), charged))
    return lines


def make_estimate(bench: Bench, c: MachineClass, scope: Sequence[int], rusty: bool = False) -> Estimate:
    """Return the itemised estimate of a scope (job numbers as in bench.jobs).

    Its total equals ``tickets(...).total`` of the same scope exactly; a test holds that.
    """
    charges, currency = bench.charges, bench.terms.currency
    member = members(bench, [scope])
    w, t = work(bench, member), tickets(bench, member)

    def money(minor: float) -> Decimal:
        return to_decimal(int(minor), currency)

    lines: list[Line] = []
    spoken = charged_hours = 0
    for kind, what, hours, charged in _labour_lines(bench, c, scope, rusty):
        amount = divide(hours * charges.labour_rate, THOUSAND) if charged else 0
        spoken += amount
        charged_hours += hours if charged else 0
        note = "" if charged else COVERED
        rate = money(charges.labour_rate) if charges.by_shop else None
        lines.append(Line(kind, what, _thousandth(hours), "h", rate, money(amount), note or _own_note(charges.by_shop)))
    labour = int(labour_charge(charges, np.array([charged_hours]))[0]) if charges.by_shop else 0
    if labour != spoken:
        rule = "minimum charge and billing steps" if charges.minimum else f"billed in steps of {_step(bench)} h"
        lines.append(Line("labour", f"rounding: {rule}", None, "", None, money(labour - spoken)))
    for p in np.flatnonzero(w.fitted[0]):
        part, quantity = c.parts[bench.parts[p]], int(w.fitted[0, p])
        price = int(bench.unit_price[p])
        kind = "consumable" if part.consumable else "part"
        what = f"{part.title} ({part.designation})" if part.designation else part.title
        amount = divide(int(w.quantity[0, p]) * price, THOUSAND)
        free = w.quantity[0, p] < quantity
        note = COVERED if free else ""
        lines.append(Line(kind, what, _thousandth(quantity), "", money(price), money(amount), note))
    trouble = int(w.charged[0].astype(np.int64) @ bench.op_trouble_parts)
    if trouble:
        lines.append(Line("allowance", "allowance: parts for complications", None, "", None, money(trouble)))
    for i in np.flatnonzero(w.done[0].astype(np.int64) @ bench.op_tools.astype(np.int64)):
        tool = c.tools[bench.tools[i]]
        verb = "hire" if tool.hire is not None and tool.hire <= tool.price else "buy"
        lines.append(Line("tool", f"{verb} {tool.title}", None, "", None, money(bench.tool_price[i])))
    if int(t.supplies[0]):
        lines.append(Line("supplies", "shop supplies", None, "", None, money(t.supplies[0])))
    sent: list[tuple[str, int]] = []
    comes = ordered(bench, w.quantity)
    for x in bench.senders:
        post, more = (int(y[0]) for y in x.charge(comes))
        goal = "its least order" if x.below_least(comes)[0] else "free shipping"
        sent += [(f"shipping from {x.seller.name}", post), (f"more from {x.seller.name} to reach {goal}", more)]
    sent.append(("shipping of parts", int(t.shipping[0]) - sum(amount for _, amount in sent)))
    lines += [Line("fee", what, None, "", None, money(amount)) for what, amount in sent if amount]
    lines += [Line("fee", what, None, "", None, money(amount)) for what, amount in charges.fixed]
    tax = int(t.tax[0])
    if tax:
        shown = 0 if charges.tax_inclusive else tax
        note = f"prices include tax of {money(tax)}" if charges.tax_inclusive else ""
        lines.append(Line("tax", f"tax {charges.tax_rate / 10_000:g} %", None, "", None, money(shown), note))
    if charges.card_rate:
        fee = share(int(t.total[0] - t.card[0]), charges.card_rate)
        lines.append(Line("fee", "card fee", None, "", None, money(fee)))
    total = sum((line.amount for line in lines), Decimal(0))
    return Estimate(
        tuple(bench.jobs[j] for j in scope),
        tuple(lines),
        total,
        money(tax),
        money(t.own_time[0]),
        min(money(bench.terms.money("deposit")), total) if charges.by_shop else Decimal(0),
        _thousandth(int(t.hours[0])),
    )


def _own_note(by_shop: bool) -> str:
    return "" if by_shop else "own time"


def _step(bench: Bench) -> str:
    return f"{bench.charges.step / THOUSAND:g}"
