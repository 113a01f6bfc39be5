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

from econ.costing import THOUSAND, gross_profit, members, tickets, tracing_hours, work
from econ.scopes import FollowUps, Scope, completed, likely_scopes, neighbours
from econ.setting import Course, Setting
from econ.states import Masks, mask_of, numbers_in, packed

Floats = NDArray[np.float64]
SHOWN = 8  # repair courses worked out on the whole posterior and shown
SEARCH_STATES = 1024  # and how many states at most
SEARCH_MASS = 0.99  # share of the posterior that the search for scopes looks at; the chosen ones see all of it
LEADS_FROM = 0.4  # probability from which a fault leads the others [1]; judgement
ROUNDS = 3  # of improving the best scopes by one job


class AfterRepair:
    """Worth once a scope is done, with given faults left; each set of faults is worked out once.

    Rows: worth if what was missed is traced, then mended or given up; expected cost of jobs added; discounted years of
    service; cured at once (0 or 1); worth if it is given up untraced; years then; the shop's gross profit on the jobs
    added, and their hours; worth if jobs are added even where giving up is better.
    """

    ROWS = 9

    def __init__(self, setting: Setting) -> None:
        self._s = setting
        self._seen: dict[tuple[float, int], Floats] = {}
        self.follow_ups = FollowUps(setting.bench, setting.jobs, 1 << setting.in_play)
        p = setting.payoffs
        self._instead = max(
            (
                r.worth - (0.0 if name == "do_without" else p.replacement_weeks * p.week)
                for name, r in p.replacements.items()
            ),
            default=0.0,
        )

    def __call__(self, masks: Masks, renewal: float, worn: int) -> Floats:
        """Return the rows for each set of faults left, (k, ROWS)."""
        rows = self._seen.get((renewal, worn))
        if rows is None:
            rows = self._seen[renewal, worn] = np.full((1 << self._s.in_play, self.ROWS), np.nan)
        result: Floats = rows[masks]
        unknown = np.isnan(result[:, 0])
        if unknown.any():
            new = np.unique(masks[unknown])
            rows[new] = self._work_out(new, renewal, worn).T
            result = rows[masks]
        return result

    def _work_out(self, masks: Masks, renewal: float, worn: int) -> Floats:
        s = self._s
        out = np.zeros((self.ROWS, masks.size))
        failing = masks & s.table.failing
        passes = failing == 0
        if passes.any():
            use = s.payoffs.kept(masks[passes] | worn, renewal)
            none = np.zeros(use.worth.size)
            cured = (masks[passes] & s.table.costly) == 0
            out[:, passes] = np.array([use.worth, none, use.years, cured, use.worth, use.years, none, none, use.worth])
        if not passes.all():
            out[:, ~passes] = self._after_failure(masks[~passes], failing[~passes], renewal, worn)
        return out

    def _after_failure(self, masks: Masks, failing: Masks, renewal: float, worn: int) -> Floats:
        """Return the rows where the release check fails: add the cheapest jobs, or give up."""
        s, p = self._s, self._s.payoffs
        more = self.follow_ups(failing)
        left = (masks | worn) & ~more.clears
        renewals = np.maximum(renewal, more.renewal)
        worth, years = np.zeros(masks.size), np.zeros(masks.size)
        for r in np.unique(renewals):
            rows = renewals == r
            use = p.kept(left[rows], float(r))
            worth[rows], years[rows] = use.worth, use.years
        # The machine is on the bench already: only parts are waited for.
        wait = np.where(more.any_part, s.terms["parts_lead_days"] / 7, 0.0) * p.week
        add = worth - (more.cost + wait)
        drop = best_of(p.let_go(masks | worn)) + self._instead
        adds = add >= drop
        cost = np.where(adds, more.cost + wait, 0.0)
        none = np.zeros(masks.size)
        mended = [np.where(adds, x, 0.0) for x in (more.margin, more.hours)]
        added = np.where(np.isfinite(add), add, drop)
        return np.array([np.where(adds, add, drop), cost, np.where(adds, years, 0.0), none, drop, none, *mended, added])


def repair_weeks(s: Setting, any_part: NDArray[np.bool_]) -> Floats:
    """Return the weeks a repair takes: waiting for parts, and for the bench where a shop does it."""
    return np.where(any_part, s.terms["parts_lead_days"] / 7, 0.0) + s.terms["queue_weeks"]


def best_of(ways: Mapping[str, Floats]) -> Floats:
    """Return the best of several disposals, state by state."""
    best: Floats = np.max(np.array(list(ways.values())), axis=0)
    return best


def entropy(weights: Floats) -> float:
    """Return the entropy of weights that need not sum to 1 [bits]: how often what it may be must be halved.

    References: C. E. Shannon, A mathematical theory of communication, Bell System Technical J. 27, 1948.
    """
    q = weights[weights > 0]
    if q.size < 2:
        return 0.0
    q = q / q.sum()
    return float(-(q * np.log2(q)).sum())


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


