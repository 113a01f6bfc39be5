"""Follow-ups: the cheapest jobs to add once a repair is done and something still fails.

What has to follow for a set of failing faults rests on jobs, prices and terms of work alone. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from econ.costing import THOUSAND, Bench, gross_profit, tickets
from econ.rulebook import MachineClass
from econ.scopes import Jobs, make_jobs
from econ.states import Masks, mask_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
BITS = 62  # of a whole number that stands for a set of jobs or faults
BLOCKS = 6  # of sets of faults that are looked through before they are made one
MOST_SETS = 400_000  # that are kept: some 60 bytes each


@dataclass(frozen=True)
class FollowUp:
    """The cheapest jobs to add for k sets of failing faults.

    cost: of the jobs and of waiting for their parts [money], inf where there are none; hours [h] and margin, the shop's
    gross profit on them before comebacks [money]: (W, k) each, a row for each world or one for all. clears, renewal: as
    masks and [1], what any of the ways to clear them clears and renews, (k,), so that a price has no bearing on it.
    jobs: (W, k, jobs) which they are.
    """

    cost: Floats
    hours: Floats
    margin: Floats
    clears: Masks
    renewal: Floats
    jobs: Bools


def ways_on(jobs: Jobs, failing: Masks) -> tuple[NDArray[np.int64], Bools]:
    """Return ways to clear each set of failing faults: the set each serves, rising, and its jobs (ways, jobs).

    The usual jobs, by parts or by hours; and of those by parts all but for one job that takes the faults it is meant
    for. The ways do not depend on prices: a dearer part makes none of them cheaper.
    """
    any_of = int(np.bitwise_or.reduce(failing, initial=0))

    def usual(masks: Masks, which: Mapping[int, int]) -> Bools:
        member = np.zeros((masks.size, len(jobs.clears)), dtype=bool)
        for fault, job in which.items():
            if any_of >> fault & 1:
                member[:, job] |= (masks >> fault & 1).astype(bool)
        return member

    by_parts = jobs.usual[0]
    able = (failing & ~mask_of(by_parts)) == 0
    rows = np.flatnonzero(able)
    first, second = (usual(failing[rows], which) for which in jobs.usual)
    other = (first != second).any(axis=1)
    serves, ways = [rows, rows[other]], [first, second[other]]
    for job in sorted({j for options in jobs.for_fault for j in options}):
        meant = mask_of(i for i, options in enumerate(jobs.for_fault) if job in options)
        if not meant & any_of:
            continue
        settled = mask_of(i for i, j in by_parts.items() if j == job)
        news = np.bitwise_count(failing & meant) >= np.where(failing & meant & ~settled, 1, 2)
        rows = np.flatnonzero(able & news & ((failing & meant) != 0))
        member = usual(failing[rows] & ~jobs.clears[job], by_parts)
        member[:, job] = True
        serves.append(rows)
        ways.append(member)
    every = np.concatenate(serves)
    order = np.argsort(every, kind="stable")
    return every[order], np.concatenate(ways)[order]


def _alike(ways: Bools) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where each set of jobs stands first among ways (n, jobs), and which of those each way is (n,)."""
    used = ways[:, ways.any(axis=0)]
    first, same = np.arange(min(len(ways), 1)), np.zeros(len(ways), dtype=np.int64)  # were none of them to use a job
    for start in range(0, used.shape[1], BITS):
        some = used[:, start : start + BITS]
        keys = some @ (1 << np.arange(some.shape[1]))
        if start:  # more jobs than bits: the number of the set so far, then that of the rest
            keys = same * (len(ways) + 1) + np.unique(keys, return_inverse=True)[1]
        _, first, same = np.unique(keys, return_index=True, return_inverse=True)
    return first, same


def follow_up(bench: Bench, jobs: Jobs, failing: Masks, week: Any) -> FollowUp:
    """Return the cheapest jobs that clear each set of failing faults (k,), with the retest.

    week: what a week of waiting for parts costs [money]. The repair has been put back together, so shared strip-down is
    paid again.
    """
    serves, ways = ways_on(jobs, failing)
    able, starts = np.unique(serves, return_index=True)
    first, same = _alike(ways)
    t = tickets(bench, ways[first], first=False)
    each = np.atleast_2d(t.cost + t.wait.weeks(bench.terms["parts_lead_days"] / 7) * week)[:, same]
    shape = each.shape[0], failing.size
    cost, chosen = np.full(shape, np.inf), np.zeros(shape, dtype=np.int64)
    if able.size:
        least = np.minimum.reduceat(each, starts, axis=1)
        cost[:, able] = least
        counts = np.diff(np.append(starts, serves.size))
        number = np.where(each == np.repeat(least, counts, axis=1), np.arange(serves.size), serves.size)
        chosen[:, able] = np.minimum.reduceat(number, starts, axis=1)
    clears, renewal = np.zeros(failing.size, dtype=np.int64), np.zeros(failing.size)
    for fault, (cleared, renewed) in enumerate(jobs.surely):
        has = (failing >> fault & 1).astype(bool)
        clears |= np.where(has, cleared, 0)
        renewal = np.maximum(renewal, np.where(has, renewed, 0.0))
    finite = np.isfinite(cost)

    def of_chosen(figure: Floats) -> Floats:
        whole = np.broadcast_to(np.atleast_2d(figure), (shape[0], first.size))
        return np.where(finite, np.take_along_axis(whole, same[chosen], axis=1), 0.0) if able.size else np.zeros(shape)

    of_jobs = ways[chosen] & finite[..., None] if able.size else np.zeros((*shape, len(jobs.clears)), dtype=bool)
    return FollowUp(cost, of_chosen(t.hours / THOUSAND), of_chosen(gross_profit(bench, t)), clears, renewal, of_jobs)


