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

from econ.stopping import Block, Choice, Columns, Floats, Kit, Look, Suspect, any_open, bits

EVIDENCE_STATES = 20_000  # most nodes of the lattice: product of (results + 1) over its checks
NO_ADVICE_BELOW = 1e-5  # chance under which a node gives no advice [1]
TIE = 1e-6  # of the larger value: below this to stop wins, then the earlier check


@dataclass(frozen=True)
class Step:
    """A check by itself: one-step worth before its cost, its cost with what it needs first, all [money].

    worth: with what its work spares a repair, and less what closing, a lower as-is price and holds cost. evsi: what its
    results with those of what it needs first are worth by themselves. promise: what its worth would be were all courses
    that may prove best even now, and no hold opened.
    """

    id: str
    worth: float
    cost: float
    evsi: float = 0.0
    promise: float = 0.0


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


def _steps(
    columns: Columns, weights: Floats, looks: Sequence[Look], prices: Mapping[str, float], known: Floats
) -> list[list[Step]]:
    """Return each check by itself with what it needs first, best net first; without a kit and with each.

    known: (1 + kits, choices, m) once the state is known.
    """
    best = [np.unique(x.argmax(axis=0)[weights > 0]) for x in known]  # what may prove best
    root = columns.block(np.ones((1, weights.size)))
    now, free = (columns.stop(root, (), x)[..., 0] for x in (columns.opened(root, ()), {}))
    found: list[list[Step]] = [[] for _ in known]
    for look in looks:
        made = [*_before(look, looks), look]
        cost = sum(_cost(x, made[:i], prices) for i, x in enumerate(made))
        b = columns.block(_product([x.rows for x in made]))
        values = columns.stop(b, made, columns.opened(b, made))
        worth = (values.max(axis=1).sum(axis=1) - now.max(axis=1)).tolist()
        even = columns.stop(b, made, {}) - free[..., None] * b.mass
        evsi = (columns.stop(b, (), {}).max(axis=1).sum(axis=1) - free.max(axis=1)).tolist()
        for k, steps in enumerate(found):
            steps.append(Step(look.id, worth[k], cost, evsi[k], float(even[k, best[k]].max(axis=0).sum())))
    return [sorted(steps, key=lambda s: (-round(s.worth - s.cost, 6), s.id)) for steps in found]


def _product(rows: Sequence[Floats]) -> Floats:
    """Return the likelihood of every combination of results, (combinations, m), last check fastest."""
    table = rows[0]
    for more in rows[1:]:
        table = (table[:, None, :] * more[None, :, :]).reshape(-1, more.shape[1])
    return table


def _chosen(looks: Sequence[Look], steps: Sequence[Step], limit: int) -> tuple[list[Look], list[str]]:
    """Return the checks that fit the lattice, best first with what they need, and those that did not fit.

    Best: those that pay by themselves by what they leave; then those that promise most, which together may pay.
    """
    known = {look.id: look for look in looks}
    kept: list[Look] = []
    size = 1
    for step in sorted(steps, key=lambda s: (round(min(s.cost - s.worth, 0.0), 6), round(s.cost - s.promise, 6), s.id)):
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
    least: float = 0.0,
    suspects: Sequence[Suspect] = (),
) -> Plan:
    """Return the best plan without a kit, as `make_plans`."""
    return make_plans(weights, choices, looks, (), prices, trace_cost, limit, least, suspects)[0]


