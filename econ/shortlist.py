"""Shortlist: of finds that were screened, which to buy within the hours, the cash and the places there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from econ.money import DIGITS, IntArray, say, to_decimal, to_minor
from econ.selection import GAP, Selection, select
from econ.words import listed

THOUSAND = 1000
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
    hours: at the bench [mh]; metres: to fetch it, there and back [m].
    """

    named: NDArray[np.bool_]
    profit: IntArray
    highest: IntArray
    hours: IntArray
    cash: IntArray
    metres: IntArray


@dataclass(frozen=True)
class Totals:
    """What finds leave and take together. km: each fetched by a trip of its own."""

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


def shortlist(f: Figures, currency: str, limits: Limits, gap: float = GAP) -> tuple[Shortlist, IntArray]:
    """Return which of some finds to buy, and the places of all in their order, (n,).

    Those to buy come first, then those that would pay too, then those that name no price, then the rest: each by its
    profit, without a price by the highest offer. gap: proven at most, of the profit [1]; 0: the best.
    """
    profit, finds = f.profit, f.profit.size
    takes = {"hours": f.hours, "cash": f.cash, "places": np.ones(finds, dtype=np.int64), "km": f.metres}
    most = {
        "hours": None if limits.hours is None else _thousandths(limits.hours),
        "cash": None if limits.cash is None else to_minor(limits.cash, currency),
        "places": limits.places,
        "km": None if limits.km is None else _thousandths(limits.km),
    }
    named = [name for name, limit in most.items() if limit is not None]
    needs = np.array([takes[name] for name in named], dtype=np.int64).reshape(len(named), finds)
    chosen = select(profit, needs, np.array([most[name] for name in named], dtype=np.int64), gap)

    def totals(which: Sequence[int]) -> Totals:
        i = list(which)
        return Totals(
            len(i),
            to_decimal(int(profit[i].sum()), currency),
            round(float(takes["hours"][i].sum()) / THOUSAND, 3),
            to_decimal(int(takes["cash"][i].sum()), currency),
            round(float(takes["km"][i].sum()) / THOUSAND, 3),
        )

    unit = 10 ** DIGITS[currency]
    scale = {"hours": THOUSAND, "cash": unit, "places": 1, "km": THOUSAND}
    more = {name: to_decimal(price * scale[name], currency) for name, price in zip(named, chosen.prices, strict=True)}
    pays, unpriced = int((profit > 0).sum()), int((~f.named & (f.highest > 0)).sum())
    best = totals(chosen.chosen)
    counts = pays, unpriced, finds - pays - unpriced
    short = Shortlist(
        len(chosen.chosen), *counts, best, totals(chosen.ranked),
        RATES.get(named[0], "") if named else "", chosen.gap, more.get("hours"),
        more.get("cash"), more.get("places"), more.get("km"),
        chosen.fixed_in + chosen.fixed_out + chosen.dominated, chosen.searched,
        _headline(finds, counts, best, limits, more.get("hours"), chosen, currency),
    )  # fmt: skip
    return short, _order(f, chosen.chosen)


def _thousandths(limit: float) -> int:
    """Return a limit in thousandths, rounded down, but for what floats make of a decimal such as 32.3."""
    return int(limit * THOUSAND + 1e-6)


def _order(f: Figures, chosen: Sequence[int]) -> IntArray:
    """Return the places of all finds in their order."""
    buy = np.zeros(f.profit.size, dtype=bool)
    buy[list(chosen)] = True
    pays, worth = f.profit > 0, ~f.named & (f.highest > 0)
    group = np.where(buy, 0, np.where(pays, 1, np.where(worth, 2, 3)))
    order: IntArray = np.lexsort((-np.where(f.named, f.profit, f.highest), group)).astype(np.int64)  # a stable sort
    return order


def _headline(
    finds: int,
    counts: tuple[int, int, int],
    best: Totals,
    limits: Limits,
    hour: Decimal | None,
    chosen: Selection,
    currency: str,
) -> str:
    """Return what to buy in a few sentences, the money first."""

    def money(x: Decimal) -> str:
        return say(to_minor(x, currency), currency)

    pays, unpriced, _ = counts
    of = f"Of {finds:,} finds" if finds != 1 else "The find"
    if not finds:
        return "No find could be screened."
    if not pays:
        said = f"{of}{' none is' if finds != 1 else ' is not'} worth what is asked."
    else:
        within = [] if limits.hours is None else [f"{limits.hours:g} bench hours"]
        within += [] if limits.cash is None else [money(limits.cash)]
        within += [] if limits.places is None else [f"{limits.places} {'places' if limits.places != 1 else 'place'}"]
        within += [] if limits.km is None else [f"{limits.km:g} km"]
        which = f"these {best.finds:,}" if best.finds != 1 else "this one"
        start = f"With {listed(within)} buy {which}" if within else f"Buy {which}"
        leave = f"{start}: {money(best.profit)} left with every hour paid, for {money(best.cash)} and {best.hours:.1f} "
        leave += "bench hours."
        if within and not best.finds:
            leave = f"With {listed(within)} none of them can be bought."
        worth = (
            f"{pays:,} {'are' if pays != 1 else 'is'} worth what is asked" if finds != 1 else "is worth what is asked"
        )
        said = f"{leave} {of} {worth}."
    if unpriced:
        said += f" {unpriced:,} {'name' if unpriced != 1 else 'names'} no price: offer at most what stands there."
    if hour is not None and hour > 0 and limits.hours is not None and limits.hours - best.hours < IDLE:
        said += f" A bench hour more would be worth about {money(hour)}."
    if pays and not chosen.proven and chosen.value:
        said += f" Proven to within {chosen.gap:.2%} of the best.".replace("%", " %")
    return said
