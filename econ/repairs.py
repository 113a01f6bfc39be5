"""Repairs: what each scope of work brings in each state, and which scopes are worth considering.

A scope is fixed before the state is known: it is paid for whatever turns up. Faults it misses that cost much of the
service fail the test run; then what was missed is traced and the better of adding the cheapest remaining jobs and
giving up follows, or it is given up untraced. Other faults that it does not clear stay. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from econ.costing import THOUSAND, Wait, gross_profit, members, tickets, tracing_hours, work
from econ.scopes import FollowUps, Scope, completed, likely_scopes, neighbours
from econ.setting import Course, Setting
from econ.states import Masks, mask_of, numbers_in, packed

Floats = NDArray[np.float64]
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

    def __init__(self, setting: Setting, follow_ups: FollowUps | None = None) -> None:
        """follow_ups: of the same bench, jobs and faults in play, to use again."""
        self._s = setting
        self._known: dict[tuple[float, int], tuple[NDArray[np.int32], Floats]] = {}
        p = setting.payoffs
        self.follow_ups = follow_ups or FollowUps(setting.bench, setting.jobs, 1 << setting.in_play, p.week)
        self.place = packed(setting.table.failing, setting.in_play)
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
        place, table = self._known.get((renewal, worn), (None, np.zeros((self.ROWS, 1, 0))))
        if place is None:
            place = np.full(1 << self._s.in_play, -1, dtype=np.int32)
        unknown = masks[place[masks] < 0]
        if unknown.size:
            new = np.unique(unknown)
            place[new] = table.shape[2] + np.arange(new.size)
            found = self._work_out(new, renewal, worn)
            known = np.broadcast_to(table, (self.ROWS, found.shape[1], table.shape[2]))
            table = np.concatenate([known, found], axis=2)
            self._known[renewal, worn] = place, table
        return table, place[masks]

    def _work_out(self, masks: Masks, renewal: float, worn: int) -> Floats:
        """Return the rows of sets of faults not seen before, (ROWS, W, k)."""
        s = self._s
        failing = masks & s.table.failing
        passes = failing == 0
        failed = self._after_failure(masks[~passes], failing[~passes], renewal, worn) if not passes.all() else None
        use = s.payoffs.kept(masks[passes] | worn, renewal) if passes.any() else None
        worlds = max(1 if failed is None else failed.shape[1], 1 if use is None else np.atleast_2d(use.worth).shape[0])
        out = np.zeros((self.ROWS, worlds, masks.size))
        if failed is not None:
            out[:, :, ~passes] = failed
        if use is not None:
            out[0, :, passes] = out[4, :, passes] = out[8, :, passes] = np.atleast_2d(use.worth).T
            out[2, :, passes] = out[5, :, passes] = np.atleast_2d(use.years).T
            out[3, :, passes] = ((masks[passes] & s.table.costly) == 0)[:, None]
        return out

    def _after_failure(self, masks: Masks, failing: Masks, renewal: float, worn: int) -> Floats:
        """Return the rows where the release check fails: add the cheapest jobs, or give up; (ROWS, W, k)."""
        p, more = self._s.payoffs, self.follow_ups(failing)
        left = (masks | worn) & ~more.clears
        renewals = np.maximum(renewal, more.renewal)
        # The machine is on the bench already: only parts are waited for.
        add, years = -more.cost, np.zeros(more.cost.shape)
        for r in np.unique(renewals):
            these = np.flatnonzero(renewals == r)
            one, at = np.unique(left[these], return_inverse=True)
            use = p.kept(one, float(r))
            worth, served = np.atleast_2d(use.worth)[:, at], np.atleast_2d(use.years)[:, at]
            if worth.shape[0] > add.shape[0]:
                add, years = (np.repeat(x, worth.shape[0], axis=0) for x in (add, years))
            add[:, these] += worth
            years[:, these] = served
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


def repair_weeks(s: Setting, wait: Wait) -> Floats:
    """Return the weeks a repair takes: waiting for parts, and for the bench where a shop does it."""
    weeks: Floats = wait.weeks(s.terms["parts_lead_days"] / 7) + s.terms["queue_weeks"]
    return weeks


def best_of(ways: Mapping[str, Floats]) -> Floats:
    """Return the best of several disposals, state by state, a row for each world where any has."""
    best: Floats = np.max(np.broadcast_arrays(*ways.values()), axis=0)
    return best


def entropy(weights: Floats) -> Floats:
    """Return the entropy along the last axis of weights that need not sum to 1 [bits]: how often to halve them.

    References: C. E. Shannon, A mathematical theory of communication, Bell System Technical J. 27, 1948.
    """
    total = weights.sum(axis=-1, keepdims=True)
    q = np.divide(weights, total, out=np.ones_like(weights), where=(total > 0) & (weights > 0))
    bits: Floats = -(q * np.log2(q)).sum(axis=-1)
    return bits


def open_ended(s: Setting, scope: Scope) -> bool:
    """Return whether a scope leaves the jobs open until the cause is found; it is never given up untraced."""
    return set(scope) <= {*completed((), s.clearing), *s.wanted}


def ways_to_cure(s: Setting, scope: Scope) -> list[tuple[float, int]]:
    """Return (chance, faults cleared) for each way in which jobs of a scope may not cure, each by itself.

    A shop does its own work over again for nothing, so for its customers it cures in the end.
    """
    doubtful = [j for j in scope if s.jobs.uncured[j] > 0 and s.jobs.clears[j] & ~s.worn]
    if s.terms.by_shop:
        doubtful = []
    found = []
    for fails in product((False, True), repeat=len(doubtful)):
        lost = {j for j, f in zip(doubtful, fails, strict=True) if f}
        chance = float(np.prod([s.jobs.uncured[j] if j in lost else 1 - s.jobs.uncured[j] for j in doubtful]))
        found.append((chance, s.jobs.cleared(j for j in scope if j not in lost)))
    return found


def worth_by_state(s: Setting, after: AfterRepair, scope: Scope, states: Masks, weights: Floats) -> Floats:
    """Return what a scope brings in each state of the one world there is, before its ticket is paid, (m,) [money].

    Where the test run fails, what was missed is traced (each halving of what it may be costs the tracing time) or the
    machine is given up, whichever is better on the whole.
    """
    renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
    ways = ways_to_cure(s, scope)
    tables = [(chance, *after.table(states & ~cleared, renewal, worn)) for chance, cleared in ways]
    traced, given_up = (np.sum([chance * table[row, 0, at] for chance, table, at in tables], axis=0) for row in (0, 4))
    bits, fails = _halvings(s, after, ways, states, weights)
    traced = traced - bits * fails * s.trace_cost
    worth: Floats = traced if open_ended(s, scope) or traced @ weights >= given_up @ weights else given_up
    return worth - done_over(s, scope, states)


def mean_of(s: Setting, after: AfterRepair, scope: Scope, states: Masks, weights: Floats) -> Floats:
    """Return the means over the states of what a scope brings, in the one world there is, before its ticket is paid.

    Returns (6,): net worth as in `worth_by_state`, cost added later, years, cured at once, and the shop's gross profit
    and hours on what is added later. Summed over the sets of faults left instead of over the states.
    """
    renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
    ways = ways_to_cure(s, scope)
    left = np.array([states & ~cleared for _, cleared in ways])
    table, at = after.table(left.ravel(), renewal, worn)
    each: Floats = np.zeros(table.shape[2])
    for (chance, _), places in zip(ways, at.reshape(left.shape), strict=True):
        each += chance * np.bincount(places, weights, each.size)
    used = np.flatnonzero(each)
    rows = table[:, 0, used] @ each[used]
    bits, fails = _halvings(s, after, ways, states, weights)
    looks = float(bits) * float(weights @ fails)
    trace, again = looks * float(s.trace_cost), float(weights @ done_over(s, scope, states))
    if not open_ended(s, scope) and rows[0] - trace < rows[4]:
        return np.array([rows[4] - again, 0.0, rows[5], rows[3], 0.0, 0.0])
    hours = looks * float(tracing_hours(s.bench))
    earned = hours * float(s.bench.charges.labour_rate - s.terms.money("mechanic_wage"))
    return np.array([rows[0] - trace - again, rows[1] + trace, rows[2], rows[3], rows[6] + earned, rows[7] + hours])


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

    place: number of every set of faults by those of them that fail the test run (`AfterRepair.place`).
    """
    failing = place[np.array([states & ~cleared for _, cleared in ways]) & s.table.failing]
    size = 1 << s.table.failing.bit_count()
    if size > failing.size:
        sets, failing = np.unique(np.append(failing, 0), return_inverse=True)
        size, failing = sets.size, failing[:-1].reshape(len(ways), -1)
    return failing, size


