"""Bearing offers: those of a price book that are of a given size, whatever their suffixes, what to take first in front.

Own stock comes first; then what sellers offer, new before back-ordered before used, as the price book ranks it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from econ.bearing_sizes import Size
from econ.bearing_suffixes import Named, read_designation
from econ.money import divide, to_decimal
from econ.offers import NOT_FOR_SALE, Offer, Status
from econ.pricebook import STALE_DAYS, TIERS, age_days, can_be_had, group
from econ.problems import BadInput


@dataclass(frozen=True)
class DayPrices:
    """What a price book holds on a day. offers: seen by that day, by currency; only those with a designation count.

    revision: of the price book, as which it was asked; None where it is not known.
    """

    day: date
    offers: Mapping[str, Sequence[Offer]]
    revision: int | None = None


@dataclass(frozen=True)
class BearingOffer:
    """An offer of a bearing.

    part: its id in the price book. price_each: for one piece; price: of the pack of so many pieces; both None for own
    stock whose price is not known in this currency. as_asked: its suffixes mean the same as those asked for; None where
    a size was asked for. seen_on, age_days: the day the price was seen, how long before the day asked about; stale:
    older than the price book reckons with. lead_days: from order to doorstep; None where it is not known.
    """

    part: str
    designation: str
    suffixes: str
    as_asked: bool | None
    title: str
    seller: str
    status: Status
    price_each: Decimal | None
    price: Decimal | None
    pack: int
    currency: str
    lead_days: float | None
    seen_on: str
    age_days: int
    stale: bool


@dataclass(frozen=True)
class OfSize:
    """What a price book holds of a size: offers, what to take first in front.

    elsewhere: the currencies sellers offer it in, where none does in the one asked for.
    """

    offers: tuple[BearingOffer, ...]
    elsewhere: tuple[str, ...]


def on_offer(
    sizes: Sequence[Size], prices: DayPrices | None, currency: str, asked: Named | None = None
) -> list[OfSize]:
    """Return what there is of each size; one with another bore or width is another size.

    prices: None where no price book is in use. asked: the designation asked for, if one was. Passed over are offers
    without a designation that this table holds, without a price, that can't be had, and those that another part took
    the place of. Own stock needs no price, and is there whatever took its place.
    """
    if prices is None:
        return [OfSize((), ())] * len(sizes)
    there: dict[tuple[str, bool, str], list[tuple[str, Offer, Named]]] = {_key(s): [] for s in sizes}
    read: dict[str, Named | None] = {}
    for own, offers in prices.offers.items():
        for o in offers:
            if o.designation not in read:
                read[o.designation] = _read(o.designation)
            named = read[o.designation]
            for_sale = o.price > 0 and o.status not in NOT_FOR_SALE and not o.superseded_by
            if named is not None and _key(named.size) in there and (for_sale or o.status == "own_stock"):
                there[_key(named.size)].append((own, o, named))
    return [_of_size(there[_key(s)], prices.day, currency, asked) for s in sizes]


def _key(size: Size) -> tuple[str, bool, str]:
    return size.designation, size.closed, size.bore_inches


def _read(designation: str) -> Named | None:
    try:
        return read_designation(designation)
    except BadInput:
        return None  # it is no bearing of this table


def _of_size(there: Sequence[tuple[str, Offer, Named]], day: date, currency: str, asked: Named | None) -> OfSize:
    rows = [(o, named, o.price) for c, o, named in there if c == currency]
    # A piece on the shelf is there in any currency; what it would cost is known only in its own.
    shelf = {group(o): (o, named, 0) for c, o, named in there if c != currency and o.status == "own_stock"}
    listed = {group(o) for o, *_ in rows}
    rows += [row for key, row in shelf.items() if key not in listed]
    lines = []
    for o, named, price in rows:
        as_asked = None if asked is None else _means(named) == _means(asked)
        line = _line(o, named, price, day, currency, as_asked)
        lines.append((_rank(o, day, as_asked), line.seller, line.designation, line.part, repr(o), line))
    for_sale = {c for c, o, _ in there if o.status != "own_stock"}
    ranked = tuple(x[-1] for x in sorted(lines, key=lambda x: x[:-1]))
    return OfSize(ranked, () if currency in for_sale else tuple(sorted(for_sale)))


def _means(named: Named) -> set[tuple[str, str]]:
    """Return what suffixes say, however they are written; normal clearance goes without saying."""
    return {(s.code if s.kind == "other" else s.kind, s.meaning) for s in named.suffixes if s.code != "CN"}


def _rank(o: Offer, day: date, as_asked: bool | None) -> tuple[int, bool, Fraction]:
    """Return the place of an offer; less is better: own stock, then the tiers of the price book, fresh before stale."""
    if o.status == "own_stock":
        return -1, as_asked is False, Fraction(age_days(o, day))
    tier = next(i for i, tier in enumerate(TIERS) if o.status in tier) if can_be_had(o) else len(TIERS)
    return tier, age_days(o, day) > STALE_DAYS, Fraction(o.price, o.pack)


def _line(o: Offer, named: Named, price: int, day: date, currency: str, as_asked: bool | None) -> BearingOffer:
    """Return an offer as it is told. price: of the pack, 0 where it is not known [minor units]."""
    age = age_days(o, day)
    return BearingOffer(
        part=o.part,
        designation=o.designation,
        suffixes="; ".join(f"{s.code}: {s.meaning}" if s.code else s.meaning for s in named.suffixes),
        as_asked=as_asked,
        title=o.title,
        seller=o.seller,
        status=o.status,
        price_each=to_decimal(divide(price, o.pack), currency) if price else None,
        price=to_decimal(price, currency) if price else None,
        pack=o.pack,
        currency=currency,
        lead_days=o.lead_days,
        seen_on=o.seen_on.isoformat(),
        age_days=age,
        stale=age > STALE_DAYS,
    )
