"""Shortlist: of finds that were screened, which to buy within the hours, the cash and the places there are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.money import DIGITS, IntArray, Numbers, say, to_decimal, to_minor
from econ.selection import GAP, Selection, select
from econ.words import listed

THOUSAND = 1000
SHORT = np.iinfo(np.int32)
HALF = 1 << 29  # amounts below it are sorted together with their places [minor units]
MOST_SHORT = 1 << 32  # places that are told by 32 bits
Order = NDArray[np.integer[Any]]
PROVEN = 500  # finds that pay, up to which the choice is always proven best; judgement: a tenth of a second
UNKNOWN = -1  # instead of metres
IDLE = 1.0  # hours of the bench left over from which one more is not said to be worth anything [h]
RATES = {"hours": "bench hour", "cash": "unit of cash", "places": "place", "km": "kilometre"}


@dataclass(frozen=True)
class Limits:
    """What there is of bench hours [h], cash [currency], places in the yard, and kilometres to drive; None: enough."""

    hours: float | None = None
    cash: Decimal | None = None
    places: int | None = None
    km: float | None = None


@dataclass(frozen=True)
class Figures:
    """What bears on the choice among n finds, (n,) each, of one currency.

    named: whether a price is; profit and cash: at that price, 0 without [minor units]; highest: offer [minor units].
    hours: at the bench [mh]; metres: to fetch it, there and back [m], UNKNOWN where that is not known.
    """

    named: NDArray[np.bool_]
    profit: IntArray
    highest: IntArray
    hours: IntArray
    cash: IntArray
    metres: IntArray


@dataclass(frozen=True)
class Brief:
    """What of figures the choice and the order need, in whole numbers of half the length where they all fit: memory.

    named: as of `Figures`; amount: the profit, without a price the highest offer [minor units], (n,) each. hours, cash,
    metres: as of `Figures`, of the finds that leave something at their price alone, (m,) each.
    """

    named: NDArray[np.bool_]
    amount: Numbers
    hours: Numbers
    cash: Numbers
    metres: Numbers

    @property
    def pays(self) -> NDArray[np.bool_]:
        """Return which finds leave something at their price (n,)."""
        return self.named & (self.amount > 0)


def brief(f: Figures) -> Brief:
    """Return in brief what some finds bear on the choice."""
    pays = f.profit > 0
    amount = np.where(f.named, f.profit, f.highest)
    return Brief(f.named.copy(), *(narrow(x) for x in (amount, f.hours[pays], f.cash[pays], f.metres[pays])))


def narrow(x: IntArray) -> Numbers:
    """Return whole numbers in half their length where that holds all of them, else as they are."""
    fit = x.min(initial=0) >= SHORT.min and x.max(initial=0) <= SHORT.max
    return x.astype(np.int32) if fit else x


def joined(parts: Iterable[Brief]) -> Brief:
    """Return parts as one, one after the other; what is given is held no longer than needed."""
    columns: dict[str, list[NDArray[Any]]] = {x.name: [] for x in fields(Brief)}
    for part in parts:
        for name, column in columns.items():
            column.append(getattr(part, name))
    del part
    return Brief(**{name: np.concatenate(columns.pop(name)) for name in list(columns)})


@dataclass(frozen=True)
class Totals:
    """What finds leave and take together. km: each fetched by a trip of its own, those unknown left out."""

    finds: int
    profit: Decimal
    hours: float
    cash: Decimal
    km: float


@dataclass(frozen=True)
class Shortlist:
    """What to buy, and how many finds are worth what.

    buy: how many to buy, which come first in the order. pays: finds that leave something at the asking price; unpriced:
    finds that name no price but are worth one; leave: all others. best: the totals of those to buy; by_rate: of those
    that are best per `rate`, taken the best first: a bench hour where hours are limited, else what is; empty where
    nothing is. gap: by how much, of its profit, a better choice might exceed this one, 0 where it is proven best [1].
    hour, cash_unit, place, kilometre: about what one more would bring, exactly so if finds could be taken in part; None
    where there is enough. settled, searched: how many finds bounds settled, and how many were left to search.
    """

    buy: int
    pays: int
    unpriced: int
    leave: int
    best: Totals
    by_rate: Totals
    rate: str
    gap: float
    hour: Decimal | None
    cash_unit: Decimal | None
    place: Decimal | None
    kilometre: Decimal | None
    settled: int
    searched: int
    headline: str


def shortlist(f: Figures, currency: str, limits: Limits, gap: float = GAP) -> tuple[Shortlist, Order]:
    """Return which of some finds to buy, and the places of all in their order. Arguments: as of `shortlist_of`."""
    return shortlist_of(brief(f), currency, limits, gap)


def shortlist_of(b: Brief, currency: str, limits: Limits, gap: float = GAP) -> tuple[Shortlist, Order]:
    """Return which of some finds to buy, and the places of all in their order, (n,).

    Those to buy come first, then those that would pay too, then those that name no price, then the rest: each by its
    profit, without a price by the highest offer. gap: proven at most, of the profit [1]; 0: the best, and so it is in
    any case where no more than PROVEN finds pay. Within a limit of kilometres a find of unknown way is not bought.
    """
    able, finds = b.pays, b.amount.size
    pays = b.metres.size
    unpriced = int((b.amount > 0).sum()) - pays
    near = slice(None) if limits.km is None else b.metres != UNKNOWN  # of those that pay
    profit = b.amount[able][near]
    takes = {"hours": b.hours[near], "cash": b.cash[near], "km": np.maximum(b.metres[near], 0)}
    most = {
        "hours": None if limits.hours is None else _thousandths(limits.hours),
        "cash": None if limits.cash is None else to_minor(limits.cash, currency),
        "places": limits.places,
        "km": None if limits.km is None else _thousandths(limits.km),
    }
    named = [name for name, limit in most.items() if limit is not None]
    needs = [takes[name] if name in takes else np.ones(profit.size, dtype=np.int32) for name in named]
    table = np.stack(needs) if named else np.zeros((0, profit.size), dtype=np.int32)
    limit, short_list = np.array([most[name] for name in named], dtype=np.int64), pays <= PROVEN
    chosen = select(profit, table, limit, 0.0 if short_list else gap)
    hour = None  # what a bench hour more brings
    if short_list and limits.hours is not None:
        longer = select(profit, table, limit + THOUSAND * np.array([name == "hours" for name in named]), 0.0)
        hour = to_decimal(longer.value - chosen.value, currency)
    del needs, table  # before finds are put in order: memory

    def totals(i: IntArray) -> Totals:
        return Totals(
            len(i),
            to_decimal(int(profit[i].sum(dtype=np.int64)), currency),
            round(float(takes["hours"][i].sum(dtype=np.int64)) / THOUSAND, 3),
            to_decimal(int(takes["cash"][i].sum(dtype=np.int64)), currency),
            round(float(takes["km"][i].sum(dtype=np.int64)) / THOUSAND, 3),
        )

    unit = 10 ** DIGITS[currency]
    scale = {"hours": THOUSAND, "cash": unit, "places": 1, "km": THOUSAND}
    more = {name: to_decimal(price * scale[name], currency) for name, price in zip(named, chosen.prices, strict=True)}
    settled = chosen.fixed_in + chosen.fixed_out + chosen.dominated
    settled += (
        finds - profit.size if settled + chosen.searched else 0
    )  # what does not pay, where any find had to be settled
    best, about = totals(chosen.chosen), more.get("hours") if hour is None else hour
    counts = pays, unpriced, finds - pays - unpriced
    short = Shortlist(
        len(chosen.chosen), *counts, best, totals(chosen.ranked),
        RATES.get(named[0], "") if named else "", chosen.gap, more.get("hours"),
        more.get("cash"), more.get("places"), more.get("km"),
        settled, chosen.searched,
        _headline(finds, counts, best, limits, about, chosen, currency, short_list),
    )  # fmt: skip
    return short, _order(b, np.flatnonzero(able)[near][chosen.chosen])


def _thousandths(limit: float) -> int:
    """Return a limit in thousandths, rounded down, but for what floats make of a decimal such as 32.3."""
    return int(limit * THOUSAND + 1e-6)


def _number(limit: float) -> str:
    return f"{limit:,.3f}".rstrip("0").rstrip(".")


def _order(b: Brief, chosen: IntArray) -> Order:
    """Return the places of all finds in their order. chosen: those to buy."""
    group = np.full(b.amount.size, 3, dtype=np.uint8)
    group[b.amount > 0] = 2
    group[b.pays] = 1
    group[chosen] = 0
    if max(-int(b.amount.min(initial=0)), int(b.amount.max(initial=0))) >= HALF or b.amount.size > MOST_SHORT:
        long: IntArray = np.lexsort((-b.amount.astype(np.int64), group)).astype(np.int64)  # a stable sort
        return long
    # Group, amount and place in one number, so that they are sorted where they stand: 2, 30 and 32 bits.
    keys = group.astype(np.uint64) << 30
    keys |= (HALF - b.amount.astype(np.int32, copy=False)).view(np.uint32)
    keys <<= 32
    keys |= np.arange(b.amount.size, dtype=np.uint32)
    keys.sort()
    return keys.astype(np.uint32)  # the lower half, the place


def _headline(
    finds: int,
    counts: tuple[int, int, int],
    best: Totals,
    limits: Limits,
    hour: Decimal | None,
    chosen: Selection,
    currency: str,
    exact: bool,
) -> str:
    """Return what to buy in a few sentences, the money first.

    hour: what a bench hour more brings, `exact` or if finds could be bought in part.
    """

    def money(x: Decimal) -> str:
        return say(to_minor(x, currency), currency)

    pays, unpriced, _ = counts
    of = f"Of {finds:,} finds" if finds != 1 else "The find"
    if not finds:
        return "No find could be screened."
    if not pays:
        said = f"{of}{' none is' if finds != 1 else ' is not'} worth what is asked."
    else:
        within = [] if limits.hours is None else [f"{_number(limits.hours)} bench hours"]
        within += [] if limits.cash is None else [money(limits.cash)]
        within += [] if limits.places is None else [f"{limits.places:,} {'places' if limits.places != 1 else 'place'}"]
        within += [] if limits.km is None else [f"{_number(limits.km)} km"]
        which = f"these {best.finds:,}" if best.finds != 1 else "this one"
        start = f"With {listed(within)} buy {which}" if within else f"Buy {which}"
        leave = f"{start}: {money(best.profit)} left with every hour paid, for {money(best.cash)} in cash and "
        leave += f"{best.hours:.1f} bench hours."
        if within and not best.finds:
            leave = f"With {listed(within)} none of them can be bought."
        worth = (
            f"{pays:,} {'are' if pays != 1 else 'is'} worth what is asked" if finds != 1 else "is worth what is asked"
        )
        said = f"{leave} {of} {worth}."
    if unpriced:
        said += f" {unpriced:,} {'name' if unpriced != 1 else 'names'} no price: offer at most what stands there."
    if hour is not None and hour > 0 and exact:
        said += f" One bench hour more would bring {money(hour)}."
    elif hour is not None and hour > 0 and limits.hours is not None and limits.hours - best.hours < IDLE:
        said += f" A bench hour more would be worth about {money(hour)}."
    if pays and not chosen.proven and chosen.value:
        said += f" Proven to within {chosen.gap:.2%} of the best.".replace("%", " %")
    return said