def make_plans(
    weights: Floats,
    choices: Sequence[Choice],
    looks: Sequence[Look],
    kits: Sequence[Kit],
    prices: Mapping[str, float] | None = None,
    trace_cost: float = 0.0,
    limit: int = EVIDENCE_STATES,
    least: float = 0.0,
    suspects: Sequence[Suspect] = (),
    even: float = 0.0,
) -> list[Plan]:
    """Return the best plan without a kit, then with each; all on the checks that fit the lattice without one.

    weights: (m,) chance of each state, summing to 1. prices: cost of each operation [money]. trace_cost: of halving
    once what it may be [money]. limit: most nodes of the lattice; checks that do not fit are named. least: what going
    on must gain over stopping, given that one is there [money]; even: what a check that tells less by itself must gain
    to go before one that tells more [money]. suspects: faults that open holds once likely.
    """
    prices = prices or {}
    columns = Columns(weights, choices, trace_cost, kits, suspects)
    known = np.array([[_known(c, i, trace_cost, kit) for i, c in enumerate(choices)] for kit in (None, *kits)])
    steps = _steps(columns, weights, looks, prices, known)
    kept, left_out = _chosen(looks, steps[0], limit)
    shape = tuple(x.rows.shape[0] for x in kept)
    n = len(kept)
    wide: dict[tuple[int, ...], Block] = {}  # of one check more
    values: dict[tuple[int, ...], Floats] = {}  # (1 + kits, results of each)
    actions: dict[tuple[int, ...], NDArray[np.int64]] = {}
    masses: dict[tuple[int, ...], Floats] = {}
    for size in range(n, -1, -1):
        here: dict[tuple[int, ...], Block] = {}
        for made in combinations(range(n), size):
            b = here[made] = _summed(wide, made) if wide else _shaped(_full(columns, kept, weights.size), shape)
            looked = [kept[i] for i in made]
            opened = columns.opened(b, looked)
            stop = columns.stop(b, looked, opened)
            best, action = stop.max(axis=1), stop.argmax(axis=1)
            enough = best + least * b.mass
            for j in range(n):
                if j in made or not kept[j].requires <= {x.id for x in looked} | _unknown(kept[j], kept):
                    continue
                wider = tuple(sorted((*made, j)))
                going_on = values[wider].sum(axis=1 + wider.index(j)) - _cost(kept[j], looked, prices) * b.mass
                if kept[j].runs:
                    going_on = np.where(any_open(opened), -np.inf, going_on)
                # A check that tells less by itself goes before one that tells more only for a gain that matters.
                before = best + np.where(action >= len(choices), even * b.mass, 0.0)
                better = going_on > np.maximum(before + TIE * np.maximum(np.abs(best), 1e-12), enough)
                best, action = np.where(better, going_on, best), np.where(better, len(choices) + j, action)
            values[made], actions[made], masses[made] = best, action, b.mass
        wide = here
    stopping = columns.stop(wide[()], (), columns.opened(wide[()], ())).max(axis=1).tolist()
    perfect = (known.max(axis=1) @ weights).tolist()
    found = []
    for k, value in enumerate(values[()].tolist()):
        mine, acts = {made: v[k] for made, v in values.items()}, {made: a[k] for made, a in actions.items()}
        tree = _tree((), (), kept, choices, mine, acts, masses)
        first = None
        if tree.check is not None:
            look = next(x for x in kept if x.id == tree.check)
            cost = _cost(look, (), prices)
            first = Step(look.id, value + cost - stopping[k], cost)
        found.append(Plan(value, stopping[k], perfect[k], tree, tuple(steps[k]), tuple(left_out), first))
    return found


def _known(c: Choice, i: int, trace_cost: float, kit: Kit | None) -> Floats:
    """Return what choice number i brings in each state once it is known, (m,); what did not cure must be traced."""
    worth, given_up = (0.0, 0.0) if kit is None else (kit.worth[i], kit.given_up[i])
    traced: Floats = c.worth + worth
    if c.fails is not None:
        traced = traced - trace_cost * bits(c.fails)
    return traced if c.given_up is None else np.maximum(traced, c.given_up + given_up)


def _unknown(look: Look, kept: Sequence[Look]) -> set[str]:
    """Return what a check requires that is not among the open checks: it was made already."""
    return set(look.requires) - {x.id for x in kept}


def _full(columns: Columns, kept: Sequence[Look], m: int) -> Block:
    """Return the block in which every check is made, built in halves so that no table of all its rows exists."""
    if not kept:
        return columns.block(np.ones((1, m)))
    half = len(kept) // 2
    first = _product([x.rows for x in kept[:half]]) if half else np.ones((1, m))
    second = _product([x.rows for x in kept[half:]])
    blocks = [columns.block(row[None, :] * second) for row in first]
    return Block(np.concatenate([b.mass for b in blocks]), np.concatenate([b.table for b in blocks]))


def _shaped(block: Block, shape: tuple[int, ...]) -> Block:
    """Return the block of every check with an axis for the results of each."""
    return Block(block.mass.reshape(shape), block.table.reshape(*shape, -1))


def _summed(wide: Mapping[tuple[int, ...], Block], made: tuple[int, ...]) -> Block:
    """Return the block of a set of checks: that of one check more, its results added up."""
    more = next(i for i in range(len(made) + 1) if i not in made)
    wider = tuple(sorted((*made, more)))
    b, at = wide[wider], wider.index(more)
    return Block(b.mass.sum(axis=at), b.table.sum(axis=at))


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
