"""Offers: what sellers ask for a part, a row of a price list each, and the terms on which a seller sends it.

All money in minor units of one currency; weights in kilograms; days are calendar days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal, get_args

Status = Literal["new", "back_ordered", "discontinued", "used", "donor", "own_stock"]
STATUSES: tuple[Status, ...] = get_args(Status)
NOT_FOR_SALE: frozenset[Status] = frozenset({"discontinued"})


@dataclass(frozen=True)
class Shipping:
    """What a seller charges to send one order: flat, and for each kilogram; nothing from goods worth `free_from` on.

    flat, per_kg, free_from: [minor units]; free_from: None where it is never free.
    """

    flat: int = 0
    per_kg: int = 0
    free_from: int | None = None


@dataclass(frozen=True)
class Seller:
    """A seller and the terms of every order there.

    minimum_order: least value of the goods [minor units]. stated: it is known what sending costs; if not, `shipping` is
    nothing until the usual takes its place.
    """

    name: str
    shipping: Shipping = Shipping()
    minimum_order: int = 0
    stated: bool = True

    def with_usual(self, flat: int) -> Seller:
        """Return the seller with the usual shipping of an order [minor units] where its own is not known."""
        return self if self.stated else replace(self, shipping=Shipping(flat))


@dataclass(frozen=True)
class Stated:
    """What a price list states of the terms of a seller, as seen on a day; None where it says nothing [minor units]."""

    seen_on: date
    shipping: int | None = None
    shipping_per_kg: int | None = None
    free_from: int | None = None
    minimum_order: int | None = None

    def over(self, before: Stated) -> Stated:
        """Return this with what it leaves open as it was stated before."""
        said = {f: getattr(self, f) for f in TERMS if getattr(self, f) is not None}
        return replace(before, seen_on=self.seen_on, **said)

    def seller(self, name: str) -> Seller:
        """Return the seller with these terms; what they leave open is nothing."""
        known = any(x is not None for x in (self.shipping, self.shipping_per_kg, self.free_from))
        shipping = Shipping(self.shipping or 0, self.shipping_per_kg or 0, self.free_from)
        return Seller(name, shipping, self.minimum_order or 0, known)


TERMS = ("shipping", "shipping_per_kg", "free_from", "minimum_order")


@dataclass(frozen=True)
class Offer:
    """A part at a seller.

    part: id of the part, the rulebooks' or the user's own. price: of one pack [minor units]; pack: pieces in it.
    core_charge: paid on each piece and refunded when the old part goes back [minor units].
    weight_kg: of one pack; None where it is not known. lead_days: from order to doorstep; None where it is not known.
    return_loss: share of the price lost when it goes back unused, 1 where it can't; None where it is not known.
    seen_on: the day the price was seen. superseded_by: the part that took its place, or empty.
    machine_class: the only machine class it fits, or empty where it is for any.
    """

    part: str
    title: str
    seller: str
    status: Status
    price: int
    seen_on: date
    pack: int = 1
    core_charge: int = 0
    weight_kg: float | None = None
    lead_days: float | None = None
    return_loss: float | None = None
    designation: str = ""
    superseded_by: str = ""
    machine_class: str = ""
