"""Selection: which of many finds to take under limits of bench hours, cash, places and kilometres.

A multidimensional 0/1 knapsack. The duals of its linear relaxation are prices of the limits: they rank the finds, bound
what any choice is worth, and settle finds that a better choice can't decide otherwise. What they leave open is searched
near the bound (`nearby.best_near`) and, where that is too much to list, by HiGHS (`integer.solve`). The relaxation's
floats only suggest: every bound that settles a find and every sum that is told is of whole numbers.

References:
    M. L. Fisher, The Lagrangian relaxation method for solving integer programming problems, Management Science 27
    (1981) 1-18: the bound by prices of the limits.
    H. Kellerer, U. Pferschy, D. Pisinger, Knapsack Problems, Springer 2004, chapters 3 and 9: fixing by such a bound.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.integer import EXACT, OPTIMAL, Row, solve
from econ.money import IntArray, Numbers
from econ.nearby import TooManyError, best_near

GAP = 0.001  # of the value that may be left open [1]; judgement: far below what the value of a find is known to
BRANCHES = 20_000  # branches HiGHS may look at before it stops without proof; judgement: seconds
FINE = 1 << 128  # parts of a minor unit that prices are held in, finer than floats tell them
WHOLE = 1 - 1e-6  # a share of a find that the relaxation means to be 1
MANY = 20_000  # finds from which those are left out first that no good choice has; judgement
PARTS = 1 << 16  # parts of a minor unit in which prices are held at most where finds are many
AGAIN = 2  # times those that gave the prices, up to which the finds kept are not looked at again; judgement
AT_ONCE = 1 << 17  # finds looked at at a time where each is looked at by itself: memory
CHUNK = 256  # finds compared with all others at a time: memory
FIRST = 16  # finds that may be decided otherwise in the first look near the bound; judgement
Floats = NDArray[np.float64]
Taken = NDArray[np.bool_]
Places = NDArray[np.intp]
Wholes = NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Selection:
    """What to take. Finds are told by their place among those given, rising.

    value: what the chosen leave together [minor units]; used: (k,) what they take of each limit [its units]; bound: no
    choice is worth more [minor units]. prices: (k,) what one more unit of each limit would bring if finds could be
    taken in part [minor units per unit]. ranked: for comparison, the finds taken by value per unit of the first limit,
    highest first, each that still fits; ranked_value: what they leave [minor units].

    Before the last search, fixed_in and fixed_out finds were settled (out also those that leave nothing or exceed a
    limit alone), dominated ones left out for others as good, and the rest searched. All four are 0 where the
    relaxation alone shows the gap to be small enough.
    """

    chosen: IntArray
    value: int
    used: tuple[int, ...]
    bound: int
    prices: tuple[float, ...]
    ranked: IntArray
    ranked_value: int
    fixed_in: int = 0
    fixed_out: int = 0
    dominated: int = 0
    searched: int = 0

    @property
    def gap(self) -> float:
        """Return by what share of its value a better choice might exceed this one [1]."""
        return self.bound / self.value - 1 if self.value else 0.0

    @property
    def proven(self) -> bool:
        """Return whether no choice is worth more."""
        return self.bound == self.value


@dataclass(frozen=True)
class _Finds:
    """Finds: value (n,), needs (k, n), limits (k,), all whole.

    But for those as given, each fits and leaves something, and they stand highest value first, among equal ones the
    least needs: one that stands later is never worth more.
    """

    value: Numbers
    needs: Numbers
    limits: IntArray

    def worth(self, taken: Taken | Places) -> int:
        return int(self.value[taken].sum(dtype=np.int64))

    def sums(self, taken: Taken | Places) -> IntArray:
        """Return what some finds take together of each limit (k,)."""
        return np.array([row[taken].sum(dtype=np.int64) for row in self.needs], dtype=np.int64)

    def at(self, places: Places) -> _Finds:
        """Return the finds at some places, in that order."""
        return _Finds(self.value[places].astype(np.int64), self.needs[:, places].astype(np.int64), self.limits)

    def each(self, places: Places, of: Callable[[_Finds], NDArray[Any]]) -> NDArray[Any]:
        """Return what `of` tells of each of the finds at some places by itself (n,)."""
        found = np.empty(len(places), of(self.at(places[:0])).dtype)
        for start in range(0, len(places), AT_ONCE):
            found[start : start + AT_ONCE] = of(self.at(places[start : start + AT_ONCE]))
        return found

    def within(self, which: Taken, taken: Taken) -> _Finds:
        """Return some of the finds under what others taken leave of the limits."""
        return _Finds(self.value[which], self.needs[:, which], self.limits - self.sums(taken))

    def fill(self, order: NDArray[np.intp]) -> Taken:
        """Take the finds in an order, each that still fits."""
        taken, left = np.zeros(len(self.value), bool), self.limits
        while order.size:
            order = order[(self.needs[:, order] <= left[:, None]).all(axis=0)]  # what does not fit now never will
            sums = self.needs[:, order].cumsum(axis=1)
            fit = int((sums <= left[:, None]).all(axis=0).sum())  # the first ones, until one is too much
            if fit:
                taken[order[:fit]], left = True, left - sums[:, fit - 1]
            order = order[fit:]
        return taken

    def margins(self, prices: Floats) -> tuple[Wholes, int]:
        """Return each find's margin at the prices (n,) and the bound on any choice [parts `FINE` of a minor unit].

        Of whole numbers without end, so that both hold whatever the prices are.
        """
        parts = [int(p * FINE) for p in prices.tolist()]
        margin = self.value.astype(object) * FINE
        for part, row in zip(parts, self.needs, strict=True):
            margin = margin - part * row.astype(object)
        limits = sum(part * limit for part, limit in zip(parts, self.limits.tolist(), strict=True))
        return margin, limits + int(np.maximum(margin, 0).sum())

    def dominated(self) -> Taken:
        """Return the finds that can be left out for others as good (n,).

        A find may not fit with all that leave no less and need no more: a choice that takes it lacks one of them.
        """
        # To take that one instead is no worse and keeps the limits. Each such exchange is for one earlier in the order
        # (of equal finds, too), so they come to an end, at a choice as good without any of the finds returned here.
        found = np.zeros(len(self.value), bool)
        place, needs = np.arange(len(self.value)), self.needs.astype(float)  # exact: their sums are below `EXACT`
        for start in range(0, len(found), CHUNK):
            some = slice(start, start + CHUNK)
            as_good = place[: start + CHUNK] < place[some, None]
            for row in self.needs:
                as_good &= row[: start + CHUNK] <= row[some, None]
            together = as_good @ needs[:, : start + CHUNK].T + needs[:, some].T
            found[some] = (together > self.limits).any(axis=1)
        return found

    def earliest(self, taken: Taken) -> Taken:
        """Return a choice that takes the earlier of finds equal in value and needs."""
        every = np.vstack([self.value, self.needs])
        starts = np.flatnonzero(np.append(True, (np.diff(every) != 0).any(axis=0)))[: len(taken)]
        sizes = np.diff(np.append(starts, len(taken)))
        place = np.arange(len(taken)) - np.repeat(starts, sizes)
        earlier: Taken = place < np.repeat(np.add.reduceat(taken, starts, dtype=np.int64), sizes)
        return earlier


def select(value: Numbers, needs: Numbers, limits: IntArray, gap: float = GAP, nodes: int = BRANCHES) -> Selection:
    """Return the finds worth most together that keep every limit, to within a share `gap` of what they are worth.

    value: (n,), what each find leaves [minor units]; one that leaves nothing is never taken. needs: (k, n), what each
    takes of each limit; limits: (k,) int64, how much there is [whole units of its own for each limit:
    thousandths of an hour, minor units, places, metres]. gap: at least 0 [1]; with 0 the choice is proven best. nodes:
    branches HiGHS looks at, at least 1; where they run out, the best found is returned with the gap that is proven.

    The choice does not depend on the order of the finds; of finds equal in value and needs the earlier are taken.
    Raises ValueError where shapes don't match, a need or limit is negative, or numbers add up to 2**53 or more;
    ArithmeticError where HiGHS fails on the relaxation.
    """
    _check(value, needs, limits, gap, nodes)
    given = _Finds(value, needs, limits)
    able = value > 0
    for row, limit in zip(needs, limits, strict=True):
        able &= row <= limit
    own = np.flatnonzero(able)
    needed = given.sums(able)
    if (needed < limits).all():  # there is enough for all, without limits as well
        worth = given.worth(able)
        return Selection(own, worth, tuple(needed.tolist()), worth, (0.0,) * len(limits), own, worth)
    ranked = _by_rate(given, own)
    ranked_value = given.worth(ranked)
    own = _kept(given, own, ranked)
    own = own[_by_value(given, own)]  # all below is in this order, whatever was given
    finds, by_rate = given.at(own), np.isin(own, ranked)
    prices, share = _relaxed(finds)
    margin, upper = finds.margins(prices)
    floored = finds.fill(np.lexsort((-margin.astype(float), share < WHOLE)))
    best = max(floored, by_rate, key=finds.worth)
    bound, counts = upper // FINE, (0, 0, 0, 0)
    part, whole = gap.as_integer_ratio()
    for search in (_near, _by_highs):  # the second knows a better choice to settle finds by
        worth = finds.worth(best)
        slack = worth * part // whole
        if bound <= worth + slack:
            break
        inside, left, lost, counts = _settle(finds, prices, worth + slack)
        rest, base = finds.within(left, inside), finds.worth(inside)
        if rest.limits.min(initial=0) < 0:  # what every better choice takes does not fit: there is none
            most = worth
        else:
            taken, most = search(rest, prices, worth - base, slack, nodes)
            if taken is not None:
                inside[np.flatnonzero(left)[taken]] = True
                best = max(best, inside, key=finds.worth)
            most += base
        bound = min(bound, max(most, lost, finds.worth(best)))
    best, (fixed_in, fixed_out, dominated, searched) = finds.earliest(best), counts
    return Selection(
        chosen=np.sort(own[best]),
        value=finds.worth(best),
        used=tuple(finds.sums(best).tolist()),
        bound=bound,
        prices=tuple(prices.tolist()),
        ranked=ranked,
        ranked_value=ranked_value,
        fixed_in=fixed_in,
        fixed_out=fixed_out + len(value) - len(own) if any(counts) else 0,
        dominated=dominated,
        searched=searched,
    )


def _by_value(finds: _Finds, some: Places) -> Places:
    """Return the order of some finds: highest value first, then least needs, then as they were given."""
    order: Places = np.lexsort((*finds.needs[::-1, some], -finds.value[some]))
    return order


def _first(finds: _Finds, some: Places, worth: Floats | Numbers, most: int) -> Places:
    """Return the finds of highest worth, in the order of it, of equal ones that of `_by_value`. most: how many.

    some: finds, rising. worth: of each of them. Only those that may be among the first are sorted: memory.
    """
    if len(some) > most:
        least = np.partition(worth, len(some) - most)[len(some) - most] if most else np.inf
        some, worth = some[worth >= least], worth[worth >= least]
    order = _by_value(finds, some)
    first: Places = some[order[np.argsort(-worth[order], kind="stable")[:most]]]
    return first


def _by_rate(finds: _Finds, some: Places) -> Places:
    """Return what is taken of some finds, rising, by value per unit of the first limit: the best first, if it fits."""
    taken, limits, most = np.zeros(len(finds.value), bool), finds.limits, max(MANY, 1)
    while some.size:
        first = _first(finds, some, finds.each(some, _per_unit), most)
        block = replace(finds.at(first), limits=limits)
        fit = block.fill(np.arange(len(first)))
        taken[first[fit]], limits = True, limits - block.sums(fit)
        seen = np.zeros(len(taken), bool)
        seen[first] = True
        some = some[~seen[some]]
        for row, limit in zip(finds.needs, limits, strict=True):  # what does not fit now never will
            some = some[row[some] <= limit]
        most *= 2
    return np.flatnonzero(taken)


def _kept(finds: _Finds, own: Places, known: Places) -> Places:
    """Return the finds that a choice may have that is worth as much as one known, and that one's; of a long list only.

    Prices of the limits, those of the finds that are best by themselves and for each limit, bound what any choice with
    a find is worth, in whole parts of a minor unit: they need not be the best prices to be right. Where they leave
    many, the finds that are worth most at them are looked at with the others, which moves the prices.
    """
    if len(own) <= MANY:
        return own
    found = [_first(finds, own, finds.value[own], MANY)]
    found += [_first(finds, own, finds.each(own, partial(_rate, i)), MANY) for i in range(len(finds.needs))]
    first = np.unique(np.concatenate(found))
    parts = max(min(PARTS, (1 << 58) // int(finds.value[own].sum(dtype=np.int64))), 1)  # so that no sum is too long
    least, most = finds.worth(known) * parts, max(MANY, 1)
    while True:
        best = finds.at(first[_by_value(finds, first)])
        prices, share = _relaxed(best)
        whole = np.floor(prices * parts).astype(np.int64)
        margins = partial(_margins, prices=whole, parts=parts)
        margin = finds.each(own, margins)
        upper = int(whole @ finds.limits) + int(np.maximum(margin, 0).sum())
        taken = best.fill(np.lexsort((-margins(best), share < WHOLE)))
        least = max(least, best.worth(taken) * parts)
        more = _first(finds, own, margin, most)
        own = np.union1d(own[margin >= least - upper], known)
        if len(own) <= AGAIN * len(first):
            return own
        first, most = np.union1d(first, more), 2 * most  # so that looks are few


def _rate(limit: int, finds: _Finds) -> Floats:
    rate: Floats = finds.value / np.maximum(finds.needs[limit], 1)
    return rate


def _margins(finds: _Finds, prices: IntArray, parts: int) -> IntArray:
    """Return each find's margin at prices (k,), both in so many parts of a minor unit."""
    margin: IntArray = finds.value * parts - prices @ finds.needs
    return margin


