"""Scopes: which sets of jobs are worth considering, and the cheapest jobs to add after a failed release check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.costing import THOUSAND, Bench, Wait, gross_profit, tickets, work
from econ.evidence import Posterior
from econ.knowledge import Job, pert_mean
from econ.rulebook import MachineClass
from econ.states import Masks, mask_of, numbers_in

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Scope = tuple[int, ...]

SCOPES_AT_MOST = 32
LIKELY_STATES = 24  # how many of the likeliest states are given scopes that cover them
COVERS_PER_STATE = 12
BITS = 62  # of a whole number that stands for a set of jobs


@dataclass(frozen=True)
class Jobs:
    """The jobs of a bench as masks over the faults in play and the wanted wear faults after them.

    clears: job number -> mask. for_fault: fault number -> jobs meant for it that can be done, in rulebook order. waits:
    what each waits for. usual: by fault number the job that takes the least in parts, and the
    one that takes the least hours, by the rulebook; none where there is no job. surely: by fault number what each of
    its jobs clears, as a mask, and renews [1], those that can't be done too: what can be had has no bearing on it.
    """

    clears: tuple[int, ...]
    for_fault: tuple[tuple[int, ...], ...]
    uncured: tuple[float, ...]
    waits: Wait
    renewal: tuple[float, ...]
    usual: tuple[Mapping[int, int], Mapping[int, int]]
    surely: tuple[tuple[int, float], ...]

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
    clears = tuple(mask_of(number[f] for f in job.cleared if f in number) for job in jobs)
    # A buyer pays for a working machine, not for the age of its engine.
    renewal = tuple(0.0 if bench.terms.perspective == "reseller" else job.renewal for job in jobs)
    meant = [[j for j, job in enumerate(jobs) if fault in job.clears] for fault in faults]
    able = [[j for j in o if j not in bench.barred] for o in meant]
    effort = [_effort(c, job) for job in jobs]
    by_parts = {i: min(o, key=lambda j: effort[j]) for i, o in enumerate(able) if o}
    by_hours = {i: min(o, key=lambda j: effort[j][::-1]) for i, o in enumerate(able) if o}
    surely = [
        (int(np.bitwise_and.reduce([clears[j] for j in o])), min(renewal[j] for j in o)) if o else (0, 0.0)
        for o in meant
    ]
    uncured = tuple(job.uncured for job in jobs)
    waits = work(bench, np.eye(len(jobs), dtype=bool)).wait
    return Jobs(clears, tuple(map(tuple, able)), uncured, waits, renewal, (by_parts, by_hours), tuple(surely))


def _effort(c: MachineClass, job: Job) -> tuple[float, float]:
    """Return what a job takes by the rulebook: parts [USD] and hours."""
    ops = [c.operations[o] for o in job.operations]
    parts = sum(q.quantity * pert_mean(c.parts[q.part].price) for q in (*job.parts, *(q for o in ops for q in o.parts)))
    return parts, sum(pert_mean(o.hours) for o in ops)


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


def _ways(jobs: Jobs, failing: Masks) -> tuple[NDArray[np.int64], Bools]:
    """Return ways to clear each set of failing faults: the set each serves, rising, and its jobs (ways, jobs).

    The usual jobs, by parts or by hours; and of those by parts all but for one job that takes the faults it is meant
    for. The ways do not depend on prices: a dearer part makes none of them cheaper.
    """

    def usual(masks: Masks, which: Mapping[int, int]) -> Bools:
        member = np.zeros((masks.size, len(jobs.clears)), dtype=bool)
        for fault, job in which.items():
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
    """Return where each set of jobs stands first among ways (n, jobs), and which of those each way is (n,).

    Sets of very many jobs are taken one by one.
    """
    used = ways[:, ways.any(axis=0)]
    if used.shape[1] > BITS:
        every = np.arange(len(ways))
        return every, every
    keys = used @ (1 << np.arange(used.shape[1]))
    _, first, same = np.unique(keys, return_index=True, return_inverse=True)
    return first, same


def follow_up(bench: Bench, jobs: Jobs, failing: Masks, week: Any) -> FollowUp:
    """Return the cheapest jobs that clear each set of failing faults (k,), with the retest.

    week: what a week of waiting for parts costs [money]. The repair has been put back together, so shared strip-down is
    paid again.
    """
    serves, ways = _ways(jobs, failing)
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


class FollowUps:
    """The cheapest jobs to add, worked out once for each set of failing faults out of `size` sets."""

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
                parts = [[getattr(f, x.name) for f in self._known] for x in fields(FollowUp)]
                self._known = [FollowUp(*(np.concatenate(p, axis=min(1, p[0].ndim - 1)) for p in parts))]
        at, known = self._place[failing], self._known[0]
        every = [getattr(known, x.name) for x in fields(FollowUp)]
        return FollowUp(*(x[at] if x.ndim == 1 else np.take(x, at, axis=1) for x in every))
