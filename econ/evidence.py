"""Evidence: which faults are present, given history, complaint and findings.

Faults i = 1..n, state s in {0,1}^n. A check's outcome follows a noisy-MAX: P(outcome <= k | s) = leak_k * product
over i in s of c_ik. An unknown history fact is one shared hidden cause: the prior is the mixture over its levels
jointly. The posterior is found by exact enumeration and pruned only after every finding.

State index: bit i of the index is fault i of the order given.

References:
    J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988 (noisy-OR); F. J. Diez, Parameter adjustment in
    Bayes networks: the generalized noisy OR-gate, UAI 1993 (noisy-MAX).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DROPPED_AT_MOST = 1e-6  # posterior mass that pruning may drop [1]


@dataclass(frozen=True)
class Cause:
    """A history fact as it bears on the odds: how likely each of its levels is, and what each does to each fault.

    weights: (levels,) summing to 1, one-hot when the fact is known.
    factors: fault number -> (levels,) odds factors. name: of the fact.
    """

    weights: tuple[float, ...]
    factors: Mapping[int, tuple[float, ...]]
    name: str = ""


@dataclass(frozen=True)
class Clue:
    """One recorded outcome: how it bears on each state.

    name: of the check. outcome: k, from 0 (normal) to K. leak: (K,) P(outcome <= k) with none of the faults.
    shows: fault number -> (K,) P(outcome <= k) with that fault alone and no leak.
    seen: for an opening check: fault number -> present; the other fields are then empty.
    """

    name: str
    outcome: int = 0
    leak: tuple[float, ...] = ()
    shows: Mapping[int, tuple[float, ...]] | None = None
    seen: Mapping[int, bool] | None = None


@dataclass(frozen=True)
class Posterior:
    """What is believed once all is heard.

    states: (m,) state indices, likeliest first. weights: (m,) their probabilities, summing to 1.
    marginal: (n,) P(fault i present). evidence: P(all findings) under the rulebook. dropped: mass pruned [1].
    """

    states: Ints
    weights: Floats
    marginal: Floats
    evidence: float
    dropped: float


class ImpossibleEvidence(ValueError):  # noqa: N818 - it names a state of the evidence
    """Findings that can't occur together under the rulebook; ``names`` are those in conflict."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = tuple(names)
        super().__init__("findings that can't occur together: " + ", ".join(names))


def odds(probability: float) -> float:
    """Return p / (1 - p)."""
    return probability / (1.0 - probability)


def states_from(chances: Floats) -> Floats:
    """Return P(s) of independent faults for every state.

    chances: (rows, n) P(fault present). Returns (rows, 2^n), bit i of the column being fault i.
    """
    table = np.ones((chances.shape[0], 1))
    for i in range(chances.shape[1]):
        p = chances[:, i : i + 1]
        table = np.concatenate([table * (1.0 - p), table * p], axis=1)
    return table


def _levels(causes: Sequence[Cause]) -> tuple[Floats, Ints]:
    """Return the weight and the levels of every combination of the causes' levels of positive weight."""
    weights, levels = np.ones(1), np.zeros((1, 0), dtype=np.int64)
    for cause in causes:
        live = [k for k, w in enumerate(cause.weights) if w > 0]
        weights = (weights[:, None] * np.array([cause.weights[k] for k in live])[None, :]).ravel()
        levels = np.column_stack([np.repeat(levels, len(live), axis=0), np.tile(live, levels.shape[0])])
    return weights, levels


def _groups(n: int, causes: Sequence[Cause]) -> list[tuple[list[int], list[Cause]]]:
    """Split the faults into groups that share no uncertain cause."""
    leader = list(range(n))

    def find(i: int) -> int:
        while leader[i] != i:
            i = leader[i]
        return i

    for cause in causes:
        touched = [find(i) for i in cause.factors]
        for i in touched:
            leader[i] = touched[0]
            touched = [find(t) for t in touched]
    roots = sorted({find(i) for i in range(n)})
    return [
        (
            [i for i in range(n) if find(i) == r],
            [c for c in causes if c.factors and find(min(c.factors)) == r],
        )
        for r in roots
    ]


def _in_order(order: Sequence[int]) -> Ints:
    """Return, for every state in natural bit order, its index where bit k stands for fault order[k]."""
    place = {fault: k for k, fault in enumerate(order)}
    index = np.zeros(1, dtype=np.int64)
    for i in range(len(order)):
        index = np.concatenate([index, index + (1 << place[i])])
    return index