def _check(value: Numbers, needs: Numbers, limits: IntArray, gap: float, nodes: int) -> None:
    if value.ndim != 1 or limits.ndim != 1 or needs.shape != (len(limits), len(value)):
        shapes = f"{value.shape}, {needs.shape} and {limits.shape}"
        raise ValueError(f"value, needs and limits must be of shapes (n,), (k, n) and (k,), not {shapes}")
    for name, numbers in (("value", value), ("needs", needs), ("limits", limits)):
        if numbers.dtype != np.int64 and (numbers.dtype != np.int32 or name == "limits"):
            raise ValueError(f"{name} must be int64, not {numbers.dtype}")
        if name != "value" and numbers.min(initial=0) < 0:
            raise ValueError(f"{name} must not be negative")
    if any(_adds_up(row) >= EXACT for row in (value, *needs)):
        raise ValueError(f"value, and the needs of each limit, must add up to less than 2**53 = {EXACT}")
    if limits.max(initial=0) >= EXACT:
        raise ValueError(f"limits must be below 2**53 = {EXACT}")
    if not 0 <= gap < np.inf:
        raise ValueError(f"gap must be a number from 0 up, not {gap}")
    if nodes < 1:
        raise ValueError(f"nodes must be at least 1, not {nodes}")


def _adds_up(row: Numbers) -> int:
    """Return what the sizes of numbers add up to, or more where that is far below `EXACT`."""
    most = max(abs(int(row.max(initial=0))), abs(int(row.min(initial=0)))) * len(row)
    return most if most < EXACT else sum(map(abs, row.tolist()))


