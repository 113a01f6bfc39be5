"""Near choices: the best of all choices whose worth is within a small loss of a bound.

With a price on each limit, every find has a margin: what it leaves less what its needs cost at those prices. To take
what has a positive margin attains the bound, though it may break a limit. Every other choice is worth less than the
bound by the margins, without sign, of the finds it decides otherwise and by the price of what it leaves of each limit.
So a choice of little loss decides few finds otherwise, and they nearly use up what has a price: those of each half of
the finds are listed, and the halves matched by what they take.

References:
    E. Horowitz, S. Sahni, Computing partitions with applications to the knapsack problem, Journal of the ACM 21 (1974)
    277-292: lists of two halves, matched.
    D. Pisinger, A minimal algorithm for the 0-1 knapsack problem, Operations Research 45 (1997) 758-767: only finds of
    small margin need be decided otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
from numpy.typing import NDArray

from econ.money import IntArray

STATES = 1 << 20  # sets of a half listed at most: memory; judgement
PAIRS = 1 << 21  # pairs compared at a time at most: memory; judgement
MATCHED = 4  # limits matched by cells at most: each doubles the look-ups; the others are checked pair by pair
ROUNDING = 1e-9  # of a loss: far more than the rounding of a sum of margins, so that none is missed
Floats = NDArray[np.float64]
Flips = NDArray[np.bool_]


class TooManyError(Exception):
    """There are more ways than can be listed."""


def best_near(
    value: IntArray, needs: IntArray, room: IntArray, margin: Floats, prices: Floats, loss: float
) -> Flips | None:
    """Return the finds to decide otherwise for the best choice of all that lose at most `loss`; None if there is none.

    value: (n,) [minor units]; needs: (k, n); room: (k,) what all finds of positive margin together leave of each limit,
    negative where they take too much; margin: (n,) and loss [minor units]; prices: (k,) at least 0 [minor units per
    unit]. Where none loses so little, one that loses more may be returned. Raises `TooManyError` where they are too
    many to list.
    """
    loss *= 1 + ROUNDING
    size = np.abs(margin)
    near = np.flatnonzero(size <= loss)
    near = near[np.argsort(-size[near], kind="stable")]  # the largest go with the fewest others: lists grow late
    sign = np.where(margin > 0, -1, 1)
    steps = np.vstack([value, needs]) * sign
    halves = near[0::2], near[1::2]
    ways = [_Ways(size[half], steps[:, half], loss) for half in halves]
    (a, b), best, found = (w.sums for w in ways), 0, None
    widest = np.array([loss / p * (1 + ROUNDING) + 1 if p > 0 else np.inf for p in prices.tolist()])
    for i, j in _pairs(a[1:], b[1:], room, widest):
        fits = (a[1:, i] + b[1:, j] <= room[:, None]).all(axis=0)
        if fits.any():
            i, j = i[fits], j[fits]
            gained = a[0, i] + b[0, j]
            top = int(gained.argmax())
            if found is None or gained[top] > best:
                best, found = gained[top], (int(i[top]), int(j[top]))
    if found is None:
        return None
    flips = np.zeros(len(value), bool)
    for half, way, which in zip(halves, ways, found, strict=True):
        flips[half[way.finds(which)]] = True
    return flips


class _Ways:
    """Every set of finds whose sizes add up to `loss` at most, the empty one first; sums: (1 + k, s) of their steps."""

    def __init__(self, size: Floats, steps: IntArray, loss: float) -> None:
        most = min(STATES, 1 << min(len(size), STATES.bit_length()))  # of few finds there are few sets
        lost = np.zeros(most)
        sums = np.zeros((len(steps), most), np.int64)
        # A set is told by the set it was made from and the find that was added.
        self.made_from, self.added = np.zeros(most, np.int32), np.zeros(most, np.int32)
        count = 1
        for find, more in enumerate(size):
            also = np.flatnonzero(lost[:count] + more <= loss)
            new = slice(count, count + len(also))
            if new.stop > most:
                raise TooManyError
            lost[new], sums[:, new] = lost[also] + more, sums[:, also] + steps[:, find, None]
            self.made_from[new], self.added[new] = also, find
            count = new.stop
        self.sums = sums[:, :count]

    def finds(self, which: int) -> list[int]:
        """Return the finds of a set."""
        found = []
        while which:
            found.append(int(self.added[which]))
            which = int(self.made_from[which])
        return found


def _pairs(a: IntArray, b: IntArray, room: IntArray, widest: Floats) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield the columns of a and of b among which is every pair with room - widest <= a + b <= room.

    The needs of b are sorted into cells as wide as what may be left of a limit, so that what goes with a column of a
    lies in two neighbouring cells of each limit.
    """
    low = b.min(axis=1, initial=0)
    spread = b.max(axis=1, initial=0) - low
    matched: list[int] = []
    cells = 1
    for k in np.argsort(-(spread / widest), kind="stable").tolist():
        count = int(spread[k] / widest[k]) + 2
        if spread[k] > widest[k] and len(matched) < MATCHED and cells * count < 1 << 62:
            matched.append(k)
            cells *= count
    wide = np.array([int(widest[k]) + 1 for k in matched], np.int64)[:, None]
    cell_b = (b[matched] - low[matched, None]) // wide
    cell_a = ((room[:, None] - a)[matched] - low[matched, None]) // wide
    most = cell_b.max(axis=1, initial=0)[:, None]
    factors = np.cumprod([1, *(most[:-1, 0] + 1)])[: len(matched), None]
    keys = (cell_b * factors).sum(axis=0)
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    for below in product((0, 1), repeat=len(matched)):
        cell = cell_a - np.array(below, np.int64)[:, None]
        valid = np.flatnonzero(((cell >= 0) & (cell <= most)).all(axis=0))
        wanted = (cell[:, valid] * factors).sum(axis=0)
        first = np.searchsorted(keys, wanted, "left")
        count_each = np.searchsorted(keys, wanted, "right") - first
        total = int(count_each.sum())
        if total > PAIRS:
            raise TooManyError
        starts = np.cumsum(count_each) - count_each
        yield np.repeat(valid, count_each), order[np.arange(total) + np.repeat(first - starts, count_each)]
