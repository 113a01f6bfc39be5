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
from econ.groundwork import Batch, Groundwork, done_over, ways_to_cure
from econ.scopes import Scope, completed, neighbours
from econ.setting import Course, Setting
from econ.states import Masks, numbers_in
from econ.worth import InUse

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SHOWN = 8  # repair courses worked out on the whole posterior and shown
SEARCH_STATES = 1024  # and how many states at most
SEARCH_MASS = 0.99  # share of the posterior that the search for scopes looks at; the chosen ones see all of it
LEADS_FROM = 0.4  # probability from which a fault leads the others [1]; judgement
IDLE = 50.0  # a job that changes the worth of a scope by no more than this is left out of it [minor units]; judgement
EVERY = slice(None)
ROUNDS = 3  # of improving the best scopes by one job


class AfterRepair:
    """Worth once a scope is done, with given faults left; each set of faults is worked out once.

    Figures, by name: `traced`, worth if what was missed is traced, then mended or given up; `added`, expected cost of
    jobs added then; `years`, discounted years of service; `cured` at once (0 or 1); `given_up`, worth if it is given up
    untraced, and `years_given_up`; `margin`, the shop's gross profit on the jobs added, and their `hours`; `if_added`,
    worth if jobs are added even where giving up is better; whether it is `let_go` in the end, and `parted`, taken to
    parts then, and `parted_untraced` if it is given up untraced (0 or 1). Where the setting holds several worlds there
    is a row of each for each world.
    """

    def __init__(self, setting: Setting, groundwork: Groundwork | None = None) -> None:
        """groundwork: of the same beliefs, bench and jobs, to use again."""
        self._s = setting
        self.groundwork = groundwork or Groundwork(setting)
        self._ends: dict[tuple[float, int], list[_End]] = {}
        self._moved: dict[tuple[float, int], int] = {}
        self._rows: dict[tuple[str, float, int], Floats] = {}
        self._columns: dict[tuple[str, float, int], Floats] = {}
        self._means: dict[tuple[str, Scope, int], Floats] = {}
        p = setting.payoffs
        instead = [
            r.worth - (0.0 if name == "do_without" else p.replacement_weeks * p.week)
            for name, r in p.replacements.items()
        ]
        self._instead = np.max(np.broadcast_arrays(*instead) if instead else np.zeros(1), axis=0)

    def __call__(self, names: Sequence[str], masks: Masks, renewal: float, worn: int) -> Floats:
        """Return figures for each set of faults left, (names, W, ...), masks of any shape."""
        at = self.groundwork.sets(renewal, worn).at(masks)
        return np.array(np.broadcast_arrays(*(self._row(name, renewal, worn)[:, at] for name in names)))

    def means(self, names: Sequence[str], scopes: Sequence[Scope], few: int) -> Floats:
        """Return the means of figures over what scopes leave, (names, scopes, W).

        few: how many of the likeliest states are looked at.
        """
        ground = self.groundwork
        new = [x for x in dict.fromkeys(scopes) if any((name, x, few) not in self._means for name in names)]
        for key in dict.fromkeys(map(ground.key, new)):
            alike = [x for x in new if ground.key(x) == key]
            chances = ground.chances(alike, few)
            for name in names:
                # A product of sparse tables sums in the order of the sets, whatever else is worked out beside it.
                mean = chances @ self._column(name, *key)
                self._means |= {(name, x, few): row for x, row in zip(alike, mean, strict=True)}
        every = [[self._means[name, x, few] for x in scopes] for name in names]
        return np.array(np.broadcast_arrays(*(x for row in every for x in row))).reshape(len(names), len(scopes), -1)

    def of(self, world: int) -> AfterRepair:
        """Return the same in one of the worlds."""
        return _OfOne(self, world)

    def _row(self, name: str, renewal: float, worn: int) -> Floats:
        """Return a figure for all sets of faults met so far, (W, sets)."""
        sets, key = self.groundwork.sets(renewal, worn), (name, renewal, worn)
        if self._moved.setdefault((renewal, worn), sets.moved) != sets.moved:
            message = "the groundwork was gathered for other machines since"
            raise ValueError(message)
        row = self._rows.get(key)
        if row is None or row.shape[1] < sets.count:
            ends = self._ends.setdefault((renewal, worn), [])
            ends += [_End(self._s, b, renewal, self._instead) for b in sets.batches[len(ends) :]]
            parts = [x.row(name) for x in ends]
            worlds = max(x.shape[0] for x in parts)
            row = np.concatenate([np.broadcast_to(x, (worlds, x.shape[1])) for x in parts], axis=1)
            self._rows[key] = row
        return row

    def _column(self, name: str, renewal: float, worn: int) -> Floats:
        """Return a figure for all sets of faults met so far, a column for each world, (sets, W)."""
        row, key = self._row(name, renewal, worn), (name, renewal, worn)
        column = self._columns.get(key)
        if column is None or column.shape[0] < row.shape[1]:
            column = self._columns[key] = np.ascontiguousarray(row.T)
        return column