def repair_worth(s: Setting, after: AfterRepair, scopes: Sequence[Scope], states: Masks, weights: Floats) -> Floats:
    """Return what scopes bring in each state, before their tickets are paid.

    Returns (scopes, 6, states): net worth, cost added later, years, cured at once, and the shop's gross profit and
    hours on what is added later.

    Where the test run fails, what was missed is traced (each halving of what it may be costs the tracing time) or the
    machine is given up, whichever is better on the whole.
    """
    out = np.zeros((len(scopes), 6, states.size))
    place = packed(s.table.failing, s.in_play)
    retry = s.payoffs.week * s.terms["parts_lead_days"] / 7
    for i, scope in enumerate(scopes):
        renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
        rows, seen = np.zeros((states.size, after.ROWS)), np.zeros(1 << s.table.failing.bit_count())
        fails = np.zeros(states.size)
        for chance, cleared in ways_to_cure(s, scope):
            left = states & ~cleared
            rows += chance * after(left, renewal, worn)
            failing = place[left]
            fails += chance * (failing != 0)
            seen += chance * np.bincount(failing, weights, seen.size)
        bits = entropy(seen[1:]) * fails
        trace = bits * s.trace_cost
        rows = rows.T
        if open_ended(s, scope) or (rows[0] - trace) @ weights >= rows[4] @ weights:
            hours = bits * tracing_hours(s.bench)
            earned = hours * (s.bench.charges.labour_rate - s.terms.money("mechanic_wage"))
            out[i] = rows[0] - trace, rows[1] + trace, rows[2], rows[3], rows[6] + earned, rows[7] + hours
        else:
            out[i, [0, 2, 3]] = rows[[4, 5, 3]]
        if s.terms.by_shop:
            for j in scope:
                out[i, 0] -= s.jobs.uncured[j] * ((states & s.jobs.clears[j]) != 0) * retry
    return out


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


def _search(s: Setting, after: AfterRepair, more: Sequence[int]) -> list[Scope]:
    """Return the best scopes: covers of the likely states, improved job by job.

    The open one is always among them, and the best that clears the faults that lead.
    """
    hidden = mask_of(np.flatnonzero(s.table.hidden))
    pool = likely_scopes(s.jobs, s.posterior, s.table.failing, hidden, s.clearing)
    enough = min(int(np.searchsorted(np.cumsum(s.posterior.weights), SEARCH_MASS)) + 1, SEARCH_STATES)
    states, weights = s.posterior.states[:enough], s.posterior.weights[:enough]
    value: dict[Scope, float] = {}

    def look(scopes: Sequence[Scope]) -> None:
        new = [x for x in dict.fromkeys(scopes) if x not in value and not any(j in s.bench.barred for j in x)]
        if new:
            gross = repair_worth(s, after, new, states, weights)[:, 0] @ weights
            member = members(s.bench, new)
            paid = tickets(s.bench, member).cost + repair_weeks(s, work(s.bench, member).any_part) * s.payoffs.week
            value.update(zip(new, (gross - paid).tolist(), strict=True))

    def ranked() -> list[Scope]:
        return sorted(value, key=lambda x: (-value[x], x))

    look(pool)
    done: set[Scope] = set()
    for _ in range(ROUNDS):
        leaders = [x for x in ranked()[:3] if x not in done]
        done.update(leaders)
        look([y for x in leaders for y in neighbours(s.jobs, x, s.clearing, more)])
    chosen = ranked()[:SHOWN]
    leader = leading(s)
    thorough = [x for x in ranked() if leader and s.jobs.cleared(x) & leader == leader]
    for must in (completed((), s.clearing), *thorough[:1]):
        if must in value and must not in chosen:
            chosen.append(must)
    return chosen


def repairs(s: Setting, after: AfterRepair) -> list[Course]:
    """Return the repair courses, best first."""
    bearing = {j for i in range(s.in_play) for j in s.jobs.for_fault[i]}
    scopes = _search(s, after, sorted((bearing | set(s.wanted)) - set(s.bench.barred)))
    if not scopes:
        return []
    member = members(s.bench, scopes)
    t, w = tickets(s.bench, member), work(s.bench, member)
    weeks = repair_weeks(s, w.any_part)
    rows = repair_worth(s, after, scopes, s.posterior.states, s.posterior.weights)
    by_state = rows[:, 0] - (t.cost + weeks * s.payoffs.week)[:, None]
    means = rows @ s.posterior.weights
    profit = gross_profit(s.bench, t)
    found = []
    for i, scope in enumerate(scopes):
        hours, margin, hourly = float(t.hours[i]) / THOUSAND, None, None
        if s.terms.perspective == "shop":
            margin = float(profit[i] + means[i, 4]) - _comebacks(s, scope)
            hourly = margin / (hours + float(means[i, 5]))
        found.append(
            Course(
                "repair",
                scope,
                tuple(j for j in scope if j in s.wanted),
                float(by_state[i] @ s.posterior.weights),
                by_state[i],
                -float(t.total[i]),
                float(t.cost[i] + means[i, 1] + weeks[i] * s.payoffs.week),
                hours,
                float(weeks[i]),
                float(means[i, 2]),
                float(means[i, 3]),
                float(means[i, 1]),
                "",
                s.no_repair,
                open_ended(s, scope),
                margin,
                hourly,
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