def _halvings(
    s: Setting, after: AfterRepair, ways: Sequence[tuple[float, int]], states: Masks, weights: Floats
) -> tuple[Floats, Floats]:
    """Return how often what fails must be halved to find it [bits], and the chance in each state that anything does."""
    failing, size = failing_sets(s, after.place, ways, states)
    fails, seen = np.zeros(states.size), np.zeros(size)
    for (chance, _), these in zip(ways, failing, strict=True):
        fails += chance * (these != 0)
        seen += chance * counted(these, weights, size)
    return entropy(seen[1:]), fails


def counted(places: NDArray[np.int64], weights: Floats, size: int) -> Floats:
    """Return the sum of weights (m,) or (W, m) by place, (size,) or (W, size)."""
    worlds = np.atleast_2d(weights)
    every = places + size * np.arange(worlds.shape[0])[:, None]
    total = np.bincount(every.ravel(), worlds.ravel(), size * worlds.shape[0]).astype(float)
    return total.reshape(*weights.shape[:-1], size)


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
        present = float(s.posterior.weights[(s.posterior.states >> i & 1) == 1].sum())
        if present >= LEADS_FROM and (s.table.hidden[i] or not hidden):
            mask |= 1 << i
    return mask


def search(s: Setting, after: AfterRepair) -> dict[Scope, float]:
    """Return scopes worth looking at and about what each is worth, best first: covers of the likely states, improved.

    A scope is left out where fewer of its jobs are worth the same.
    """
    bearing = {j for i in range(s.in_play) for j in s.jobs.for_fault[i]}
    more = sorted((bearing | set(s.wanted)) - set(s.bench.barred))
    hidden = mask_of(np.flatnonzero(s.table.hidden))
    pool = likely_scopes(s.jobs, s.posterior, s.table.failing, hidden, s.clearing)
    enough = min(int(np.searchsorted(np.cumsum(s.posterior.weights), SEARCH_MASS)) + 1, SEARCH_STATES)
    states, weights = s.posterior.states[:enough], s.posterior.weights[:enough]
    value: dict[Scope, float] = {}

    def look(scopes: Sequence[Scope]) -> None:
        new = [x for x in dict.fromkeys(scopes) if x not in value and not any(j in s.bench.barred for j in x)]
        if new:
            gross = np.array([mean_of(s, after, x, states, weights)[0] for x in new])
            member = members(s.bench, new)
            paid = tickets(s.bench, member).cost + repair_weeks(s, work(s.bench, member).wait) * s.payoffs.week
            value.update(zip(new, (gross - paid).tolist(), strict=True))

    def ranked() -> list[Scope]:
        return sorted(value, key=lambda x: (-value[x], x))

    look(pool)
    done: set[Scope] = set()
    for _ in range(ROUNDS):
        leaders = [x for x in ranked()[:3] if x not in done]
        done.update(leaders)
        look([y for x in leaders for y in neighbours(s.jobs, x, s.clearing, more)])
    order = ranked()
    return {
        x: value[x]
        for n, x in enumerate(order)
        if not any(set(y) < set(x) and abs(value[y] - value[x]) <= IDLE for y in order[max(n - SHOWN, 0) : n + SHOWN])
    }