class _OfOne(AfterRepair):
    """What repairs leave in one of the worlds of a setting that holds several."""

    def __init__(self, whole: AfterRepair, world: int) -> None:
        self.groundwork, self._whole, self._world = whole.groundwork, whole, world

    def _row(self, name: str, renewal: float, worn: int) -> Floats:
        row = self._whole._row(name, renewal, worn)
        return row if row.shape[0] == 1 else row[self._world : self._world + 1]

    def means(self, names: Sequence[str], scopes: Sequence[Scope], few: int) -> Floats:
        means = self._whole.means(names, scopes, few)
        return means if means.shape[2] == 1 else means[:, :, self._world : self._world + 1]


class _End:
    """How repairs end that leave sets of faults met together."""

    def __init__(self, s: Setting, b: Batch, renewal: float, instead: Floats) -> None:
        self._s, self._b, p = s, b, s.payoffs
        self._sound = p.kept(b.passed, renewal) if b.passed.size else None
        self._add: Floats = np.zeros((1, 0))
        self._years, self._drop, self._adds = self._add, self._add, self._add >= 0
        if b.more is None:
            return
        # The machine is on the bench already: only parts are waited for.
        add, years = -b.more.cost, np.zeros(b.more.cost.shape)
        for share, one, where, which in b.left:
            use = p.kept(one, share)
            worth, served = np.atleast_2d(use.worth)[:, which], np.atleast_2d(use.years)[:, which]
            if worth.shape[0] > add.shape[0]:
                add, years = (np.repeat(x, worth.shape[0], axis=0) for x in (add, years))
            add[:, where] += worth
            years[:, where] = served
        self._add, self._years, self._drop = add, years, np.atleast_2d(best_of(p.let_go(b.failed)) + instead)
        self._adds = self._add >= self._drop

    def row(self, name: str) -> Floats:
        """Return a figure for each set, those that pass first, (W, k)."""
        parts = [self._if_failed(name)] if self._b.more is not None else []
        if self._sound is not None:
            parts.insert(0, np.atleast_2d(self._if_passed(name, self._sound)))
        worlds = max(x.shape[0] for x in parts)
        return np.concatenate([np.broadcast_to(x, (worlds, x.shape[1])) for x in parts], axis=1)

    def _if_passed(self, name: str, use: InUse) -> Floats:
        if name in ("traced", "given_up", "if_added"):
            return use.worth
        if name in ("years", "years_given_up"):
            return use.years
        return self._b.cured.astype(float) if name == "cured" else np.zeros(self._b.passed.size)

    def _if_failed(self, name: str) -> Floats:
        """Return a figure where the release check fails: the cheapest jobs are added, or it is given up; (W, k)."""
        more, adds = self._b.more, self._adds
        assert more is not None  # noqa: S101 - there is a set that fails
        if name == "traced":
            return np.maximum(self._add, self._drop)
        if name == "if_added":
            return np.where(np.isfinite(self._add), self._add, self._drop)
        if name == "given_up":
            return self._drop
        if name in ("cured", "years_given_up"):
            return np.zeros((1, self._b.failed.size))
        if name == "let_go":
            return np.where(adds, 0.0, 1.0)
        if name in ("parted", "parted_untraced"):
            ways = self._s.payoffs.let_go(self._b.failed)
            parted = np.atleast_2d(ways["part_out"] > np.maximum(ways["sell_as_stands"], ways["scrap"]))
            return np.where(parted & ~adds if name == "parted" else parted, 1.0, 0.0)
        figure: Floats = {"added": more.cost, "years": self._years, "margin": more.margin, "hours": more.hours}[name]
        return np.where(adds, figure, 0.0)


