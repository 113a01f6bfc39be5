"""Ordering: the basket of least total cost, by one whole-number program over all sellers.

A seller charges each order by its own shipping rule and may ask for a least value of goods; parts come in packs; the
machine waits for the slowest part.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from econ.integer import EXACT, Row, solve
from econ.landed import Basket, Market, count, most_spare, packs_for, spare_packs


class Program:
    """A whole-number program as it is written down: costs, which go first, and ties between equal costs."""

    def __init__(self) -> None:
        self.cost: list[int] = []
        self.tie: list[int] = []
        self.most: list[int] = []
        self.rows: list[Row] = []

    def add(self, cost: int, tie: int = 0, most: int = 1) -> int:
        """Add a variable; return its number."""
        self.cost.append(cost)
        self.tie.append(tie)
        self.most.append(most)
        return len(self.cost) - 1

    def rule(self, *sums: tuple[int, Iterable[int]], least: int | None = None, most: int | None = None) -> None:
        """Add a rule on sums of variables, each sum with a factor."""
        self.rows.append(Row({i: factor for factor, which in sums for i in which}, least, most))

    def solve(self, most_tie: int) -> tuple[tuple[int, ...], int] | None:
        """Return the values and by how much less others might cost, 0 where proven; most_tie: of any sensible values.

        Where amounts are too large to weigh ties in too, they are left to the order of the variables.
        """
        worst = sum(abs(c) * n for c, n in zip(self.cost, self.most, strict=True))
        unit = most_tie + 1 if (most_tie + 1) * worst < EXACT else 0
        scaled = [c * unit + t if unit else c for c, t in zip(self.cost, self.tie, strict=True)]
        found = solve(scaled, self.most, self.rows)
        if found is None:
            return None
        paid = sum(c * x for c, x in zip(self.cost, found.values, strict=True))
        return found.values, paid - found.bound // (unit or 1)


def least_basket(m: Market, hurdle: int = 0, most_sellers: int | None = None) -> Basket | None:
    """Return the basket of least total cost; None where so few sellers can't deliver it.

    hurdle: what each seller after the first must save beside its cost [minor units]. Of equal baskets the one of the
    fewest sellers is taken, then of the fewest packs, then of the sellers first by name.

    A way to order is open or not (binary); packs that cover the need and packs beyond it, which only lift the goods to
    what the way asks for, are whole numbers; old parts that go back are whole numbers; a day is waited for or not.
    """
    p, names = Program(), sorted({w.seller for w in m.ways})
    per_pack = 1 + sum(range(1, len(names) + 1))
    per_seller = per_pack * (1 + sum(m.needs.values()) + sum(most_spare(m, w) for w in m.ways))
    waits = sorted({i.wait for i in m.items} | {0})
    waited = {wait: p.add(wait - before) for before, wait in pairwise(waits)}
    for before, wait in pairwise(waited):
        p.rule((1, [waited[before]]), (-1, [waited[wait]]), least=0)

    covering: list[list[int]] = [[] for _ in m.items]  # by item: the variables of the packs that cover the need
    bought: list[list[int]] = [[] for _ in m.items]  # and of all packs

    def packs(k: int, weighed: bool, most: int) -> list[int]:
        i = m.items[k]
        bought[k].append(p.add(i.price + i.pack * i.core + weighed * i.by_weight, per_pack, most))
        return bought[k][-1:]

    opened = []
    for way in m.ways:
        opened.append(p.add(way.charge + hurdle, per_seller + 1 + names.index(way.seller)))
        needed, spare = [], []
        for k, i in enumerate(m.items):
            if i.seller != way.seller:
                continue
            most = packs_for(i, m.needs[i.offer.part])
            needed.append((i.price, packs(k, way.weighed, most)))
            covering[k] += needed[-1][1]
            p.rule((most, opened[-1:]), (-1, needed[-1][1]), least=0)
            beyond = spare_packs(i, way)
            if beyond:
                spare.append((i.price, packs(k, way.weighed, beyond)))
                if i.wait:
                    p.rule((beyond, [waited[i.wait]]), (-1, spare[-1][1]), least=0)
        if way.goods_from:
            p.rule(*needed, *spare, (-way.goods_from, opened[-1:]), least=0)
            enough = way.goods_from + max(price for price, _ in needed)
            p.rule((enough, opened[-1:]), *((-price, x) for price, x in spare), least=0)
    for name in names:
        p.rule((1, [y for y, way in zip(opened, m.ways, strict=True) if way.seller == name]), most=1)
    if most_sellers is not None:
        p.rule((1, opened), most=most_sellers)
    if hurdle:  # not asked of the first
        p.rule((1, opened), (-1, [p.add(-hurdle)]), least=0)

    for part, need in m.needs.items():
        here = [k for k, i in enumerate(m.items) if i.offer.part == part]
        for k in here:
            if not m.items[k].seller:
                covering[k] += packs(k, False, min(need, m.on_shelf[part]))
        p.rule(*((min(m.items[k].pack, need), covering[k]) for k in here), least=need)
        for wait in {m.items[k].wait for k in here} - {0}:
            slow = [x for k in here if m.items[k].wait >= wait for x in covering[k]]
            p.rule((need, [waited[wait]]), (-1, slow), least=0)
        returned = {k: p.add(-m.items[k].refund, 0, need) for k in here if m.items[k].refund}
        for k, variable in returned.items():
            p.rule((m.items[k].pack, bought[k]), (-1, [variable]), least=0)
        p.rule((1, returned.values()), most=need)

    found = p.solve(per_seller * (len(names) + 1))
    if found is None:
        return None
    values, gap = found
    return count(m, [sum(values[x] for x in variables) for variables in bought], gap)
