"""States: what a set of faults does to a machine's service, life, price and claims, for many sets at once.

A set of faults is a whole number, bit i standing for fault i of those in play.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.rulebook import MachineClass

Floats = NDArray[np.float64]
Masks = NDArray[np.int64]

FAILS_FROM = 0.1  # a visible fault that costs this share of service or more fails the release check [1]; judgement


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

    @property
    def failing(self) -> int:
        """The faults that fail the release check, as a mask."""
        return mask_of(np.flatnonzero(self.fails))


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


def mask_of(numbers: Iterable[int]) -> int:
    """Return fault numbers as a mask."""
    total = 0
    for i in numbers:
        total |= 1 << int(i)
    return total


def numbers_in(mask: int) -> list[int]:
    """Return the fault numbers in a mask, rising."""
    return [i for i in range(mask.bit_length()) if mask >> i & 1]


def fault_table(c: MachineClass, ids: Sequence[str]) -> FaultTable:
    """Return the figures of faults in the order given."""
    rows = [c.faults[i] for i in ids]

    def column(name: str) -> Floats:
        return np.array([getattr(row, name) for row in rows], dtype=float)

    hidden = np.array([row.hidden for row in rows], dtype=bool)
    loss = column("service_loss")
    return FaultTable(
        tuple(ids),
        loss,
        column("fatal_chance"),
        column("claim_chance"),
        column("as_is_share"),
        column("parts_loss"),
        hidden,
        ~hidden & (loss >= FAILS_FROM),
    )


def effects(table: FaultTable, masks: Masks) -> Effects:
    """Return what each set of faults, masks (k,), leaves of service, life, price, parts and unclaimed sales."""
    n = len(table.ids)
    present = (masks[:, None] >> np.arange(n)[None, :] & 1).astype(bool)

    def product(loss: Floats) -> Floats:
        result: Floats = np.where(present, 1.0 - loss, 1.0).prod(axis=1)
        return result

    return Effects(
        product(table.service_loss),
        product(table.fatal_chance),
        product(1.0 - table.as_is_share),
        product(np.where(table.hidden, 0.0, 1.0 - table.as_is_share)),
        product(table.parts_loss),
        product(np.where(table.hidden, table.claim_chance, 0.0)),
    )