def best_of(ways: Mapping[str, Floats]) -> Floats:
    """Return the best of several disposals, state by state, a row for each world where any has."""
    best: Floats = np.max(np.broadcast_arrays(*ways.values()), axis=0)
    return best


def open_ended(s: Setting, scope: Scope) -> bool:
    """Return whether a scope leaves the jobs open until the cause is found; it is never given up untraced."""
    return set(scope) <= {*completed((), s.clearing), *s.wanted}


def net_by_state(s: Setting, after: AfterRepair, scope: Scope, rows: NDArray[np.int64] | slice = EVERY) -> Floats:
    """Return what a scope brings in some states of the one world there is, its ticket paid, (rows,) [money].

    rows: of the posterior. Where the test run fails, what was missed is traced (each halving of what it may be costs
    the tracing time) or the machine is given up, whichever is better on the whole.
    """
    states, few = s.posterior.states[rows], s.posterior.states.size
    (price,) = after.groundwork.prices([scope])
    traced, given_up = over_ways(s, after, scope, states)
    fails = np.sum([p * ((states & ~cleared & s.table.failing) != 0) for p, cleared in ways_to_cure(s, scope)], axis=0)
    traced = traced - after.groundwork.remains(scope, few).bits * fails * s.trace_cost
    worth: Floats = traced if if_missed(s, after, [scope], few)[2].item() else given_up
    net: Floats = worth - done_over(s, scope, states) - (price.cost + price.weeks * s.payoffs.week)
    return net


def over_ways(s: Setting, after: AfterRepair, scope: Scope, states: Masks) -> tuple[Floats, Floats]:
    """Return what a scope brings in each state, traced at no cost and given up, (m,) each [money].

    Before its ticket; the mean over the ways in which jobs may not cure.
    """
    key = after.groundwork.key(scope)
    rows = [p * after(("traced", "given_up"), states & ~cleared, *key)[:, 0] for p, cleared in ways_to_cure(s, scope)]
    traced, given_up = np.sum(rows, axis=0)
    return traced, given_up


def if_missed(s: Setting, after: AfterRepair, scopes: Sequence[Scope], few: int) -> tuple[Floats, Floats, Bools]:
    """Return mean worth where what scopes miss is traced, and where it is given up, (scopes, W) each [money].

    Also whether it is traced: where that is better, and always with open scopes. few: how many of the likeliest states
    are looked at.
    """
    traced, given_up = after.means(("traced", "given_up"), scopes, few)
    looks = np.array([[after.groundwork.remains(x, few).looks] for x in scopes])
    traced = traced - looks * s.trace_cost
    opened = np.array([[open_ended(s, x)] for x in scopes], dtype=bool)
    return traced, given_up, opened | (traced >= given_up)


def _again(after: AfterRepair, scopes: Sequence[Scope], few: int) -> Floats:
    """Return what waiting is expected to cost where a shop does its jobs over again, (scopes,) [money]."""
    return np.array([after.groundwork.remains(x, few).again for x in scopes], dtype=float)


