"""Stopping: what the plan sees, and what to stop with each course is worth in given evidence.

A check is a `Look`, a course a `Choice`, parts ordered today a `Kit`. What a course is worth is linear in the weights
of the states, but for tracing, which costs by the entropy of what fails. Money in minor units, weights unnormalised.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Truths = NDArray[np.bool_]


@dataclass(frozen=True)
class Look:
    """A check as the plan sees it.

    rows: (results, m) P(result | state). cost: its own time [money]. operations: what it needs, shared and paid once.
    requires: ids of checks that must come first. holds: for each result, the holds it opens; () where none ever does.
    put_back: closing it again [money]; drop: share of the as-is price lost. runs: the engine must run for it, so that
    an open hold bars it.
    """

    id: str
    rows: Floats
    cost: float = 0.0
    operations: frozenset[str] = frozenset()
    requires: frozenset[str] = frozenset()
    holds: tuple[frozenset[str], ...] = ()
    put_back: float = 0.0
    drop: float = 0.0
    runs: bool = False


@dataclass(frozen=True)
class Choice:
    """A course as the plan sees it.

    worth: (m,) net worth in each state, before tracing. given_up: (m,) if what was missed is not traced; None: it
    always is. fails: (m, groups) chance of each set of failing faults, for tracing. credit: operation -> what is saved
    if a check has done it [money]. shuts: pays for closing what was opened. sale: (m,) as-is price the drop applies to.
    keeps: can't be taken under a hold. mends: hold -> what it costs besides once it is open, as its own jobs don't
    clear it [money].
    """

    name: str
    worth: Floats
    given_up: Floats | None = None
    fails: Floats | None = None
    credit: Mapping[str, float] | None = None
    shuts: bool = False
    sale: Floats | None = None
    keeps: bool = False
    mends: Mapping[str, float] | None = None


@dataclass(frozen=True)
class Kit:
    """Parts ordered today, as the plan sees it: what that adds to each choice, choices in their order [money].

    worth: (choices, m), in each state. given_up: (choices,), where what was missed is given up.
    """

    worth: Floats
    given_up: Floats


@dataclass(frozen=True)
class Suspect:
    """A fault that opens a hold once it is likely. present: (m,) 1 where it is, else 0; share: from which chance."""

    hold: str
    present: Floats
    share: float


@dataclass(frozen=True)
class Block:
    """Everything linear in the weights, for the evidence states of one set of checks; last axis: columns."""

    mass: Floats
    table: Floats


class Columns:
    """The choices laid side by side, so that one product with the weights serves them all.

    What a kit adds to a choice is a column only where it differs from state to state.
    """

    def __init__(
        self,
        weights: Floats,
        choices: Sequence[Choice],
        trace_cost: float,
        kits: Sequence[Kit] = (),
        suspects: Sequence[Suspect] = (),
    ) -> None:
        self.choices, self.trace_cost, self.suspects = choices, trace_cost, suspects
        parts: list[Floats] = []
        self.at: list[dict[str, slice]] = []
        place = 0
        for c in choices:
            here: dict[str, slice] = {}
            for name, column in (("worth", c.worth), ("given_up", c.given_up), ("sale", c.sale), ("fails", c.fails)):
                if column is None:
                    continue
                block = column.reshape(weights.size, -1)
                here[name] = slice(place, place + block.shape[1])
                place += block.shape[1]
                parts.append(block)
            self.at.append(here)
        self.kits = len(kits)
        self.same, self.given_up = np.zeros((2, 1 + len(kits), len(choices)))
        self.varies: list[tuple[int, int, int]] = []
        for k, kit in enumerate(kits, 1):
            self.same[k], self.given_up[k] = kit.worth[:, 0], kit.given_up
            for i in np.flatnonzero(np.ptp(kit.worth, axis=1) > 0).tolist():
                self.same[k, i] = 0.0
                self.varies.append((k, i, place))
                place += 1
                parts.append(kit.worth[i, :, None])
        self.suspected = place
        parts += [x.present[:, None] for x in suspects]
        self.weighted = np.concatenate([weights[:, None], *(p * weights[:, None] for p in parts)], axis=1)

    def block(self, rows: Floats) -> Block:
        """Return the block of evidence rows (e, m): likelihoods of results, not yet weighted."""
        product = rows @ self.weighted
        return Block(product[:, 0], product[:, 1:])

    def opened(self, b: Block, made: Sequence[Look]) -> dict[str, Truths]:
        """Return for each hold that may be open whether it is, at each state of evidence: by a result or a fault."""
        found = {hold: x.reshape(b.mass.shape) for hold, x in opened_by(made).items()}
        for i, x in enumerate(self.suspects):
            likely = (b.table[..., self.suspected + i] >= x.share * b.mass) & (b.mass > 0)
            found[x.hold] = found[x.hold] | likely if x.hold in found else likely
        return found

    def stop(self, b: Block, made: Sequence[Look], opened: Mapping[str, Truths]) -> Floats:
        """Return the value of each choice at each evidence state without a kit and with each, (1 + kits, choices, ...).

        Unnormalised. opened: for each hold that may be open, whether it is, at each state.
        """
        done = frozenset(o for look in made for o in look.operations)
        shut = sum(look.put_back for look in made)
        drop = 1.0 - float(np.prod([1.0 - look.drop for look in made]))
        held = any_open(opened)
        shape = (len(self.choices), *b.mass.shape)
        worth, given_up, more = np.empty(shape), np.full(shape, -np.inf), np.zeros(shape)
        for i, (c, at) in enumerate(zip(self.choices, self.at, strict=True)):
            worth[i] = b.table[..., at["worth"].start]
            if "fails" in at:
                worth[i] -= self.trace_cost * bits(b.table[..., at["fails"]])
            if "given_up" in at:
                given_up[i] = b.table[..., at["given_up"].start]
            saved = sum(x for o, x in (c.credit or {}).items() if o in done)
            more[i] = (saved - (shut if c.shuts else 0.0)) * b.mass
            if "sale" in at:
                more[i] -= drop * b.table[..., at["sale"].start]
            for hold, price in (c.mends or {}).items():
                if price and hold in opened:
                    more[i] -= price * opened[hold] * b.mass
            if c.keeps:
                more[i] = np.where(held, -np.inf, more[i])
        out = np.empty((1 + self.kits, *shape))
        out[0] = np.maximum(worth, given_up) + more
        if self.kits:
            every = self.same[1:].reshape(self.kits, -1, *(1,) * b.mass.ndim) * b.mass + worth
            for k, i, place in self.varies:
                every[k - 1, i] += b.table[..., place]
            none = self.given_up[1:].reshape(self.kits, -1, *(1,) * b.mass.ndim) * b.mass + given_up
            out[1:] = np.maximum(every, none) + more
        return out


def bits(seen: Floats) -> Floats:
    """Return mass x entropy [bits] of the weights along the last axis; nothing there costs nothing."""
    total = seen.sum(axis=-1, keepdims=True)
    share = np.divide(seen, total, out=np.ones_like(seen), where=(total > 0) & (seen > 0))
    bits: Floats = -(seen * np.log2(share)).sum(axis=-1)
    return bits


def opened_by(made: Sequence[Look]) -> dict[str, Truths]:
    """Return for each hold that results may open whether it is open, at each combination of results."""
    found: dict[str, Truths] = {}
    shape = [look.rows.shape[0] for look in made]
    for axis, look in enumerate(made):
        for hold in frozenset().union(*look.holds):
            mine = np.array([hold in x for x in look.holds]).reshape([-1 if i == axis else 1 for i in range(len(made))])
            found[hold] = found.get(hold, np.zeros(shape, dtype=bool)) | mine
    return found


def any_open(opened: Mapping[str, Truths]) -> Truths:
    """Return whether any hold is open."""
    return np.logical_or.reduce(list(opened.values())) if opened else np.zeros((), dtype=bool)