@dataclass(frozen=True)
class Link:
    """Where any of some faults is present, the odds of another are by a factor higher; all by number."""

    where: frozenset[int]
    fault: int
    factor: float


def linked(prior: Floats, links: Sequence[Link]) -> Floats:
    """Return P(s), (2^n,), with links between faults laid over it, summing to 1."""
    states = np.arange(prior.size)
    weights = prior.copy()
    for link in links:
        some = sum(1 << i for i in link.where)
        weights[((states & some) != 0) & ((states >> link.fault & 1) == 1)] *= link.factor
    total: Floats = weights / weights.sum()
    return total


def prior_states(base_odds: Sequence[float], causes: Sequence[Cause]) -> Floats:
    """Return P(s) before complaint and findings, mixed jointly over the levels of uncertain causes.

    base_odds: (n,) prior odds at factor 1. Returns (2^n,) summing to 1.
    """
    total, order = np.ones(1), []
    for faults, joint in _by_group(base_odds, causes):
        total = np.multiply.outer(joint.ravel(), total).ravel()
        order += faults
    return total if order == sorted(order) else total[_in_order(order)]


def prior_of(states: Ints, base_odds: Sequence[float], causes: Sequence[Cause]) -> Floats:
    """Return P(s) as `prior_states` has it, of some states alone, (m,)."""
    total = np.ones(states.size)
    for faults, joint in _by_group(base_odds, causes):
        place = np.zeros(states.size, dtype=np.int64)
        for k, i in enumerate(faults):
            place |= (states >> i & 1) << k
        total *= joint.ravel()[place]
    return total


def _by_group(base_odds: Sequence[float], causes: Sequence[Cause]) -> Iterator[tuple[list[int], Floats]]:
    """Yield the faults of each group that shares no uncertain cause with others, and P of every set of them.

    Sets as a table (high half, low half) of the bits in the order of the faults.
    """
    known = [c for c in causes if max(c.weights) == 1.0]
    fixed = np.array(base_odds, dtype=float)
    for cause in known:
        level = cause.weights.index(1.0)
        for i, row in cause.factors.items():
            fixed[i] *= row[level]
    uncertain = [c for c in causes if max(c.weights) < 1.0]
    own = {i: [c for c in uncertain if set(c.factors) == {i}] for i in range(fixed.size)}
    for faults, shared in sorted(_groups(fixed.size, [c for c in uncertain if len(c.factors) > 1]), key=_size):
        weights, levels = _levels(shared)
        chances = np.empty((weights.size, len(faults)))
        for place, i in enumerate(faults):
            rows = np.full(weights.size, fixed[i])
            for c, cause in enumerate(shared):
                if i in cause.factors:
                    rows *= np.array(cause.factors[i])[levels[:, c]]
            # A cause that bears on one fault alone tells nothing of the others: it is averaged out there and then.
            share, each = _levels(own[i])
            factor = np.prod([np.array(cause.factors[i])[each[:, c]] for c, cause in enumerate(own[i])], axis=0)
            there = rows[:, None] * factor
            chances[:, place] = there / (1.0 + there) @ share
        # Two halves and one product of matrices, instead of 2^n columns for each combination of levels.
        half = len(faults) // 2
        low, high = states_from(chances[:, :half]), states_from(chances[:, half:])
        yield faults, (high * weights[:, None]).T @ low


def _size(group: tuple[list[int], list[Cause]]) -> int:
    return len(group[0])


def _products(leak: float, shows: Mapping[int, float], first: int, last: int) -> Floats:
    """Return leak x product of the rows of the faults in a set, for all sets of faults first..last-1."""
    table = np.array([leak])
    for i in range(first, last):
        c = shows.get(i, 1.0)
        table = np.concatenate([table, table * c])
    return table


def at_most(leak: float, shows: Mapping[int, float], n: int, out: Floats | None = None) -> Floats:
    """Return P(outcome <= k | s) = leak * product of the rows of the faults in s, for all 2^n states.

    out: (2^n,) to write to, if given.
    """
    half = n // 2
    high, low = _products(1.0, shows, half, n), _products(leak, shows, 0, half)
    table = np.empty(1 << n) if out is None else out
    np.multiply(high[:, None], low[None, :], out=table.reshape(high.size, low.size))
    return table


