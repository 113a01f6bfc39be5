"""Purchase: what to order where for a repair, at the least cost on the doorstep, from what the price book offers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import numpy as np

from econ.basket import choose
from econ.costing import THOUSAND, Bench, members, work
from econ.landed import SHELF, Basket, Buying, Line
from econ.money import to_decimal
from econ.offers import Offer
from econ.pricebook import Supply
from econ.rulebook import MachineClass
from econ.terms import Assumption


@dataclass(frozen=True)
class PriceUsed:
    """A price of the price book that the estimate rests on: of one piece as bought, where and when it was seen.

    low, high: of what else is offered for it; age_days, stale: how old it is, and whether too old to trust.
    """

    part: str
    title: str
    price: Decimal
    seller: str
    status: str
    seen_on: date
    age_days: int
    stale: bool
    low: Decimal
    high: Decimal
    offers: int
    note: str
    revision: int | None


def prices_used(c: MachineClass, bench: Bench, scope: Sequence[int], supply: Supply | None) -> tuple[PriceUsed, ...]:
    """Return the prices of the price book that an estimate rests on."""
    if supply is None or not scope:
        return ()
    fitted = work(bench, members(bench, [scope])).fitted[0]
    found = []
    for i in np.flatnonzero(fitted).tolist():
        p = bench.terms.priced.get(bench.parts[i])
        if p is None or p.unit_cost is None or p.seen_on is None or p.age_days is None:
            continue
        price, low, high = (to_decimal(x or 0, bench.terms.currency) for x in (p.unit_cost, p.low, p.high))
        title, status = c.parts[p.part].title, p.status or ""
        found.append(
            PriceUsed(
                p.part, title, price, p.seller, status, p.seen_on, p.age_days, p.stale, low, high, p.offers, p.note,
                supply.revision,
            )
        )  # fmt: skip
    return tuple(found)


@dataclass(frozen=True)
class PurchaseLine:
    """Packs of a part to order. each: price of a pack; price: of the packs; core_charge: refunded later, if at all."""

    part: str
    sold: str
    title: str
    designation: str
    status: str
    packs: int
    pack: int
    each: Decimal
    price: Decimal
    core_charge: Decimal
    seen_on: date
    stale: bool


@dataclass(frozen=True)
class PurchaseOrder:
    """What one seller sends, or own stock gives; lead_days: of its slowest part."""

    seller: str
    lines: tuple[PurchaseLine, ...]
    goods: Decimal
    shipping: Decimal
    lead_days: float


@dataclass(frozen=True)
class NotOffered:
    """Pieces of a part beyond what own stock and sellers have, and why."""

    part: str
    title: str
    pieces: int
    why: str


@dataclass(frozen=True)
class Purchase:
    """What to order where for the repair of the estimate.

    landed: goods, own stock, shipping and what does not come back of core charges. cash_now: paid to sellers, core
    charges in full; core_back: refunded when the old parts go back. single: landed from one seller, None where none has
    it all; single_orders: what that would be, where it is not what to order; why: one seller or several, in words.
    missing: pieces beyond what own stock and sellers have. revision: of the price book. Parts not in it are not here.
    """

    orders: tuple[PurchaseOrder, ...]
    landed: Decimal
    cash_now: Decimal
    core_back: Decimal
    lead_days: float
    single: Decimal | None
    single_orders: tuple[PurchaseOrder, ...]
    why: tuple[str, ...]
    missing: tuple[NotOffered, ...]
    revision: int | None
    assumptions: tuple[Assumption, ...]


def needed(c: MachineClass, bench: Bench, scope: Sequence[int]) -> dict[str, int]:
    """Return the pieces of each part that a repair takes and the price book offers; consumables are had nearby."""
    fitted = work(bench, members(bench, [scope])).fitted[0]
    pieces = {bench.parts[p]: -(-int(fitted[p]) // THOUSAND) for p in np.flatnonzero(fitted).tolist()}
    priced = bench.terms.priced
    known = {p for p, x in priced.items() if x.pool or x.shelf}
    return {p: n for p, n in pieces.items() if p in known and not c.parts[p].consumable}


def _pool(bench: Bench, part: str) -> tuple[Offer, ...]:
    """Return the offers of a part to choose from; own stock of no known price at what the part is reckoned with."""
    priced = bench.terms.priced[part]
    if not priced.shelf or any(o.status == SHELF for o in priced.pool):
        return priced.pool
    price = int(bench.unit_cost[bench.parts.index(part)]) * priced.shelf
    day = priced.seen_on or date.min
    return (*priced.pool, Offer(priced.sold, "", "", SHELF, price, day, pack=priced.shelf))


def buy(
    c: MachineClass, bench: Bench, scope: Sequence[int], week: float, revision: int | None
) -> tuple[Purchase, Mapping[str, Offer]] | None:
    """Return what to order for a repair, and the offer taken of each part; None where the book offers nothing of it.

    week: what a week of waiting costs [money]. Raises ArithmeticError where the search finds no basket in time.
    """
    needs, terms = needed(c, bench, scope), bench.terms
    if not needs:
        return None
    pools = {p: _pool(bench, p) for p in needs}
    offers = [replace(o, part=p) for p, pool in pools.items() for o in pool]
    sold = {(p, o.seller, o.pack, o.price): o.part for p, pool in pools.items() for o in pool}
    buying = Buying(
        day_cost=max(0, round(week / 7)),
        statuses=frozenset(o.status for o in offers),
        lead_days=float(terms["parts_lead_days"]),
    )
    sellers = {o.seller: terms.sellers[o.seller] for o in offers if o.status != SHELF}
    found = choose(needs, offers, sellers, terms.currency, buying)

    def money(x: int) -> Decimal:
        return to_decimal(x, terms.currency)

    def line(x: Line) -> PurchaseLine:
        o = x.offer
        packs, pack = (x.pieces, 1) if o.status == SHELF else (x.packs, o.pack)
        return PurchaseLine(
            o.part,
            sold[o.part, o.seller, o.pack, o.price],
            o.title,
            o.designation,
            o.status,
            packs,
            pack,
            money(x.goods // max(packs, 1)),
            money(x.goods),
            money(x.core),
            o.seen_on,
            terms.priced[o.part].stale,
        )

    def orders(basket: Basket) -> tuple[PurchaseOrder, ...]:
        sent = [
            PurchaseOrder(o.seller, tuple(map(line, o.lines)), money(o.goods), money(o.shipping), o.lead_days)
            for o in basket.orders
        ]
        shelf = tuple(map(line, basket.shelf))
        return (*sent, *([PurchaseOrder("", shelf, money(basket.own_stock), money(0), 0.0)] if shelf else []))

    b = found.best
    beside = () if found.single is None or found.single == b else orders(found.single)
    single = None if found.single is None else money(found.single.landed)
    bought = Purchase(
        orders(b),
        money(b.landed),
        money(b.cash_now),
        money(b.core_back),
        b.lead_days,
        single,
        beside,
        found.why,
        tuple(NotOffered(x.part, c.parts[x.part].title, x.pieces, x.why) for x in found.missing),
        revision,
        found.assumptions,
    )
    return bought, taken(b)


def taken(b: Basket) -> Mapping[str, Offer]:
    """Return the offer taken of each part, that of most pieces where there are several."""
    lines = sorted((x for o in b.orders for x in o.lines), key=lambda x: x.pieces)
    return {x.offer.part: x.offer for x in lines}
