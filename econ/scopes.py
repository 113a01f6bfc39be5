"""Scopes: which sets of jobs are worth considering, and the cheapest jobs to add after a failed release check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from econ.costing import Bench, Wait, work
from econ.evidence import Posterior
from econ.knowledge import Job, pert_mean
from econ.rulebook import MachineClass
from econ.states import mask_of, numbers_in

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
