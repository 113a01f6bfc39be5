"""States: what a set of faults does to a machine's service, life, price and claims, for many sets at once.

A set of faults is a whole number, bit i standing for fault i of those in play.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.rulebook import MachineClass

Floats = NDArray[np.float64]
Masks = NDArray[np.int64]

FAILS_FROM = 0.1  # a visible fault that costs this share of service or more fails the release check [1]; judgement
KEPT = 8  # effects of whole arrays of sets of faults that are kept
HIDDEN_FAILS_FROM = 0.5  # so does a hidden one of this loss: the test run shows that something is wrong; judgement


@dataclass(frozen=True)
class FaultTable:
    """Figures of n faults in bit order, (n,) each; see knowledge.Fault. fails: fails the release check."""

    ids: tuple[str, ...]
    service_loss: Floats
    fatal_chance: Floats
    claim_chance: Floats
    as_is_share: Floats
    parts_loss: Floats
    hidden: NDArray[np.bool_]
    fails: NDArray[np.bool_]

    @cached_property
    def tables(self) -> dict[str, list[Floats]]:
        """For each effect, what every set of faults leaves, by eight faults at a time: [(256,), (256,), ...]."""
        losses = {
            "service": self.service_loss,
            "survive": self.fatal_chance,
            "price": 1.0 - self.as_is_share,
            "seen_price": np.where(self.hidden, 0.0, 1.0 - self.as_is_share),
            "parts": self.parts_loss,
            "unclaimed": np.where(self.hidden, self.claim_chance, 0.0),
        }
        return {name: _by_eights(loss) for name, loss in losses.items()}

    @cached_property
    def last(self) -> dict[int, tuple[Masks, Effects]]:
        """The effects of the sets of faults that were asked for last: the same ones are, machine after machine."""
        return {}

    @cached_property
    def failing(self) -> int:
        """The faults that fail the release check, as a mask."""
        return mask_of(np.flatnonzero(self.fails))

    @cached_property
    def costly(self) -> int:
        """The faults, hidden ones too, that cost a share of service that counts, as a mask."""
        return mask_of(np.flatnonzero(self.service_loss >= FAILS_FROM))


@dataclass(frozen=True)
class Effects:
    """What k sets of faults leave, (k,) each [1].

    service, survive: of service and of life. price: of the price when all of them are disclosed. seen_price: of the
    price when only the visible ones are. parts: of the part-out value. unclaimed: chance that no buyer comes back.
    """

    service: Floats
    survive: Floats
    price: Floats
    seen_price: Floats
    parts: Floats
    unclaimed: Floats

    def disclosed(self, steepness: Any) -> Floats:
        """Return the share of the price that is left when all faults are disclosed, (k,) or (W, k).

        steepness: exponent on it, a number or a column.
        """
        if np.ndim(steepness):
            each: Floats = np.power(self.price, steepness)
            return each
        if steepness not in self._disclosed:
            self._disclosed[steepness] = np.power(self.price, steepness)
        return self._disclosed[steepness]

    @cached_property
    def _disclosed(self) -> dict[float, Floats]:
        return {}


def mask_of(numbers: Iterable[int]) -> int:
    """Return fault numbers as a mask."""
    total = 0
    for i in numbers:
        total |= 1 << int(i)
    return total


def numbers_in(mask: int) -> list[int]:
    """Return the fault numbers in a mask, rising."""
    return [i for i in range(mask.bit_length()) if mask >> i & 1]


def packed(chosen: int, n: int) -> Masks:
    """Return, for every set of n faults, the chosen ones of them packed into the lowest bits, (2^n,)."""
    table, place = np.zeros(1, dtype=np.int64), 0
    for i in range(n):
        if chosen >> i & 1:
            table = np.concatenate([table, table | 1 << place])
            place += 1
        else:
            table = np.concatenate([table, table])
    return table


def fault_table(c: MachineClass, ids: Sequence[str], found: Sequence[str] = ()) -> FaultTable:
    """Return the figures of faults in the order given; those found by opening are hidden no longer."""
    rows = [c.faults[i] for i in ids]

    def column(name: str) -> Floats:
        return np.array([getattr(row, name) for row in rows], dtype=float)

    hidden = np.array([row.hidden and i not in found for i, row in zip(ids, rows, strict=True)], dtype=bool)
    loss = column("service_loss")
    return FaultTable(
        tuple(ids),
        loss,
        column("fatal_chance"),
        column("claim_chance"),
        column("as_is_share"),
        column("parts_loss"),
        hidden,
        loss >= np.where(hidden, HIDDEN_FAILS_FROM, FAILS_FROM),
    )


def _by_eights(loss: Floats) -> list[Floats]:
    """Return products of (1 - loss) for every set of each eight faults."""
    tables = []
    for start in range(0, loss.size, 8):
        table = np.ones(1)
        for x in loss[start : start + 8]:
            table = np.concatenate([table, table * (1.0 - x)])
        tables.append(table)
    return tables


def effects(table: FaultTable, masks: Masks) -> Effects:
    """Return what each set of faults, masks (k,), leaves of service, life, price, parts and unclaimed sales."""
    known = table.last.get(id(masks))
    if known is not None and known[0] is masks:
        return known[1]
    eights = [masks >> start & 255 for start in range(0, len(table.ids), 8)]

    def product(name: str) -> Floats:
        total = np.ones(masks.size)
        for part, index in zip(table.tables[name], eights, strict=True):
            total *= part[index]
        return total

    found = Effects(*(product(name) for name in table.tables))
    table.last[id(masks)] = masks, found
    if len(table.last) > KEPT:
        del table.last[next(iter(table.last))]
    return found
