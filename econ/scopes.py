"""Scopes: which sets of jobs are worth considering, and the cheapest jobs to add after a failed release check."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from itertools import product

import numpy as np
from numpy.typing import NDArray

from econ.costing import THOUSAND, Bench, gross_profit, members, tickets
from econ.evidence import Posterior
from econ.rulebook import MachineClass
from econ.states import Masks, mask_of, numbers_in

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Scope = tuple[int, ...]

SCOPES_AT_MOST = 32
LIKELY_STATES = 24  # how many of the likeliest states are given scopes that cover them
COVERS_PER_STATE = 12


@dataclass(frozen=True)
class Jobs:
    """The jobs of a bench as masks over the faults in play and the wanted wear faults after them.

    clears: job number -> mask. for_fault: fault number -> jobs meant for it that can be done, in rulebook order.
    """

    clears: tuple[int, ...]
    for_fault: tuple[tuple[int, ...], ...]
    uncured: tuple[float, ...]
    renewal: tuple[float, ...]

    def cleared(self, scope: Iterable[int]) -> int:
        """Return the faults a scope clears, as a mask."""
        total = 0
        for j in scope:
            total |= self.clears[j]
        return total

    def renewed(self, scope: Iterable[int]) -> float:
        """Return the share of the effective age a scope takes off: that of its most thorough job."""
        return max((self.renewal[j] for j in scope), default=0.0)


def make_jobs(bench: Bench, c: MachineClass, faults: Sequence[str]) -> Jobs:
    """Return the jobs of a class as masks; fault order as given."""
    number = {i: n for n, i in enumerate(faults)}
    jobs = [c.jobs[j] for j in bench.jobs]
    return Jobs(
        tuple(mask_of(number[f] for f in job.cleared if f in number) for job in jobs),
        tuple(
            tuple(j for j, job in enumerate(jobs) if fault in job.clears and j not in bench.barred) for fault in faults
        ),
        tuple(job.uncured for job in jobs),
        tuple(job.renewal for job in jobs),
    )


def covers(jobs: Jobs, mask: int, at_most: int) -> list[Scope]:
    """Return sets of jobs that clear every fault in a mask that has a job; none is larger than it need be."""
    found: dict[Scope, None] = {}
    alternatives = [jobs.for_fault[i] for i in numbers_in(mask) if jobs.for_fault[i]]
    for choice in product(*alternatives):
        scope = tuple(sorted(set(choice)))
        for j in scope:
            rest = tuple(x for x in scope if x != j)
            if rest and jobs.cleared(rest) & mask == jobs.cleared(scope) & mask:
                scope = rest
        found[scope] = None
        if len(found) >= at_most:
            break
    return list(found)


def completed(scope: Iterable[int], clearing: Sequence[Scope]) -> Scope:
    """Return a scope with a job for each open hold that it does not clear; clearing: jobs for each, cheapest first."""
    whole = set(scope)
    for able in clearing:
        if not whole & set(able):
            whole.add(able[0])
    return tuple(sorted(whole))


def likely_scopes(
    jobs: Jobs, posterior: Posterior, failing: int, hidden: int, clearing: Sequence[Scope]
) -> list[Scope]:
    """Return scopes that cover the likely states, likeliest first, and the one that leaves the jobs open.

    failing, hidden: masks of faults that fail the release check, and that only opening shows. clearing: for each open
    hold the jobs that clear it; every scope has one of them.
    """
    found: dict[Scope, float] = {}
    for state, weight in zip(posterior.states[:LIKELY_STATES], posterior.weights[:LIKELY_STATES], strict=True):
        for part in {int(state), int(state) & failing, int(state) & (failing | hidden), int(state) & ~hidden}:
            for scope in covers(jobs, part, COVERS_PER_STATE):
                whole = completed(scope, clearing)
                found[whole] = found.get(whole, 0.0) + float(weight)
    found[completed((), clearing)] = 2.0  # nothing fixed beforehand: find the cause, then do what it needs
    return sorted(found, key=lambda s: (-found[s], s))[:SCOPES_AT_MOST]


def neighbours(jobs: Jobs, scope: Scope, clearing: Sequence[Scope], more: Iterable[int]) -> list[Scope]:
    """Return the scopes one job away from a scope: one fewer, or one more that clears more; each clears the holds."""
    cleared = jobs.cleared(scope)
    fewer = [completed((j for j in scope if j != out), clearing) for out in scope]
    larger = [completed((*scope, j), clearing) for j in more if jobs.clears[j] & ~cleared]
    return [*fewer, *larger]


@dataclass(frozen=True)
class FollowUp:
    """The cheapest jobs to add for k sets of failing faults, (W, k) each: a row for each world, or one for all.

    cost [money]; clears: what they clear, as masks; renewal [1]; any_part; hours [h] and margin, the shop's gross
    profit on them before comebacks [money]; jobs: (W, k, jobs) which they are, none where there are no such jobs.
    """

    cost: Floats
    clears: Masks
    renewal: Floats
    any_part: Bools
    hours: Floats
    margin: Floats
    jobs: Bools


def _ways(jobs: Jobs, failing: Masks, cheapest: dict[int, int]) -> list[tuple[NDArray[np.int64], Bools]]:
    """Return ways to clear each set of failing faults: rows they serve, and their jobs (rows, jobs).

    The first way takes each fault's cheapest job; each further one takes one thorough job for all the faults it
    clears, where that is two or more, and the cheapest jobs for the rest.
    """

    def by_cheapest(masks: Masks) -> Bools:
        member = np.zeros((masks.size, len(jobs.clears)), dtype=bool)
        for fault, job in cheapest.items():
            member[:, job] |= (masks >> fault & 1).astype(bool)
        return member

    able = (failing & ~mask_of(cheapest)) == 0
    rows = np.flatnonzero(able)
    ways = [(rows, by_cheapest(failing[rows]))]
    for job in sorted({j for options in jobs.for_fault for j in options}):
        meant = mask_of(i for i, options in enumerate(jobs.for_fault) if job in options)
        rows = np.flatnonzero(able & (np.bitwise_count(failing & meant) >= 2))
        if meant.bit_count() >= 2 and rows.size:
            member = by_cheapest(failing[rows] & ~jobs.clears[job])
            member[:, job] = True
            ways.append((rows, member))
    return ways


def follow_up(bench: Bench, jobs: Jobs, failing: Masks) -> FollowUp:
    """Return the cheapest jobs that clear each set of failing faults, with the retest; inf where there are none.

    The repair has been put back together, so shared strip-down is paid again.
    """
    single = sorted({j for options in jobs.for_fault for j in options})
    alone = np.atleast_2d(tickets(bench, members(bench, [(j,) for j in single]), False).cost)
    options = {i: [single.index(j) for j in o] for i, o in enumerate(jobs.for_fault) if o}
    # In each world every fault's cheapest job; worlds that agree in all of them are worked out together.
    each = [np.array(o)[alone[:, o].argmin(axis=1)] for o in options.values()]
    least = np.array(each, dtype=np.int64).reshape(len(options), alone.shape[0]).T
    choices, which = np.unique(least, axis=0, return_inverse=True)
    shape = alone.shape[0], failing.size
    cost, hours, margin = np.full(shape, np.inf), np.zeros(shape), np.zeros(shape)
    clears, renewal, any_part = np.zeros(shape, dtype=np.int64), np.zeros(shape), np.zeros(shape, dtype=bool)
    job_clears, job_renewal = np.array(jobs.clears, dtype=np.int64), np.array(jobs.renewal)
    chosen = np.zeros((*shape, len(jobs.clears)), dtype=bool)
    for n, choice in enumerate(choices):
        these = (which.ravel() == n)[:, None]
        cheapest = {i: single[j] for i, j in zip(options, choice.tolist(), strict=True)}
        for every, ways in _ways(jobs, failing, cheapest):
            t = tickets(bench, ways, first=False)
            better = these & (t.cost < cost[:, every])
            found = (
                (cost, t.cost),
                (hours, t.hours / THOUSAND),
                (margin, gross_profit(bench, t)),
                (clears, np.bitwise_or.reduce(np.where(ways, job_clears, 0), axis=1)),
                (renewal, np.where(ways, job_renewal, 0.0).max(axis=1, initial=0.0)),
                (any_part, t.any_part),
            )
            for table, figure in found:
                table[:, every] = np.where(better, figure, table[:, every])
            chosen[:, every] = np.where(better[:, :, None], ways, chosen[:, every])
    return FollowUp(cost, clears, renewal, any_part, hours, margin, chosen)


class FollowUps:
    """The cheapest jobs to add, worked out once for each set of failing faults out of `size` sets."""

    def __init__(self, bench: Bench, jobs: Jobs, size: int) -> None:
        self._bench, self._jobs = bench, jobs
        self._place = np.full(size, -1, dtype=np.int64)
        self._known: list[FollowUp] = []
        self._count = 0

    def __call__(self, failing: Masks) -> FollowUp:
        """Return the follow-up of each set of failing faults, (W, k)."""
        new = failing[self._place[failing] < 0]
        if new.size:
            new = np.unique(new)
            self._known.append(follow_up(self._bench, self._jobs, new))
            self._place[new] = self._count + np.arange(new.size)
            self._count += new.size
            if len(self._known) > 1:
                parts = [[getattr(f, x.name) for f in self._known] for x in fields(FollowUp)]
                self._known = [FollowUp(*(np.concatenate(p, axis=1) for p in parts))]
        at, known = self._place[failing], self._known[0]
        return FollowUp(*(getattr(known, x.name)[:, at] for x in fields(FollowUp)))
