"""Repairs: what each scope of work brings in each state, and which scopes are worth considering.

A scope is fixed before the state is known: it is paid for whatever turns up. Faults it misses that cost much of the
service fail the test run; then what was missed is traced and the better of adding the cheapest remaining jobs and
giving up follows, or it is given up untraced. Other faults that it does not clear stay. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from econ.costing import THOUSAND, members, tickets, tracing_hours
from econ.groundwork import Batch, Groundwork, Remains, Sets, done_over, halvings, ways_to_cure
from econ.scopes import Scope, completed, neighbours
from econ.setting import Course, Setting
from econ.states import Masks, numbers_in

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SHOWN = 8  # repair courses worked out on the whole posterior and shown
SEARCH_STATES = 1024  # and how many states at most
SEARCH_MASS = 0.99  # share of the posterior that the search for scopes looks at; the chosen ones see all of it
LEADS_FROM = 0.4  # probability from which a fault leads the others [1]; judgement
IDLE = 50.0  # a job that changes the worth of a scope by no more than this is left out of it [minor units]; judgement
ROUNDS = 3  # of improving the best scopes by one job


class AfterRepair:
    """Worth once a scope is done, with given faults left; each set of faults is worked out once.

    Rows: worth if what was missed is traced, then mended or given up; expected cost of jobs added; discounted years of
    service; cured at once (0 or 1); worth if it is given up untraced; years then; the shop's gross profit on the jobs
    added, and their hours; worth if jobs are added even where giving up is better. Where the setting holds several
    worlds there is a row of each for each world.
    """

    ROWS = 9

    def __init__(self, setting: Setting, groundwork: Groundwork | None = None) -> None:
        """groundwork: of the same beliefs, bench and jobs, to use again."""
        self._s = setting
        self._known: dict[tuple[float, int], tuple[int, Floats]] = {}
        p = setting.payoffs
        self.groundwork = groundwork or Groundwork(setting)
        instead = [
            r.worth - (0.0 if name == "do_without" else p.replacement_weeks * p.week)
            for name, r in p.replacements.items()
        ]
        self._instead = np.max(np.broadcast_arrays(*instead) if instead else np.zeros(1), axis=0)

    def __call__(self, masks: Masks, renewal: float, worn: int) -> Floats:
        """Return the rows for each set of faults left in the one world there is, (k, ROWS)."""
        result: Floats = self.by_world(masks, renewal, worn)[:, 0].T
        return result

    def by_world(self, masks: Masks, renewal: float, worn: int) -> Floats:
        """Return the rows for each set of faults left, (ROWS, W, k)."""
        table, at = self.table(masks, renewal, worn)
        return table[:, :, at]

    def table(self, masks: Masks, renewal: float, worn: int) -> tuple[Floats, NDArray[np.int32]]:
        """Return the rows of all sets of faults known so far, (ROWS, W, sets), and where each of `masks` stands."""
        sets = self.groundwork.sets(renewal, worn)
        at = sets.at(masks)
        return self._all(sets, renewal, worn), at

    def means(self, scope: Scope, few: int, rows: Sequence[int]) -> tuple[Floats, Remains]:
        """Return the means of some rows over what a scope leaves, (rows, W); and that.

        few: how many of the likeliest states are looked at.
        """
        s, left = self._s, self.groundwork.remains(scope, few)
        key = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
        table = self._all(self.groundwork.sets(*key), *key)
        # A sum in the order of the sets, row by row, is the same whatever else has been worked out.
        means = [(np.take(table[row], left.at, axis=1) * left.chances).sum(axis=1) for row in rows]
        return np.array(means), left

    def of(self, world: int) -> AfterRepair:
        """Return the same in one of the worlds."""
        return _OfOne(self, world)

    def _all(self, sets: Sets, renewal: float, worn: int) -> Floats:
        """Return the rows of all sets of faults met so far, (ROWS, W, sets)."""
        done, table = self._known.get((renewal, worn), (0, np.zeros((self.ROWS, 1, 0))))
        if done < len(sets.batches):
            parts = [table, *(self._work_out(b, renewal, worn) for b in sets.batches[done:])]
            worlds = max(x.shape[1] for x in parts[1:])
            table = np.concatenate([np.broadcast_to(x, (self.ROWS, worlds, x.shape[2])) for x in parts], axis=2)
            self._known[renewal, worn] = len(sets.batches), table
        return table

    def _work_out(self, b: Batch, renewal: float, worn: int) -> Floats:
        """Return the rows of a batch of sets of faults, (ROWS, W, k)."""
        s, passes = self._s, b.passes
        failed = self._after_failure(b, worn) if b.more is not None else None
        use = s.payoffs.kept(b.masks[passes] | worn, renewal) if passes.any() else None
        worlds = max(1 if failed is None else failed.shape[1], 1 if use is None else np.atleast_2d(use.worth).shape[0])
        out = np.zeros((self.ROWS, worlds, passes.size))
        if failed is not None:
            out[:, :, ~passes] = failed
        if use is not None:
            out[0, :, passes] = out[4, :, passes] = out[8, :, passes] = np.atleast_2d(use.worth).T
            out[2, :, passes] = out[5, :, passes] = np.atleast_2d(use.years).T
            out[3, :, passes] = ((b.masks[passes] & s.table.costly) == 0)[:, None]
        return out

    def _after_failure(self, b: Batch, worn: int) -> Floats:
        """Return the rows where the release check fails: add the cheapest jobs, or give up; (ROWS, W, k)."""
        p, more, masks = self._s.payoffs, b.more, b.masks[~b.passes]
        assert more is not None  # noqa: S101 - there is a set that fails
        # The machine is on the bench already: only parts are waited for.
        add, years = -more.cost, np.zeros(more.cost.shape)
        for renewal, one, where, which in b.left:
            use = p.kept(one, renewal)
            worth, served = np.atleast_2d(use.worth)[:, which], np.atleast_2d(use.years)[:, which]
            if worth.shape[0] > add.shape[0]:
                add, years = (np.repeat(x, worth.shape[0], axis=0) for x in (add, years))
            add[:, where] += worth
            years[:, where] = served
        drop = best_of(p.let_go(masks | worn)) + self._instead
        adds = add >= drop
        rows = (
            np.where(adds, add, drop),
            np.where(adds, more.cost, 0.0),
            np.where(adds, years, 0.0),
            np.zeros(masks.size),
            drop,
            np.zeros(masks.size),
            *(np.where(adds, x, 0.0) for x in (more.margin, more.hours)),
            np.where(np.isfinite(add), add, drop),
        )
        return np.array([np.broadcast_to(x, np.atleast_2d(adds).shape) for x in rows])


class _OfOne(AfterRepair):
    """What repairs leave in one of the worlds of a setting that holds several."""

    def __init__(self, whole: AfterRepair, world: int) -> None:
        self._s, self.groundwork, self._whole, self._world = whole._s, whole.groundwork, whole, world

    def _all(self, sets: Sets, renewal: float, worn: int) -> Floats:
        table = self._whole._all(sets, renewal, worn)
        world = min(self._world, table.shape[1] - 1)  # one row stands for all where they do not differ
        return table[:, world : world + 1]


def best_of(ways: Mapping[str, Floats]) -> Floats:
    """Return the best of several disposals, state by state, a row for each world where any has."""
    best: Floats = np.max(np.broadcast_arrays(*ways.values()), axis=0)
    return best


def open_ended(s: Setting, scope: Scope) -> bool:
    """Return whether a scope leaves the jobs open until the cause is found; it is never given up untraced."""
    return set(scope) <= {*completed((), s.clearing), *s.wanted}


def worth_by_state(s: Setting, after: AfterRepair, scope: Scope, states: Masks, weights: Floats) -> Floats:
    """Return what a scope brings in each state of the one world there is, before its ticket is paid, (m,) [money].

    Where the test run fails, what was missed is traced (each halving of what it may be costs the tracing time) or the
    machine is given up, whichever is better on the whole.
    """
    renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
    ways = ways_to_cure(s, scope)
    tables = [(chance, *after.table(states & ~cleared, renewal, worn)) for chance, cleared in ways]
    traced, given_up = (np.sum([chance * table[row, 0, at] for chance, table, at in tables], axis=0) for row in (0, 4))
    bits, fails = halvings(s, after.groundwork.place, ways, states, weights)
    traced = traced - bits * fails * s.trace_cost
    worth: Floats = traced if open_ended(s, scope) or traced @ weights >= given_up @ weights else given_up
    return worth - done_over(s, scope, states)


def worth_of(s: Setting, after: AfterRepair, scope: Scope, few: int) -> Floats:
    """Return the mean worth of a scope in each world, before its ticket is paid, (W,) [money].

    few: how many of the likeliest states are looked at. The first figure of `mean_of`.
    """
    (traced, given_up), left = after.means(scope, few, (0, 4))
    traced = traced - left.looks * float(s.trace_cost)
    best: Floats = traced if open_ended(s, scope) else np.where(traced < given_up, given_up, traced)
    return best - left.again


def mean_of(s: Setting, after: AfterRepair, scope: Scope) -> Floats:
    """Return the means over the states of what a scope brings, in the one world there is, before its ticket is paid.

    Returns (6,): net worth as in `worth_by_state`, cost added later, years, cured at once, and the shop's gross profit
    and hours on what is added later. Summed over the sets of faults left instead of over the states.
    """
    means, left = after.means(scope, s.posterior.states.size, range(8))
    rows, trace = means[:, 0], left.looks * float(s.trace_cost)
    if not open_ended(s, scope) and rows[0] - trace < rows[4]:
        return np.array([rows[4] - left.again, 0.0, rows[5], rows[3], 0.0, 0.0])
    hours = left.looks * float(tracing_hours(s.bench))
    earned = hours * float(s.bench.charges.labour_rate - s.terms.money("mechanic_wage"))
    return np.array(
        [rows[0] - trace - left.again, rows[1] + trace, rows[2], rows[3], rows[6] + earned, rows[7] + hours]
    )


def ways_of(s: Setting, after: AfterRepair, scope: Scope, states: Masks) -> tuple[Floats, Floats]:
    """Return a scope for the plan: the mean rows of `AfterRepair` (m, ROWS), and which faults then fail.

    The second is (m, sets), the chance of each set of failing faults that can come up; passing is left out.
    """
    renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
    ways = ways_to_cure(s, scope)
    rows = np.zeros((states.size, after.ROWS))
    failing = np.array([(states & ~cleared) & s.table.failing for _, cleared in ways])
    sets, place = np.unique(failing, return_inverse=True)
    fails = np.zeros((states.size, sets.size))
    for (chance, cleared), at in zip(ways, place.reshape(failing.shape), strict=True):
        rows += chance * after(states & ~cleared, renewal, worn)
        np.add.at(fails, (np.arange(states.size), at), chance)
    return rows, fails[:, sets != 0]


def leading(s: Setting, hidden: bool = False) -> int:
    """Return the faults that are likelier than LEADS_FROM and cost much of the service, as a mask.

    hidden: only those that opening shows.
    """
    mask = 0
    for i in numbers_in(s.table.costly & ((1 << s.in_play) - 1)):
        if s.posterior.marginal[i] >= LEADS_FROM and (s.table.hidden[i] or not hidden):
            mask |= 1 << i
    return mask


def search(s: Setting, after: AfterRepair, worlds: int = 1) -> list[dict[Scope, float]]:
    """Return for each world scopes worth looking at and about what each is worth, best first.

    Covers of the likely states, improved. A scope is left out where fewer of its jobs are worth the same.
    """
    bearing = {j for i in range(s.in_play) for j in s.jobs.for_fault[i]}
    more = sorted((bearing | set(s.wanted)) - set(s.bench.barred))
    looked = _Looked(s, after, worlds)
    looked.look(dict.fromkeys(after.groundwork.pool, np.ones(worlds, dtype=bool)))
    for _ in range(ROUNDS):
        wanted: dict[Scope, Bools] = {}
        for x, where in looked.leaders().items():
            for y in neighbours(s.jobs, x, s.clearing, more):
                wanted[y] = wanted[y] | where if y in wanted else where
        looked.look(wanted)
    return looked.found()


class _Looked:
    """Scopes that were looked at, and about what each is worth in each world, -inf where it was not looked at there."""

    def __init__(self, s: Setting, after: AfterRepair, worlds: int) -> None:
        self._s, self._after, self._worlds = s, after, worlds
        self._enough = min(int(np.searchsorted(np.cumsum(s.posterior.weights), SEARCH_MASS)) + 1, SEARCH_STATES)
        self._worth: dict[Scope, Floats] = {}  # in every world
        self._where: dict[Scope, Bools] = {}
        self._led: dict[Scope, Bools] = {}

    def look(self, wanted: Mapping[Scope, Bools]) -> None:
        """Look at scopes, each in the worlds in which it is wanted, (W,)."""
        new = [x for x in wanted if x not in self._worth and not any(j in self._s.bench.barred for j in x)]
        for x, price in zip(new, self._after.groundwork.prices(new), strict=True):
            worth = worth_of(self._s, self._after, x, self._enough) - (price.cost + price.weeks * self._s.payoffs.week)
            self._worth[x] = np.broadcast_to(worth, (self._worlds,))
            self._where[x] = self._led[x] = np.zeros(self._worlds, dtype=bool)
        for x, where in wanted.items():
            if x in self._where:
                self._where[x] = self._where[x] | where

    def leaders(self) -> dict[Scope, Bools]:
        """Return the scopes that are among the best three of a world and were not before, with the worlds, (W,)."""
        scopes, worth = self._table()
        best = np.zeros(worth.shape, dtype=bool)
        np.put_along_axis(best, self._order(worth)[:3], True, axis=0)
        best &= np.isfinite(worth)
        found = {}
        for x, now in zip(scopes, best, strict=True):
            new = now & ~self._led[x]
            if new.any():
                found[x] = new
                self._led[x] = self._led[x] | new
        return found

    def _table(self) -> tuple[list[Scope], Floats]:
        """Return the scopes in their order, and their worth, (scopes, W)."""
        scopes = sorted(self._worth)
        worth = np.array([np.where(self._where[x], self._worth[x], -np.inf) for x in scopes])
        return scopes, worth.reshape(len(scopes), self._worlds)

    @staticmethod
    def _order(worth: Floats) -> NDArray[np.int64]:
        """Return the places of the scopes in each world, best first, of equal ones the earlier, (scopes, W)."""
        order: NDArray[np.int64] = np.argsort(-worth, axis=0, kind="stable")
        return order

    def found(self) -> list[dict[Scope, float]]:
        """Return what `search` does."""
        scopes, worth = self._table()
        order = self._order(worth)
        member = np.zeros((len(scopes), len(self._s.bench.jobs)))
        for i, x in enumerate(scopes):
            member[i, list(x)] = 1.0
        size = member.sum(axis=1)
        within = (member @ member.T == size[:, None]) & (size[:, None] < size)  # all jobs of one, and fewer
        ranked = np.take_along_axis(worth, order, axis=0)
        keeps = np.isfinite(ranked)
        for step in range(1, SHOWN + 1):  # scopes so many places apart
            with np.errstate(invalid="ignore"):
                alike = np.abs(ranked[step:] - ranked[:-step]) <= IDLE
            before, behind = order[:-step], order[step:]
            keeps[step:] &= ~(alike & within[before, behind])
            if step < SHOWN:
                keeps[:-step] &= ~(alike & within[behind, before])
        return [{scopes[i]: float(worth[i, w]) for i in order[keeps[:, w], w].tolist()} for w in range(self._worlds)]


def chosen(s: Setting, found: Mapping[Scope, float]) -> list[Scope]:
    """Return the scopes to show: the best, always the open one, and the best that clears the faults that lead."""
    best = list(found)[:SHOWN]
    leader = leading(s)
    thorough = next((x for x in found if leader and s.jobs.cleared(x) & leader == leader), None)
    for must in (completed((), s.clearing), thorough):
        if must is not None and must in found and must not in best:
            best.append(must)
    return best


def repairs(s: Setting, after: AfterRepair, scopes: Sequence[Scope], by_state: bool = True) -> list[Course]:
    """Return the repair courses of scopes, best first. by_state: with the worth in each state."""
    if not scopes:
        return []
    after.groundwork.check(s)
    states, weights = s.posterior.states, s.posterior.weights
    found = []
    for scope, price in zip(scopes, after.groundwork.prices(scopes), strict=True):
        mean = mean_of(s, after, scope)
        wait = price.weeks * s.payoffs.week
        paid = price.cost + wait
        each = worth_by_state(s, after, scope, states, weights) - paid if by_state else np.zeros(0)
        hours, margin, hourly = float(price.hours) / THOUSAND, None, None
        if s.terms.perspective == "shop":
            margin = float(price.profit + mean[4]) - _comebacks(s, scope)
            hourly = margin / (hours + float(mean[5]))
        found.append(
            Course(
                "repair",
                scope,
                tuple(j for j in scope if j in s.wanted),
                float(mean[0] - paid),
                each,
                -float(price.total),
                float(price.cost + mean[1] + wait),
                hours,
                float(price.weeks),
                float(mean[2]),
                float(mean[3]),
                float(mean[1]),
                "",
                s.no_repair,
                open_ended(s, scope),
                margin,
                hourly,
                float(mean[5]),
            )
        )
    return sorted(found, key=lambda c: -c.worth)


def _comebacks(s: Setting, scope: Scope) -> float:
    """Return what doing jobs over again for nothing is expected to cost the shop: wages and parts [money]."""
    if not scope:
        return 0.0
    t = tickets(s.bench, members(s.bench, [(j,) for j in scope]), first=False)
    cost = t.hours * s.terms.money("mechanic_wage") / THOUSAND + t.parts_cost
    needed = [float(s.posterior.weights[(s.posterior.states & s.jobs.clears[j]) != 0].sum()) for j in scope]
    return float(sum(s.jobs.uncured[j] * n * x for j, n, x in zip(scope, needed, cost.tolist(), strict=True)))