def _relaxed(finds: _Finds) -> tuple[Floats, Floats]:
    """Return prices of the limits (k,), at least 0, and the share of each find taken (n,) if any share might be."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    if not finds.needs.size:
        return np.zeros(len(finds.limits)), np.ones(len(finds.value))
    # In parts of the largest, so that HiGHS's tolerances, which are absolute, mean the same for any units.
    unit, units = finds.value.max(), finds.needs.max(axis=1).clip(1)
    found = linprog(
        -finds.value / unit,
        A_ub=csr_array(finds.needs / units[:, None]),
        b_ub=finds.limits / units,
        bounds=(0, 1),
        method="highs",
    )
    if found.status != OPTIMAL:
        raise ArithmeticError(found.message)
    return np.maximum(-found.ineqlin.marginals, 0.0) * unit / units, found.x


def _per_unit(finds: _Finds) -> Floats:
    """Return value per unit of the first limit (n,), infinite for a find that needs none of it."""
    ratio = np.full(len(finds.value), np.inf)
    np.divide(finds.value, finds.needs[0], out=ratio, where=finds.needs[0] > 0)
    return ratio


def _settle(finds: _Finds, prices: Floats, target: int) -> tuple[Taken, Taken, int, tuple[int, int, int, int]]:
    """Return the finds that every choice worth more than `target` takes, and those it leaves open.

    Also a bound on all other choices, and how many finds are in, out, dominated and open.
    """
    margin, upper = finds.margins(prices)
    others = upper - np.abs(margin)  # no choice that decides the find otherwise than by its margin is worth more
    settled = (others < (target + 1) * FINE).astype(bool)
    lost = int(others[settled].max() // FINE) if settled.any() else 0
    inside = settled & (margin > 0).astype(bool)
    room = finds.limits - finds.sums(inside)
    left = ~settled & (finds.needs <= room[:, None]).all(axis=0)
    out = len(left) - int(inside.sum()) - int(left.sum())
    rest = finds.within(left, inside)
    beaten = rest.dominated()
    left[left] = ~beaten
    return inside, left, lost, (int(inside.sum()), out, int(beaten.sum()), int(left.sum()))


def _near(rest: _Finds, prices: Floats, beat: int, slack: int, _: int) -> tuple[Taken | None, int]:
    """Return a choice worth more than `beat`, if one is found near the bound, and a bound on all choices.

    The loss looked at grows until the bound is within `slack` of the best, or there are too many choices to list.
    """
    margin, upper = rest.margins(prices)
    usual = (margin > 0).astype(bool)
    room = rest.limits - rest.needs[:, usual].sum(axis=1)
    best, bound = None, upper // FINE
    floats = (margin / FINE).astype(float)
    loss = int(np.sort(np.abs(margin))[:FIRST].max(initial=FINE))
    while bound > beat + slack:
        loss = min(loss, upper - (beat + 1) * FINE)  # what loses more is worth no more than `beat`
        try:
            flips = best_near(rest.value, rest.needs, room, floats, prices, loss / FINE)
        except TooManyError:
            break
        if flips is not None and rest.worth(usual ^ flips) > beat:
            best, beat = usual ^ flips, rest.worth(usual ^ flips)
        bound = max(beat, -((loss - upper) // FINE) - 1)  # all others are worth less than upper - loss
        loss = loss * 5 // 4  # lists grow some four times by it at their largest
    return best, bound


def _by_highs(rest: _Finds, prices: Floats, _: int, slack: int, nodes: int) -> tuple[Taken | None, int]:
    """Return the best choice that HiGHS finds, if any, and a bound within `slack` of it unless the nodes run out."""
    bound = rest.margins(prices)[1] // FINE
    rows = [
        Row({j: need for j, need in enumerate(row) if need}, most=limit)
        for row, limit in zip(rest.needs.tolist(), rest.limits.tolist(), strict=True)
    ]
    try:
        found = solve((-rest.value).tolist(), [1] * len(rest.value), rows, nodes, slack / max(bound, 1))
    except ArithmeticError:  # nothing found within the nodes, or HiGHS failed: what is known holds all the same
        found = None
    if found is None:
        return None, bound
    return np.array(found.values, bool), min(bound, -found.bound)
