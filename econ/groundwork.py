"""Groundwork: what the worth of repairs rests on whatever the machine would sell for, worked out once and shared.

Machines that differ in age, condition and price alone have it in common: which sets of faults each scope of work leaves
and how often, what would have to follow, and what its ticket comes to. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.costing import Wait, gross_profit, members, tickets, work
from econ.followups import FollowUp, FollowUps, OfOne
from econ.scopes import Scope, likely_scopes
from econ.setting import Setting
from econ.states import Masks, mask_of

Floats = NDArray[np.float64]
TABLES = 6  # of how likely each set is left by some scopes that are kept
FEW = 8  # times that there must be more sets of faults than states for sorting to be quicker than counting


@dataclass(frozen=True)
class Batch:
    """Sets of faults that were met together: first those that pass the release check, (p,), then those that fail, (q,).

    passed, failed: those, with the wanted wear that is left. cured: whether nothing is left in a set that costs much of
    the service, (p,). more: what would have to follow where they fail. left: by the share of the age that is then taken
    off the distinct sets left, with the places of those that leave them (where) and which each leaves (which).
    """

    masks: Masks
    passed: Masks
    failed: Masks
    cured: NDArray[np.bool_]
    more: FollowUp | None
    left: tuple[tuple[float, Masks, NDArray[np.int64], NDArray[np.int64]], ...]


class Sets:
    """The sets of faults that repairs leave which renew alike, in the order in which they were met."""

    def __init__(self, s: Setting, follow_ups: FollowUps, renewal: float, worn: int) -> None:
        self._failing, self._costly, self._follow_ups = s.table.failing, s.table.costly, follow_ups
        self._renewal, self._worn = renewal, worn
        self._place = np.full(1 << s.in_play, -1, dtype=np.int32)
        self.batches: list[Batch] = []
        self.count = 0
        self.moved = 0  # how often places changed

    def at(self, masks: Masks) -> NDArray[np.int32]:
        """Return the place of each set of faults; those not met before make a batch."""
        unknown = masks[self._place[masks] < 0]
        if unknown.size:
            self._add(np.unique(unknown))
        return self._place[masks]

    def _add(self, new: Masks) -> None:
        fails = (new & self._failing) != 0
        passed, failed = new[~fails], new[fails]
        new = np.concatenate([passed, failed])
        self._place[new] = self.count + np.arange(new.size)
        self.count += new.size
        more, found = None, []
        if failed.size:
            more = self._follow_ups(failed & self._failing)
            left = (failed | self._worn) & ~more.clears
            renewals = np.maximum(self._renewal, more.renewal)
            for r in np.unique(renewals):
                where = np.flatnonzero(renewals == r)
                one, which = np.unique(left[where], return_inverse=True)
                found.append((float(r), one, where, which))
        cured = (passed & self._costly) == 0
        self.batches.append(Batch(new, passed | self._worn, failed | self._worn, cured, more, tuple(found)))

    def gather(self) -> bool:
        """Put all that was met so far into one batch; return whether that moved any.

        What comes after is worked out for all of it at once.
        """
        if len(self.batches) < 2:
            return False
        every = np.concatenate([b.masks for b in self.batches])
        self.batches, self.count, self.moved = [], 0, self.moved + 1
        self._add(np.unique(every))
        return True


@dataclass(frozen=True)
class Remains:
    """What a scope leaves: the sets of faults, rising, with the chance of each [1] and its place in Sets, (k,).

    bits: how often what fails must be halved to find it; fails: chance that anything does [1]. again: expected cost of
    waiting where a shop does its jobs over again [money].
    """

    masks: Masks
    chances: Floats
    at: NDArray[np.int32]
    bits: float
    fails: float
    again: Any

    @property
    def looks(self) -> float:
        """How often what fails is expected to be halved to find it."""
        return self.bits * self.fails


@dataclass(frozen=True)
class Price:
    """What a scope costs: its ticket, all counted and as paid [money]; hours by the book [mh]; weeks; gross profit."""

    cost: Any
    total: Any
    hours: Any
    weeks: Any
    profit: Any


class Groundwork:
    """What the repairs of machines have in common that are believed alike and worked on at the same prices."""

    def __init__(self, setting: Setting, follow_ups: FollowUps | None = None) -> None:
        """setting: of one of the machines. follow_ups: of the same bench, jobs and faults in play, to use again."""
        self.setting = setting
        week = setting.payoffs.week
        self.follow_ups = follow_ups or OfOne(setting.bench, setting.jobs, 1 << setting.in_play, week)
        self._sets: dict[tuple[float, int], Sets] = {}
        self._remains: dict[tuple[Scope, int], Remains] = {}
        self._prices: dict[Scope, Price] = {}
        self._chances: dict[tuple[tuple[Scope, ...], int], Any] = {}

    def check(self, s: Setting) -> None:
        """Raise ValueError where something else is believed in a setting than in that of the groundwork."""
        if s.posterior is not self.setting.posterior:
            message = "a groundwork is of one posterior"
            raise ValueError(message)

    def key(self, scope: Scope) -> tuple[float, int]:
        """Return what tells the sets of faults that a scope leaves from those of others."""
        return self.setting.jobs.renewed(scope), self.setting.worn & ~self.setting.jobs.cleared(scope)

    def sets(self, renewal: float, worn: int) -> Sets:
        """Return the sets of faults of repairs that renew alike and leave the same wanted wear."""
        if (renewal, worn) not in self._sets:
            self._sets[renewal, worn] = Sets(self.setting, self.follow_ups, renewal, worn)
        return self._sets[renewal, worn]

    def gather(self) -> None:
        """Have the sets of faults met so far ready for the next machine, each kind of them in one batch."""
        moved = {key for key, sets in self._sets.items() if sets.gather()}
        if moved:
            self._chances.clear()
        for (scope, few), known in self._remains.items() if moved else ():
            if self.key(scope) in moved:
                self._remains[scope, few] = replace(known, at=self._sets[self.key(scope)].at(known.masks))

    @cached_property
    def pool(self) -> list[Scope]:
        """The scopes that cover the likely states, likeliest first."""
        s = self.setting
        hidden = mask_of(np.flatnonzero(s.table.hidden))
        return likely_scopes(s.jobs, s.posterior, s.table.failing, hidden, s.clearing)

    def remains(self, scope: Scope, few: int) -> Remains:
        """Return what a scope leaves over the likeliest states. few: how many of them."""
        known = self._remains.get((scope, few))
        if known is None:
            s = self.setting
            states, weights = s.posterior.states[:few], s.posterior.weights[:few]
            sure, doubtful = _doubts(s, scope)
            masks, each = self._summed(states & ~sure, weights)
            for chance, cleared in doubtful:  # each by itself: it cures, or leaves what there was
                both = np.concatenate([masks & ~cleared, masks])
                masks, each = self._summed(both, np.concatenate([(1 - chance) * each, chance * each]))
            again = weights @ done_over(s, scope, states) if s.terms.by_shop else 0.0
            known = Remains(masks, each, self.sets(*self.key(scope)).at(masks), *self._tracing(masks, each), again)
            self._remains[scope, few] = known
        return known

    def chances(self, scopes: Sequence[Scope], few: int) -> Any:
        """Return how likely each set of faults is left by scopes that renew alike, a sparse table (scopes, sets).

        few: how many of the likeliest states are looked at.
        """
        from scipy.sparse import csr_array

        left, sets = [self.remains(x, few) for x in scopes], self.sets(*self.key(scopes[0]))
        known = self._chances.get((tuple(scopes), few))
        if known is None:
            ends = np.cumsum([0, *(x.at.size for x in left)])
            figures = np.concatenate([x.chances for x in left]), np.concatenate([x.at for x in left]), ends
            known = self._chances[tuple(scopes), few] = csr_array(figures, shape=(len(scopes), sets.count))
            if len(self._chances) > TABLES:
                del self._chances[next(iter(self._chances))]
        if known.shape[1] < sets.count:
            known.resize(len(scopes), sets.count)
        return known

    def _summed(self, masks: Masks, chances: Floats) -> tuple[Masks, Floats]:
        """Return sets of faults, each once and rising, with the sums of their chances."""
        if masks.size * FEW < 1 << self.setting.in_play:
            order = np.argsort(masks, kind="stable")
            rising = masks[order]
            first = np.flatnonzero(np.append(True, rising[1:] != rising[:-1]))
            return rising[first], np.add.reduceat(chances[order], first)
        whole = np.bincount(masks, chances, 1 << self.setting.in_play).astype(float)
        found = np.flatnonzero(whole)
        return found, whole[found]

    def _tracing(self, masks: Masks, chances: Floats) -> tuple[float, float]:
        """Return how often what fails must be halved to find it, where sets are left, and the chance that any does."""
        sets, seen = self._summed(masks & self.setting.table.failing, chances)
        seen = seen[1:] if sets.size and not sets[0] else seen
        return float(entropy(seen)), float(seen.sum())

    def prices(self, scopes: Sequence[Scope]) -> list[Price]:
        """Return what each scope costs."""
        new = [x for x in dict.fromkeys(scopes) if x not in self._prices]
        if new:
            bench = self.setting.bench
            member = members(bench, new)
            t = tickets(bench, member)
            weeks = repair_weeks(self.setting, work(bench, member).wait)
            columns = t.cost, t.total, t.hours, weeks, gross_profit(bench, t)
            self._prices |= {x: Price(*row) for x, row in zip(new, zip(*columns, strict=True), strict=True)}
        return [self._prices[x] for x in scopes]


def repair_weeks(s: Setting, wait: Wait) -> Floats:
    """Return the weeks a repair takes: waiting for parts, and for the bench where a shop does it."""
    weeks: Floats = wait.weeks(s.terms["parts_lead_days"] / 7) + s.terms["queue_weeks"]
    return weeks


def entropy(weights: Floats) -> Floats:
    """Return the entropy along the last axis of weights that need not sum to 1 [bits]: how often to halve them.

    References: C. E. Shannon, A mathematical theory of communication, Bell System Technical J. 27, 1948.
    """
    total = weights.sum(axis=-1, keepdims=True)
    q = np.divide(weights, total, out=np.ones_like(weights), where=(total > 0) & (weights > 0))
    bits: Floats = -(q * np.log2(q)).sum(axis=-1)
    return bits


def _doubts(s: Setting, scope: Scope) -> tuple[int, list[tuple[float, int]]]:
    """Return the faults that a scope clears for sure, and of each job that may not cure the chance and what it clears.

    A shop does its own work over again for nothing, so for its customers it cures in the end.
    """
    doubtful = [j for j in scope if s.jobs.uncured[j] > 0 and s.jobs.clears[j] & ~s.worn]
    if s.terms.by_shop:
        doubtful = []
    sure = s.jobs.cleared(j for j in scope if j not in doubtful)
    return sure, [(s.jobs.uncured[j], s.jobs.clears[j]) for j in doubtful]


def ways_to_cure(s: Setting, scope: Scope) -> list[tuple[float, int]]:
    """Return (chance, faults cleared) for each way in which jobs of a scope may not cure, each by itself."""
    sure, doubtful = _doubts(s, scope)
    found = []
    for fails in product((False, True), repeat=len(doubtful)):
        cleared, chances = sure, []
        for (chance, mask), failed in zip(doubtful, fails, strict=True):
            cleared |= 0 if failed else mask
            chances.append(chance if failed else 1 - chance)
        found.append((float(np.prod(chances)), cleared))
    return found


def done_over(s: Setting, scope: Scope, states: Masks) -> Floats:
    """Return the cost of waiting where a shop does its jobs over again, by state [money]; a shop's customer waits."""
    wait, times = times_done_over(s, scope, states)
    cost: Floats = wait.weeks(s.terms["parts_lead_days"] / 7) @ times * s.payoffs.week
    return cost