class FollowUps(Protocol):
    """Gives the follow-up of each set of failing faults, (k,); each is worked out once."""

    def __call__(self, failing: Masks) -> FollowUp:
        """Return the follow-ups, (k,)."""


class OfOne:
    """The follow-ups of one machine, out of `size` sets of failing faults."""

    def __init__(self, bench: Bench, jobs: Jobs, size: int, week: Any) -> None:
        self._bench, self._jobs, self._week = bench, jobs, week
        self._place = np.full(size, -1, dtype=np.int64)
        self._known: list[FollowUp] = []
        self._count = 0

    def __call__(self, failing: Masks) -> FollowUp:
        """Return the follow-up of each set of failing faults, (k,)."""
        new = failing[self._place[failing] < 0]
        if new.size:
            new = np.unique(new)
            self._known.append(follow_up(self._bench, self._jobs, new, self._week))
            self._place[new] = self._count + np.arange(new.size)
            self._count += new.size
            if len(self._known) > 1:
                self._known = [_together(self._known)]
        return _some(self._known[0], self._place[failing])


class OfClass:
    """The follow-ups of machines of a class that are worked on at the same prices, whatever is in play in each.

    Which jobs they are is not kept.
    """

    def __init__(self, bench: Bench, c: MachineClass, week: Any) -> None:
        """Raise ValueError where the class has more faults than a whole number has bits."""
        if len(c.faults) > BITS + 1:
            message = f"a class of more than {BITS} faults"
            raise ValueError(message)
        self._bench, self._jobs, self._week = bench, make_jobs(bench, c, tuple(c.faults)), week
        self._number = {fault: n for n, fault in enumerate(c.faults)}
        self._blocks: list[tuple[Masks, FollowUp]] = []

    def of(self, faults: Sequence[str]) -> FollowUps:
        """Return the follow-ups of a machine in which these faults count, as bits in this order."""
        numbers = [self._number[fault] for fault in faults]

        def follow_ups(failing: Masks) -> FollowUp:
            wide = np.zeros(failing.size, dtype=np.int64)
            for i, n in enumerate(numbers):
                wide |= (failing >> i & 1) << n
            found = self._get(wide)
            clears = np.zeros(failing.size, dtype=np.int64)
            for i, n in enumerate(numbers):
                clears |= (found.clears >> n & 1) << i
            return replace(found, clears=clears)

        return follow_ups

    def _get(self, failing: Masks) -> FollowUp:
        """Return the follow-up of each set of failing faults of the class, (k,)."""
        block, at = self._find(failing)
        new = np.unique(failing[block < 0])
        if new.size:
            if sum(keys.size for keys, _ in self._blocks) > MOST_SETS:
                self._blocks = []
                new = np.unique(failing)
            made = follow_up(self._bench, self._jobs, new, self._week)
            self._blocks.append((new, replace(made, jobs=made.jobs[:, :, :0])))
            if len(self._blocks) > BLOCKS:
                keys, order = np.unique(np.concatenate([k for k, _ in self._blocks]), return_index=True)
                self._blocks = [(keys, _some(_together([x for _, x in self._blocks]), order))]
            block, at = self._find(failing)
        starts = np.cumsum([0, *(keys.size for keys, _ in self._blocks)])
        whole = _together([x for _, x in self._blocks]) if len(self._blocks) > 1 else self._blocks[0][1]
        return _some(whole, starts[block] + at)

    def _find(self, failing: Masks) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the block of each set of failing faults, -1 where it is in none, and its place there."""
        block, place = np.full((2, failing.size), -1, dtype=np.int64)
        for n, (keys, _) in enumerate(self._blocks):
            at = np.minimum(np.searchsorted(keys, failing), keys.size - 1)
            here = keys[at] == failing
            block[here], place[here] = n, at[here]
        return block, place


def _together(parts: Sequence[FollowUp]) -> FollowUp:
    every = [[getattr(f, x.name) for f in parts] for x in fields(FollowUp)]
    return FollowUp(*(np.concatenate(p, axis=min(1, p[0].ndim - 1)) for p in every))


def _some(known: FollowUp, at: NDArray[np.int64]) -> FollowUp:
    every = [getattr(known, x.name) for x in fields(FollowUp)]
    return FollowUp(*(x[at] if x.ndim == 1 else np.take(x, at, axis=1) for x in every))