def chosen(s: Setting, found: Mapping[Scope, float]) -> list[Scope]:
    """Return the scopes to show: the best, always the open one, and the best that clears the faults that lead."""
    best = list(found)[:SHOWN]
    leader = leading(s)
    thorough = [x for x in found if leader and s.jobs.cleared(x) & leader == leader]
    for must in (completed((), s.clearing), *thorough[:1]):
        if must in found and must not in best:
            best.append(must)
    return best


def repairs(s: Setting, after: AfterRepair, scopes: Sequence[Scope], by_state: bool = True) -> list[Course]:
    """Return the repair courses of scopes, best first. by_state: with the worth in each state."""
    if not scopes:
        return []
    member = members(s.bench, scopes)
    t, w = tickets(s.bench, member), work(s.bench, member)
    weeks = repair_weeks(s, w.wait)
    states, weights = s.posterior.states, s.posterior.weights
    paid = t.cost + weeks * s.payoffs.week
    profit = gross_profit(s.bench, t)
    found = []
    for i, scope in enumerate(scopes):
        mean = mean_of(s, after, scope, states, weights)
        each = worth_by_state(s, after, scope, states, weights) - paid[i] if by_state else np.zeros(0)
        hours, margin, hourly = float(t.hours[i]) / THOUSAND, None, None
        if s.terms.perspective == "shop":
            margin = float(profit[i] + mean[4]) - _comebacks(s, scope)
            hourly = margin / (hours + float(mean[5]))
        found.append(
            Course(
                "repair",
                scope,
                tuple(j for j in scope if j in s.wanted),
                float(mean[0] - paid[i]),
                each,
                -float(t.total[i]),
                float(t.cost[i] + mean[1] + weeks[i] * s.payoffs.week),
                hours,
                float(weeks[i]),
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