def times_done_over(s: Setting, scope: Scope, states: Masks) -> tuple[Wait, Floats]:
    """Return what a shop waits for to do each job of a scope over again, and how often, by state; (jobs, m)."""
    again = [j for j in scope if s.terms.by_shop]
    clears = np.array([s.jobs.clears[j] for j in again], dtype=np.int64)
    uncured = np.array([s.jobs.uncured[j] for j in again])
    times = uncured[:, None] * ((states & clears[:, None]) != 0)
    waits = s.jobs.waits
    return Wait(waits.usual[again], waits.own[again], waits.times), times


def failing_sets(
    s: Setting, place: NDArray[np.int64], ways: Sequence[tuple[float, int]], states: Masks
) -> tuple[NDArray[np.int64], int]:
    """Return the number of the set of faults that fail, in each way and state (ways, m), none being 0; and how many.

    place: number of every set of faults by those of them that fail the test run (`Groundwork.place`).
    """
    failing = place[np.array([states & ~cleared for _, cleared in ways]) & s.table.failing]
    size = 1 << s.table.failing.bit_count()
    if size > failing.size:
        sets, failing = np.unique(np.append(failing, 0), return_inverse=True)
        size, failing = sets.size, failing[:-1].reshape(len(ways), -1)
    return failing, size


def counted(places: NDArray[np.int64], weights: Floats, size: int) -> Floats:
    """Return the sum of weights (m,) or (W, m) by place, (size,) or (W, size)."""
    worlds = np.atleast_2d(weights)
    every = places + size * np.arange(worlds.shape[0])[:, None]
    total = np.bincount(every.ravel(), worlds.ravel(), size * worlds.shape[0]).astype(float)
    return total.reshape(*weights.shape[:-1], size)
