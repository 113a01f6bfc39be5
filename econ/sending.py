"""Sending: what sellers charge to send the parts of a repair, in arrays: one order at each seller it needs.

Quantities in thousandths of a piece, money in minor units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from econ.landed import WEIGHT_KG, exactly
from econ.money import IntArray
from econ.offers import Seller
from econ.pricebook import Priced

THOUSAND = 1000
NEVER = 10**15  # more than any order comes to [minor units]
EXACTLY = 10**6  # up to which sums are all looked at [minor units]


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

        Packs more are bought where the seller takes no smaller order, or where sending is free then and it costs less.
        quantity: (n, parts) of the bench, what has to be ordered. Returns (n,) each, 0 where nothing comes from here.
        """
        packs = self._packs(quantity)
        goods, ship = packs @ self.price, self.seller.shipping
        here = packs.any(axis=1)
        sent, more = ship.flat + packs @ self.by_weight, self._more(packs, self.seller.minimum_order - goods)
        if ship.free_from is not None:
            free = self._more(packs, max(ship.free_from, self.seller.minimum_order) - goods)
            cheaper = free < sent + more
            sent, more = np.where(cheaper, 0, sent), np.where(cheaper, free, more)
        return np.where(here, sent, 0), np.where(here, more, 0)

    def below_least(self, quantity: IntArray) -> NDArray[np.bool_]:
        """Return whether the goods alone are worth less than the seller's least order, (n,)."""
        small: NDArray[np.bool_] = self._packs(quantity) @ self.price < self.seller.minimum_order
        return small

    def _packs(self, quantity: IntArray) -> IntArray:
        packs: IntArray = -(-quantity[:, self.parts] // (self.pack * THOUSAND))
        return packs

    def _more(self, packs: IntArray, short: IntArray) -> IntArray:
        """Return the least that more packs of what an order holds cost that make up for a value that is short, (n,)."""
        least = np.zeros(len(packs), dtype=np.int64)
        rows = np.flatnonzero((short > 0) & packs.any(axis=1))
        if rows.size:
            key = np.column_stack([short[rows], packs[rows] > 0])
            distinct, place = np.unique(key, axis=0, return_inverse=True)
            costs = [least_above(int(x[0]), tuple(sorted({*self.price[x[1:] > 0].tolist()}))) for x in distinct]
            least[rows] = np.array(costs, dtype=np.int64)[place.ravel()]
        return least


@lru_cache(maxsize=4096)
def least_above(least: int, prices: tuple[int, ...]) -> int:
    """Return the least sum of prices, each as often as need be, that is not below a value [minor units].

    NEVER where all are free. Sums that can be reached are the bits of one number; above EXACTLY, of one price alone.
    """
    some = [x for x in prices if x > 0]
    if not some:
        return NEVER
    if least > EXACTLY:
        return min(-(-least // x) * x for x in some)
    most = least + max(some)
    reached = 1
    for price in some:
        step = price
        while step <= most:  # once, then twice, then four times the price more
            reached |= reached << step
            step *= 2
        reached &= (1 << (most + 1)) - 1
    above = reached >> least
    return least + (above & -above).bit_length() - 1


def make_senders(
    parts: Sequence[str], consumable: Sequence[bool], priced: Mapping[str, Priced], sellers: Mapping[str, Seller]
) -> tuple[Sender, ...]:
    """Return the sellers that parts of a bench come from, by name; consumables come from none."""
    by_seller: dict[str, list[int]] = {}
    for i, name in enumerate(parts):
        found = priced.get(name)
        if found is not None and found.offer is not None and not consumable[i]:
            by_seller.setdefault(found.offer.seller, []).append(i)
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