def likelihood(clue: Clue, n: int, room: tuple[Floats, Floats] | None = None) -> Floats:
    """Return P(clue | s) for all 2^n states.

    room: two arrays (2^n,) to work in; the first is returned. Fresh ones cost more than the sums themselves.
    """
    out, other = room or (np.empty(1 << n), np.empty(1 << n))
    if clue.seen is not None:
        every = np.arange(1 << n, dtype=np.int64)
        out.fill(1.0)
        for i, present in clue.seen.items():
            out *= ((every >> i) & 1) == int(present)
        return out
    shows, worst, k = clue.shows or {}, len(clue.leak), clue.outcome
    if k == 0:
        return at_most(clue.leak[0], {i: r[0] for i, r in shows.items()}, n, out)
    at_most(clue.leak[k - 1], {i: r[k - 1] for i, r in shows.items()}, n, out)
    upper = at_most(clue.leak[k], {i: r[k] for i, r in shows.items()}, n, other) if k < worst else 1.0
    np.subtract(upper, out, out=out)
    return np.maximum(out, 0.0, out=out)


def condition(prior: Floats, clues: Sequence[Clue]) -> Posterior:
    """Return the posterior over states.

    prior: (2^n,) from `prior_states`. The order of the clues does not matter beyond rounding.
    Raises ImpossibleEvidence naming the fewest findings that conflict.
    """
    n = int(prior.size).bit_length() - 1
    joint, room = prior.copy(), (np.empty(prior.size), np.empty(prior.size))
    for clue in sorted(clues, key=lambda c: (c.name, c.outcome)):
        joint *= likelihood(clue, n, room)
    evidence = float(joint.sum())
    if evidence <= 0.0:
        raise ImpossibleEvidence(_conflict(prior, clues))
    joint /= evidence
    return _pruned(joint, _marginal(joint, n), evidence)


def blame(posterior: Posterior, clues: Sequence[Clue]) -> Floats:
    """Return for each fault the chance that it is there and what was heard is due to it, (n,) [1].

    Due to it: by the share by which all that was heard would be less likely were it not there. A fault that is only as
    likely as among all machines has next to none.
    """
    n = posterior.marginal.size
    room = np.empty(1 << n), np.empty(1 << n)
    told = np.ones(1 << n)
    for clue in clues:
        told *= likelihood(clue, n, room)
    chances = np.zeros(1 << n)
    chances[posterior.states] = posterior.weights
    found = np.zeros(n)
    for i in range(n):
        pairs = told.reshape(-1, 2, 1 << i)
        without, there = pairs[:, 0], pairs[:, 1]
        less = np.divide(without, there, out=np.ones(there.shape), where=there > 0)
        found[i] = (chances.reshape(-1, 2, 1 << i)[:, 1] * np.maximum(1.0 - less, 0.0)).sum()
    return found


def _marginal(joint: Floats, n: int) -> Floats:
    """Return P(fault i present), (n,): sums over each half of the faults, then over sets of each half."""
    half = n // 2
    table = joint.reshape(1 << (n - half), 1 << half)
    halves = table.sum(axis=0), table.sum(axis=1)
    found = [h.reshape(-1, 2, 1 << i)[:, 1, :].sum() for h in halves for i in range(int(h.size).bit_length() - 1)]
    return np.array(found)


def _pruned(joint: Floats, marginal: Floats, evidence: float) -> Posterior:
    """Keep the likeliest states; what is dropped sums to DROPPED_AT_MOST or less."""
    likely = np.flatnonzero(joint > DROPPED_AT_MOST / joint.size)
    order = likely[np.argsort(-joint[likely])]
    weights = joint[order]
    tail = joint.sum() - np.cumsum(weights)
    kept = int(np.searchsorted(-tail, -DROPPED_AT_MOST)) + 1
    weights = weights[:kept]
    mass = float(weights.sum())
    return Posterior(order[:kept].astype(np.int64), weights / mass, marginal, evidence, max(0.0, 1.0 - mass))


def _conflict(prior: Floats, clues: Sequence[Clue]) -> list[str]:
    """Return a smallest set of findings that can't occur together: drop each one that is not needed for it."""
    n = int(prior.size).bit_length() - 1
    rows = [likelihood(clue, n) for clue in clues]
    needed = list(range(len(clues)))
    for i in range(len(clues)):
        rest = [j for j in needed if j != i]
        if float((prior * np.prod([rows[j] for j in rest], axis=0)).sum() if rest else prior.sum()) <= 0.0:
            needed = rest
    return [clues[j].name for j in needed]
