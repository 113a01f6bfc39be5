"""Ranked: finds that were screened, in tables one after the other, and their order over all of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from api.findtable import IntArray, ScreenedFind, find_of, stacked
from api.leftout import LeftOut
from api.screenlist import ScreenedList, left_out_rows
from econ.shortlist import Limits, Order, Shortlist

AT_ONCE = 1 << 17  # ranks made at a time: memory
SOME = 1 << 14  # finds of a list in one table put in order at a time, likewise


@dataclass(frozen=True)
class Ranked:
    """A list screened and ranked.

    tables: give the parts of the list, as `FindTable` has them; sizes: their rows. order: places of all finds over the
    parts, the first to buy first. read, left_out, notes: as in ScreenedList. rest: the
    rows at fault; None of a list in parts.
    """

    currency: str
    limits: Limits
    shortlist: Shortlist
    order: Order
    tables: Sequence[Callable[[], pd.DataFrame]]
    sizes: tuple[int, ...]
    read: int
    left_out: int
    rest: LeftOut | None
    notes: tuple[str, ...]

    @property
    def headline(self) -> str:
        """What to buy in a few sentences; or where no row is good, that."""
        if self.order.size or not self.left_out:
            return self.shortlist.headline
        rows = "the one row is" if self.left_out == 1 else f"all {self.left_out:,} rows are"
        return f"No find could be screened: {rows} at fault."

    @property
    def in_parts(self) -> bool:
        """Whether the list was read in parts."""
        return len(self.tables) > 1

    @cached_property
    def rank(self) -> Order:
        """The rank of each find over the parts, from 1, (n,)."""
        rank = np.empty_like(self.order)
        for start in range(0, self.order.size, AT_ONCE):
            places = self.order[start : start + AT_ONCE]
            rank[places] = np.arange(start + 1, start + 1 + places.size)
        return rank

    def first(self, most: int, after: int = 0) -> tuple[ScreenedFind, ...]:
        """Return the first finds in their order. most: how many; after: so many others."""
        places = self.order[after : after + most].astype(np.int64)
        starts = np.cumsum((0, *self.sizes))
        part = np.searchsorted(starts, places, side="right") - 1
        found: dict[int, ScreenedFind] = {}
        for p in np.unique(part).tolist():  # each part is got once
            table = self.tables[p]()
            for rank in np.flatnonzero(part == p).tolist():
                row = int(places[rank] - starts[p])
                found[rank] = find_of(table, row, self.currency, after + rank < self.shortlist.buy)
        return tuple(found[i] for i in range(len(found)))

    def each(self) -> Iterator[tuple[pd.DataFrame, IntArray]]:
        """Yield the finds as tables with their ranks: in their order, or where there are parts in that of the list."""
        if not self.in_parts:
            yield from self.best(self.order.size)
            return
        start = 0
        for table, size in zip(self.tables, self.sizes, strict=True):
            yield table(), self.rank[start : start + size].astype(np.int64)
            start += size

    def best(self, most: int) -> Iterator[tuple[pd.DataFrame, IntArray]]:
        """Yield the first finds in their order as tables with their ranks, at least one table. most: how many finds."""
        starts, whole = np.cumsum((0, *self.sizes)), None if self.in_parts else self.tables[0]()
        at_once = SOME if whole is not None else AT_ONCE  # as each part is got once for all of these
        for start in range(0, max(most, 1), at_once):
            places = self.order[start : min(start + at_once, most)].astype(np.int64)
            rank = np.arange(start + 1, start + 1 + places.size)
            if whole is not None:
                yield whole.iloc[places], rank
                continue
            part = np.searchsorted(starts, places, side="right") - 1
            some = [self.tables[p]().iloc[places[part == p] - starts[p]] for p in np.unique(part).tolist() or [0]]
            yield stacked(some).iloc[np.argsort(np.argsort(part, kind="stable"))], rank

    def answer(self, most: int | None = None) -> ScreenedList:
        """Return the answer. most: finds in it at most, those to buy aside; all where left out."""
        s, rest = self.shortlist, () if self.rest is None else left_out_rows(self.rest)
        finds = self.first(self.order.size if most is None else max(most, s.buy))
        return ScreenedList(
            self.headline, self.currency, self.limits, s, finds, self.read, self.left_out, rest, self.notes
        )