def worth_of(s: Setting, after: AfterRepair, scopes: Sequence[Scope], few: int) -> Floats:
    """Return the mean worth of scopes in each world, before their tickets are paid, (scopes, W) [money].

    few: how many of the likeliest states are looked at. The first figure of `mean_of`.
    """
    traced, given_up, which = if_missed(s, after, scopes, few)
    worth: Floats = np.where(which, traced, given_up) - _again(after, scopes, few)[:, None]
    return worth


def mean_of(s: Setting, after: AfterRepair, scopes: Sequence[Scope]) -> Floats:
    """Return the means over the states of what scopes bring, in the one world there is, before tickets are paid.

    Returns (8, scopes): worth, cost added later, years, cured at once, the shop's gross profit and hours on what is
    added later, and the chances that what is for sale is let go in the end, and taken to parts. Summed over the sets of
    faults left instead of over the states.
    """
    few, none = s.posterior.states.size, np.zeros(len(scopes))
    worth = worth_of(s, after, scopes, few)[:, 0]
    which = if_missed(s, after, scopes, few)[2][:, 0]
    looks = np.array([after.groundwork.remains(x, few).looks for x in scopes])
    hours = looks * float(tracing_hours(s.bench))
    added, later, cured = after.means(("added", "hours", "cured"), scopes, few)[:, :, 0]
    years = ended = margin = goes = parted = none  # nobody has service of what is sold
    if s.terms.perspective == "reseller":
        goes, traced, untraced = after.means(("let_go", "parted", "parted_untraced"), scopes, few)[:, :, 0]
        fails = np.array([after.groundwork.remains(x, few).fails for x in scopes])
        goes, parted = np.where(which, goes, fails), np.where(which, traced, untraced)
    else:
        years, ended = after.means(("years", "years_given_up"), scopes, few)[:, :, 0]
    if s.terms.perspective == "shop":
        margin = after.means(("margin",), scopes, few)[0, :, 0]
        margin = margin + hours * float(s.bench.charges.labour_rate - s.terms.money("mechanic_wage"))
    more = added + looks * float(s.trace_cost), margin, later + hours
    cost, margin, hours = (np.where(which, x, 0.0) for x in more)
    return np.array([worth, cost, np.where(which, years, ended), cured, margin, hours, goes, parted])


def fails_of(s: Setting, scope: Scope, states: Masks) -> Floats:
    """Return the chance of each set of failing faults that can come up once a scope is done, (m, sets)."""
    ways = ways_to_cure(s, scope)
    failing = np.array([(states & ~cleared) & s.table.failing for _, cleared in ways])
    sets, place = np.unique(failing, return_inverse=True)
    fails = np.zeros((states.size, sets.size))
    for (chance, _), at in zip(ways, place.reshape(failing.shape), strict=True):
        np.add.at(fails, (np.arange(states.size), at), chance)
    return fails[:, sets != 0]


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

    Covers of the likely states, improved. A scope is left out where fewer of its jobs are worth the same, but for the
    best that clears the faults that lead.
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
        worth = worth_of(self._s, self._after, new, self._enough) if new else ()
        for x, price, row in zip(new, self._after.groundwork.prices(new), worth, strict=True):
            paid = price.cost + price.weeks * self._s.payoffs.week
            self._worth[x] = np.broadcast_to(row - paid, (self._worlds,))
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
        leader = leading(self._s)
        clears = np.array([bool(leader) and self._s.jobs.cleared(x) & leader == leader for x in scopes], dtype=bool)
        thorough = clears[order] & np.isfinite(ranked)
        keeps |= thorough & (thorough.cumsum(axis=0) == 1)  # the first of each world
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
    found = []
    every = zip(scopes, after.groundwork.prices(scopes), mean_of(s, after, scopes).T, strict=True)
    for scope, price, mean in every:
        wait = price.weeks * s.payoffs.week
        paid = price.cost + wait
        each = net_by_state(s, after, scope) if by_state else np.zeros(0)
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
                *map(float, mean[5:]),
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
