"""Sending: what sellers charge to send the parts of a repair, in arrays: one order at each seller it needs.

Quantities in thousandths of a piece, money in minor units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.landed import WEIGHT_KG, exactly
from econ.money import IntArray
from econ.offers import Seller
from econ.pricebook import Priced

THOUSAND = 1000
NEVER = 10**12  # more than any order comes to [minor units]


@dataclass(frozen=True)
class Sender:
    """A seller and the parts of a bench that come from there, (k,) each.

    parts: their numbers. pack: pieces in a pack; price, by_weight: of a pack, and what it adds to the charge by weight.
    """

    seller: Seller
    parts: NDArray[np.int64]
    pack: IntArray
    price: IntArray
    by_weight: IntArray

    def charge(self, quantity: IntArray) -> tuple[IntArray, IntArray]:
        """Return what an order costs beyond its goods: to send it, and packs more to reach a value it must or may have.

        A pack more is bought where the seller takes no smaller order, or where sending is free then and it costs less;
        all of one part, so that a basket may do a little better. quantity: (n, parts) of the bench. Returns (n,) each,
        0 where nothing comes from here.
        """
        packs = -(-quantity[:, self.parts] // (self.pack * THOUSAND))
        goods, ship = packs @ self.price, self.seller.shipping
        here = packs.any(axis=1)
        sent, more = ship.flat + packs @ self.by_weight, self._more(packs, self.seller.minimum_order - goods)
        if ship.free_from is not None:
            free = self._more(packs, max(ship.free_from, self.seller.minimum_order) - goods)
            cheaper = free < sent + more
            sent, more = np.where(cheaper, 0, sent), np.where(cheaper, free, more)
        return np.where(here, sent, 0), np.where(here, more, 0)

    def _more(self, packs: IntArray, short: IntArray) -> IntArray:
        """Return what more packs of one part of an order cost that make up for a value that is short, (n,)."""
        missing = np.maximum(short, 0)[:, None]
        price = np.maximum(self.price, 1)
        each = np.where(packs > 0, -(-missing // price) * price, NEVER)
        least: IntArray = np.where(missing[:, 0] > 0, each.min(axis=1, initial=NEVER), 0)
        return least


def make_senders(
    parts: Sequence[str], consumable: Sequence[bool], priced: Mapping[str, Priced], sellers: Mapping[str, Seller]
) -> tuple[Sender, ...]:
    """Return the sellers that parts of a bench come from, by name; consumables and own stock come from none."""
    by_seller: dict[str, list[int]] = {}
    for i, name in enumerate(parts):
        found = priced.get(name)
        if found is not None and found.offer is not None and not consumable[i] and found.status != "own_stock":
            by_seller.setdefault(found.seller, []).append(i)
    made = []
    for name, numbers in sorted(by_seller.items()):
        offers = [o for o in (priced[parts[i]].offer for i in numbers) if o is not None]
        seller = sellers.get(name, Seller(name))
        weights = [exactly(seller.shipping.per_kg, WEIGHT_KG if o.weight_kg is None else o.weight_kg) for o in offers]
        made.append(
            Sender(
                seller,
                np.array(numbers, dtype=np.int64),
                np.array([o.pack for o in offers], dtype=np.int64),
                np.array([o.price for o in offers], dtype=np.int64),
                np.array(weights, dtype=np.int64),
            )
        )
    return tuple(made)
