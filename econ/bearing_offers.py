"""Bearing offers: those of a price list that are of a given size, whatever their suffixes, the best price first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from econ.bearing_sizes import Size
from econ.bearing_suffixes import read_designation
from econ.money import divide, to_decimal
from econ.offers import NOT_FOR_SALE, Offer, Status
from econ.problems import BadInput


@dataclass(frozen=True)
class BearingOffer:
    """An offer of a bearing. price_each: for one piece; price: of the pack of so many pieces."""

    designation: str
    suffixes: str
    title: str
    seller: str
    status: Status
    price_each: Decimal
    price: Decimal
    pack: int
    currency: str
    seen_on: str


def _key(size: Size) -> tuple[str, bool, str]:
    return size.designation, size.closed, size.bore_inches


def priced(size: Size, offers: Sequence[Offer], currency: str) -> tuple[BearingOffer, ...]:
    """Return the offers of a size, the best price for one piece first.

    currency: of the offers. An offer without a designation that this table holds is passed over, and so is one that
    can't be had, that has another bore, or another width where closed ones are wider.
    """
    found = []
    for o in offers:
        try:
            named = read_designation(o.designation)
        except BadInput:
            continue  # it is no bearing of this table
        if _key(named.size) != _key(size) or o.status in NOT_FOR_SALE:
            continue
        said = "; ".join(f"{s.code}: {s.meaning}" if s.code else s.meaning for s in named.suffixes)
        each, price = (to_decimal(x, currency) for x in (divide(o.price, o.pack), o.price))
        line = BearingOffer(
            o.designation, said, o.title, o.seller, o.status, each, price, o.pack, currency, str(o.seen_on)
        )
        found.append((Fraction(o.price, o.pack), line))
    return tuple(line for _, line in sorted(found, key=lambda x: (x[0], x[1].seller, x[1].designation)))
