"""Plan: which check to make next, if any, and what to do at each result. A kernel on arrays.

Exact backward induction over the evidence lattice: for each set of checks made and each of their results, the better of
stopping with the best course and of making one more check. What it needs of a course in a given evidence is linear in
the weights of the states, but for tracing, which costs by the entropy of what fails; so all evidence comes from one
block in which every check is made, by adding results up. All money in minor units, weights unnormalised.

References: H. Raiffa, Decision Analysis, 1968; design of the lattice is our own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

EVIDENCE_STATES = 20_000  # most nodes of the lattice: product of (results + 1) over its checks
NO_ADVICE_BELOW = 1e-5  # chance under which a node gives no advice [1]
TIE = 1e-6  # of the larger value: below this to stop wins, then the earlier check


@dataclass(frozen=True)
class Look:
    """A check as the plan sees it.

    rows: (results, m) P(result | state). cost: its own time [money]. operations: what it needs, shared and paid once.
    requires: ids of checks that must come first. holds: for each result, what holding a machine then costs a repair
    [money], or None where it opens no hold. put_back: closing it again [money]; drop: share of the as-is price lost.
    """

    id: str
    rows: Floats
    cost: float = 0.0
    operations: frozenset[str] = frozenset()
    requires: frozenset[str] = frozenset()
    holds: tuple[float | None, ...] = ()
    put_back: float = 0.0
    drop: float = 0.0


@dataclass(frozen=True)
class Choice:
    """A course as the plan sees it.

    worth: (m,) net worth in each state, before tracing. given_up: (m,) if what was missed is not traced; None: it
    always is. fails: (m, groups) chance of each set of failing faults, for tracing. credit: operation -> what is saved
    if a check has done it [money]. shuts: pays for closing what was opened. sale: (m,) as-is price the drop applies to.
    keeps: can't be taken under a hold. mends: pays what an opened hold costs a repair.
    """

    name: str
    worth: Floats
    given_up: Floats | None = None
    fails: Floats | None = None
    credit: Mapping[str, float] | None = None
    shuts: bool = False
    sale: Floats | None = None
    keeps: bool = False
    mends: bool = False


@dataclass(frozen=True)
class Kit:
    """Parts ordered today, as the plan sees it: what that adds to each choice, choices in their order [money].

    worth: (choices, m), in each state. given_up: (choices,), where what was missed is given up.
    """

    worth: Floats
    given_up: Floats


@dataclass(frozen=True)
class Step:
    """A check by itself: one-step worth before its cost (EVSI), its cost with what it needs first, all [money]."""

    id: str
    worth: float
    cost: float


@dataclass(frozen=True)
class Node:
    """What to do at one point of the plan: a check with a node for each result, or a course (`stop`).

    chance: of coming here [1]; value: mean net worth from here, given that one is here [money].
    """

    chance: float
    value: float
    check: str | None
    stop: str | None
    results: tuple[tuple[int, Node], ...] = ()


@dataclass(frozen=True)
class Plan:
    """The best policy. value: with the plan; stopping: with the best course at once; perfect: if all were known.

    steps: every check by itself, best net first. left_out: checks that did not fit the lattice. first: the first check
    and its worth within the plan before its own cost.
    """

    value: float
    stopping: float
    perfect: float
    tree: Node
    steps: tuple[Step, ...]
    left_out: tuple[str, ...]
    first: Step | None


@dataclass(frozen=True)
class _Block:
    """Everything linear in the weights, for the evidence states of one set of checks; last axis: columns."""

    mass: Floats
    table: Floats


class _Columns:
    """The choices laid side by side, so that one product with the weights serves them all.

    What a kit adds to a choice is a column only where it differs from state to state.
    """

    def __init__(self, weights: Floats, choices: Sequence[Choice], trace_cost: float, kits: Sequence[Kit]) -> None:
        self.choices, self.trace_cost = choices, trace_cost
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
        self.weighted = np.concatenate([weights[:, None], *(p * weights[:, None] for p in parts)], axis=1)

    def block(self, rows: Floats) -> _Block:
        """Return the block of evidence rows (e, m): likelihoods of results, not yet weighted."""
        product = rows @ self.weighted
        return _Block(product[:, 0], product[:, 1:])

    def stop(self, b: _Block, made: Sequence[Look], held: Floats) -> Floats:
        """Return the value of each choice at each evidence state without a kit and with each, (1 + kits, choices, ...).

        Unnormalised. held: what holds cost a repair at each state [money], NaN where none is open.
        """
        done = frozenset(o for look in made for o in look.operations)
        shut = sum(look.put_back for look in made)
        drop = 1.0 - float(np.prod([1.0 - look.drop for look in made]))
        shape = (len(self.choices), *b.mass.shape)
        worth, given_up, more = np.empty(shape), np.full(shape, -np.inf), np.zeros(shape)
        for i, (c, at) in enumerate(zip(self.choices, self.at, strict=True)):
            worth[i] = b.table[..., at["worth"].start]
            if "fails" in at:
                worth[i] -= self.trace_cost * _bits(b.table[..., at["fails"]])
            if "given_up" in at:
                given_up[i] = b.table[..., at["given_up"].start]
            saved = sum(x for o, x in (c.credit or {}).items() if o in done)
            more[i] = (saved - (shut if c.shuts else 0.0)) * b.mass
            if "sale" in at:
                more[i] -= drop * b.table[..., at["sale"].start]
            if c.mends:
                more[i] -= np.nan_to_num(held) * b.mass
            if c.keeps:
                more[i] = np.where(np.isnan(held), more[i], -np.inf)
        out = np.empty((1 + self.kits, *shape))
        out[0] = np.maximum(worth, given_up) + more
        if self.kits:
            every = self.same[1:].reshape(self.kits, -1, *(1,) * b.mass.ndim) * b.mass + worth
            for k, i, place in self.varies:
                every[k - 1, i] += b.table[..., place]
            none = self.given_up[1:].reshape(self.kits, -1, *(1,) * b.mass.ndim) * b.mass + given_up
            out[1:] = np.maximum(every, none) + more
        return out


def _bits(seen: Floats) -> Floats:
    """Return mass x entropy [bits] of the weights along the last axis; nothing there costs nothing."""
    total = seen.sum(axis=-1, keepdims=True)
    share = np.divide(seen, total, out=np.ones_like(seen), where=(total > 0) & (seen > 0))
    bits: Floats = -(seen * np.log2(share)).sum(axis=-1)
    return bits


def _held(made: Sequence[Look]) -> Floats:
    """Return what open holds cost a repair at each combination of results, NaN where none is open."""
    total = np.full((1,) * len(made) if made else (), np.nan)
    for axis, look in enumerate(made):
        costs = [np.nan if x is None else x for x in look.holds]
        if np.isnan(costs).all():
            continue
        shape = [1] * len(made)
        shape[axis] = len(costs)
        mine = np.array(costs).reshape(shape)
        total, mine = np.broadcast_arrays(total, mine)
        total = np.where(np.isnan(total), mine, np.fmax(total, np.nan_to_num(mine)))
    return np.asarray(np.broadcast_to(total, [look.rows.shape[0] for look in made]))


def _cost(look: Look, made: Sequence[Look], prices: Mapping[str, float]) -> float:
    done = {o for other in made for o in other.operations}
    return look.cost + sum(prices[o] for o in look.operations if o not in done)


def _before(look: Look, looks: Sequence[Look]) -> list[Look]:
    """Return the checks that must come before a check, near and far, in an order that works."""
    known = {x.id: x for x in looks}
    found: list[Look] = []

    def visit(x: Look) -> None:
        for name in sorted(x.requires):
            if name in known and known[name] not in found:
                visit(known[name])
                found.append(known[name])

    visit(look)
    return found


def _steps(columns: _Columns, looks: Sequence[Look], prices: Mapping[str, float], m: int) -> list[list[Step]]:
    """Return each check by itself with what it needs first: worth before cost, and cost; without a kit and with each.

    Best net first.
    """
    now = columns.stop(columns.block(np.ones((1, m))), (), np.array([np.nan])).max(axis=1)[:, 0]
    found: list[list[Step]] = [[] for _ in now]
    for look in looks:
        made = [*_before(look, looks), look]
        cost = sum(_cost(x, made[:i], prices) for i, x in enumerate(made))
        rows = _product([x.rows for x in made])
        values = columns.stop(columns.block(rows), made, _held(made).reshape(-1)).max(axis=1).sum(axis=1)
        for steps, worth in zip(found, (values - now).tolist(), strict=True):
            steps.append(Step(look.id, worth, cost))
    return [sorted(steps, key=lambda s: (-(s.worth - s.cost), s.id)) for steps in found]


def _product(rows: Sequence[Floats]) -> Floats:
    """Return the likelihood of every combination of results, (combinations, m), last check fastest."""
    table = rows[0]
    for more in rows[1:]:
        table = (table[:, None, :] * more[None, :, :]).reshape(-1, more.shape[1])
    return table


def _chosen(looks: Sequence[Look], steps: Sequence[Step], limit: int) -> tuple[list[Look], list[str]]:
    """Return the checks that fit the lattice, best first with what they need, and those that did not fit."""
    known = {look.id: look for look in looks}
    kept: list[Look] = []
    size = 1
    for step in steps:
        more = [x for x in (*_before(known[step.id], looks), known[step.id]) if x not in kept]
        grown = size * int(np.prod([x.rows.shape[0] + 1 for x in more]))
        if grown <= limit:
            kept += more
            size = grown
    return kept, [s.id for s in steps if known[s.id] not in kept]


def make_plan(
    weights: Floats,
    choices: Sequence[Choice],
    looks: Sequence[Look],
    prices: Mapping[str, float] | None = None,
    trace_cost: float = 0.0,
    limit: int = EVIDENCE_STATES,
) -> Plan:
    """Return the best plan without a kit, as `make_plans`."""
    return make_plans(weights, choices, looks, (), prices, trace_cost, limit)[0]


def make_plans(
    weights: Floats,
    choices: Sequence[Choice],
    looks: Sequence[Look],
    kits: Sequence[Kit],
    prices: Mapping[str, float] | None = None,
    trace_cost: float = 0.0,
    limit: int = EVIDENCE_STATES,
) -> list[Plan]:
    """Return the best plan without a kit, then with each; all on the checks that fit the lattice without one.

    weights: (m,) chance of each state, summing to 1. prices: cost of each operation [money]. trace_cost: of halving
    once what it may be [money]. limit: most nodes of the lattice; checks that do not fit are named.
    """
    prices = prices or {}
    columns = _Columns(weights, choices, trace_cost, kits)
    steps = _steps(columns, looks, prices, weights.size)
    kept, left_out = _chosen(looks, steps[0], limit)
    shape = tuple(x.rows.shape[0] for x in kept)
    full = _full(columns, kept, weights.size)
    n = len(kept)
    values: dict[tuple[int, ...], Floats] = {}
    actions: dict[tuple[int, ...], NDArray[np.int64]] = {}
    masses: dict[tuple[int, ...], Floats] = {}
    for size in range(n, -1, -1):
        for made in combinations(range(n), size):
            b = _summed(full, made, n, shape)
            looked = [kept[i] for i in made]
            stop = columns.stop(b, looked, _held(looked))
            best, action = stop.max(axis=1), stop.argmax(axis=1)
            for j in range(n):
                if j in made or kept[j].requires & {x.id for x in kept} - {x.id for x in looked}:
                    continue  # what it requires and is not among the open checks was made already
                wider = tuple(sorted((*made, j)))
                going_on = values[wider].sum(axis=1 + wider.index(j)) - _cost(kept[j], looked, prices) * b.mass
                better = going_on > best + TIE * np.maximum(np.abs(best), 1e-12)
                best, action = np.where(better, going_on, best), np.where(better, len(choices) + j, action)
            values[made], actions[made], masses[made] = best, action, b.mass
    stopping = columns.stop(_summed(full, (), n, shape), (), np.array(np.nan)).max(axis=1)
    found = []
    for k, kit in enumerate((None, *kits)):
        value, stop_now = float(values[()][k]), float(stopping[k])
        mine, acts = {made: v[k] for made, v in values.items()}, {made: a[k] for made, a in actions.items()}
        tree = _tree((), (), kept, choices, mine, acts, masses)
        first = None
        if tree.check is not None:
            look = next(x for x in kept if x.id == tree.check)
            cost = _cost(look, (), prices)
            first = Step(look.id, value + cost - stop_now, cost)
        perfect = _perfect(weights, choices, kit)
        found.append(Plan(value, stop_now, perfect, tree, tuple(steps[k]), tuple(left_out), first))
    return found


def _perfect(weights: Floats, choices: Sequence[Choice], kit: Kit | None) -> float:
    """Return the value if all were known before the course is chosen [money]."""
    worth, none = (0.0, 0.0) if kit is None else (kit.worth, kit.given_up[:, None])
    known = np.array([c.worth for c in choices]) + worth
    given_up = np.array([np.full(weights.size, -np.inf) if c.given_up is None else c.given_up for c in choices]) + none
    return float(np.maximum(known, given_up).max(axis=0) @ weights)


def _full(columns: _Columns, kept: Sequence[Look], m: int) -> _Block:
    """Return the block in which every check is made, built in halves so that no table of all its rows exists."""
    if not kept:
        return columns.block(np.ones((1, m)))
    half = len(kept) // 2
    first = _product([x.rows for x in kept[:half]]) if half else np.ones((1, m))
    second = _product([x.rows for x in kept[half:]])
    blocks = [columns.block(row[None, :] * second) for row in first]
    return _Block(np.concatenate([b.mass for b in blocks]), np.concatenate([b.table for b in blocks]))


def _summed(full: _Block, made: Sequence[int], n: int, shape: tuple[int, ...]) -> _Block:
    """Return the block of a set of checks: results of the others added up."""
    rest = tuple(i for i in range(n) if i not in made)
    mass, table = full.mass.reshape(shape or (1,)), full.table.reshape(*(shape or (1,)), full.table.shape[-1])
    if n == 0:
        return _Block(mass[0], table[0])
    return _Block(mass.sum(axis=rest), table.sum(axis=rest))


def _tree(
    made: tuple[int, ...],
    results: tuple[int, ...],
    kept: Sequence[Look],
    choices: Sequence[Choice],
    values: Mapping[tuple[int, ...], Floats],
    actions: Mapping[tuple[int, ...], NDArray[np.int64]],
    masses: Mapping[tuple[int, ...], Floats],
) -> Node:
    """Return the policy from an evidence state on. made is rising; results in the same order."""
    mass = float(masses[made][results])
    value = float(values[made][results]) / mass if mass > 0 else 0.0
    action = int(actions[made][results])
    if mass < NO_ADVICE_BELOW:
        return Node(mass, value, None, None)
    if action < len(choices):
        return Node(mass, value, None, choices[action].name)
    j = action - len(choices)
    wider = tuple(sorted((*made, j)))
    at = wider.index(j)
    below = tuple(
        (k, _tree(wider, (*results[:at], k, *results[at:]), kept, choices, values, actions, masses))
        for k in range(kept[j].rows.shape[0])
    )
    return Node(mass, value, kept[j].id, None, below)
