"""Worlds: the worth of every course where some figures are other than they are, for many such worlds at once.

A world is the case with one figure changed, or several, or with other chances of the faults. All worlds of a kind are
worked out together: only what a figure bears on gets a row for each of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.costing import members, tickets, work
from econ.courses import CLEARLY, SELDOM, TIE, USABLE_FROM, put_back, service_shares
from econ.evidence import Posterior
from econ.findings import Heard
from econ.groundwork import counted, entropy, failing_sets, repair_weeks, times_done_over, ways_to_cure
from econ.payoffs import DISPOSALS
from econ.repairs import LEADS_FROM, AfterRepair, open_ended
from econ.rulebook import MachineClass
from econ.scopes import Scope, neighbours
from econ.setting import Course, Setting, with_terms
from econ.states import packed

Floats = NDArray[np.float64]
LIKELY = 256  # likeliest states looked at in each world; the rest are counted at their worth in the case itself
BENCH = ("price.", "shop_rate", "hours_factor", "slowness", "parts_shipping")  # figures that bear on tickets alone
FEW = 100
POOL = 32  # best scopes of the case itself that are tried in the worlds asked for
ROUGH = 256  # likeliest states looked at in that
WIDENED = 2  # rounds of it
NEXT = 2  # best repairs of each world that are kept: the better may not be shown a little further on
MOST_SCOPES = 24  # weighed in all worlds
LONGER = ("horizon_years",)  # figures that change how many steps there are: their worlds go by themselves


@dataclass(frozen=True)
class Worth:
    """The worth of K courses in W worlds, (W, K); -inf where a course is barred or not shown."""

    worth: Floats
    names: tuple[str, ...]
    repairs: int

    @property
    def best(self) -> NDArray[np.int64]:
        """The best course of each world; of equal ones the earlier, as `courses.best_course` has it, (W,)."""
        first = self.worth[:, : self.repairs].argmax(axis=1) if self.repairs else np.zeros(len(self.worth), dtype=int)
        chosen = first.astype(np.int64)
        value = np.take_along_axis(self.worth, chosen[:, None], axis=1)[:, 0]
        for k in range(self.repairs, self.worth.shape[1]):
            with np.errstate(invalid="ignore"):
                better = ~(self.worth[:, k] <= value + TIE * np.maximum(1.0, np.abs(value)))
            better &= np.isfinite(self.worth[:, k])
            chosen, value = np.where(better, k, chosen), np.where(better, self.worth[:, k], value)
        return chosen


@dataclass(frozen=True)
class Ask:
    """Worlds to be worked out: by figure its value in each (W,), and the chance of each state in each, (W, m).

    weights None: as they are in the case.
    """

    figures: Mapping[str, Floats]
    weights: Floats | None = None

    @property
    def count(self) -> int:
        """How many worlds."""
        return len(next(iter(self.figures.values()))) if self.weights is None else len(self.weights)


@dataclass(frozen=True)
class Ground:
    """What all worlds of a case share. scopes: the repairs weighed; kinds: of the other courses, in course order."""

    case: Case
    c: MachineClass
    heard: Heard
    complained: Posterior
    setting: Setting
    scopes: tuple[Scope, ...]
    kinds: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the courses, repairs first."""
        jobs = self.setting.bench.jobs
        return (*("repair:" + ("+".join(jobs[j] for j in x) or "open") for x in self.scopes), *self.kinds)

    def likely(self, states: int) -> Posterior:
        """Return the likeliest states by themselves."""
        p = self.setting.posterior
        kept = p.weights[:states]
        return replace(p, states=p.states[:states], weights=kept / kept.sum())


class _Pattern:
    """What the repairs of a ground leave in each state, worked out once for all worlds.

    Scopes that renew alike and leave the same wanted wear share a table of the sets of faults they may leave.
    """

    def __init__(self, g: Ground, p: Posterior) -> None:
        s, states = g.setting, p.states
        self.states, self.weights = states, p.weights
        place = packed(s.table.failing, s.in_play)
        self.ways = [ways_to_cure(s, x) for x in g.scopes]
        self.keys = [(s.jobs.renewed(x), s.worn & ~s.jobs.cleared(x)) for x in g.scopes]
        left = [np.array([states & ~cleared for _, cleared in ways]) for ways in self.ways]
        self.masks = {
            key: np.unique(np.concatenate([x.ravel() for x, k in zip(left, self.keys, strict=True) if k == key]))
            for key in dict.fromkeys(self.keys)
        }
        self.at = [np.searchsorted(self.masks[key], x) for x, key in zip(left, self.keys, strict=True)]
        self.failing = [failing_sets(s, place, ways, states) for ways in self.ways]
        self.done_over = [times_done_over(s, x, states) for x in g.scopes]
        self.open = np.array([open_ended(s, x) for x in g.scopes], dtype=bool)

    def counts(self, key: tuple[float, int]) -> tuple[list[int], Floats]:
        """Return the scopes that share a table, and how often each set of it comes up in each, (sets, scopes)."""
        if key not in self._counts:
            those = [i for i, k in enumerate(self.keys) if k == key]
            table = np.zeros((self.masks[key].size, len(those)))
            for column, i in enumerate(those):
                for (chance, _), places in zip(self.ways[i], self.at[i], strict=True):
                    table[:, column] += chance * np.bincount(places, self.weights, table.shape[0])
            self._counts[key] = those, table
        return self._counts[key]

    @cached_property
    def _counts(self) -> dict[tuple[float, int], tuple[list[int], Floats]]:
        return {}

    def halvings(self, weights: Floats) -> tuple[Floats, Floats]:
        """Return for each scope how often what fails must be halved, and how often anything fails; (S,) or (W, S)."""
        bits, fails = [], []
        for ways, (sets, size) in zip(self.ways, self.failing, strict=True):
            seen = np.sum(
                [chance * counted(x, weights, size) for (chance, _), x in zip(ways, sets, strict=True)], axis=0
            )
            bits.append(entropy(seen[..., 1:]))
            fails.append(seen[..., 1:].sum(axis=-1))
        return np.array(bits).T, np.array(fails).T

    @cached_property
    def usual(self) -> tuple[Floats, Floats]:
        """The halvings with the weights of the case."""
        return self.halvings(self.weights)

    def means(self, after: AfterRepair, weights: Floats) -> Floats:
        """Return the mean of worth traced, cost added later, cured at once and worth given up; (4, W, S)."""
        names = "traced", "added", "cured", "given_up"
        found: list[Floats] = [np.zeros(0)] * len(self.keys)
        for key, masks in self.masks.items():
            table = after(names, masks, *key)
            those, counts = self.counts(key)
            if weights is self.weights:
                means = table @ counts
            else:  # other weights in each world, but one table for all
                by_state = np.zeros((len(names), self.states.size, len(those)))
                for column, i in enumerate(those):
                    for (chance, _), places in zip(self.ways[i], self.at[i], strict=True):
                        by_state[:, :, column] += chance * table[:, 0, places]
                means = weights @ by_state
            for column, i in enumerate(those):
                found[i] = means[:, :, column]
        worlds = max(x.shape[1] for x in found)
        return np.array([np.broadcast_to(x, (len(names), worlds)) for x in found]).transpose(1, 2, 0)


def worth_in(g: Ground, pattern: _Pattern, s: Setting) -> tuple[Floats, Floats, Floats]:
    """Return what is looked at of the courses of a ground in each world of a setting.

    That is the worth of each course, (W, K) or (1, K); of each repair the cost in all, and the chance that it cures at
    once, likewise.
    """
    others = np.array(np.broadcast_arrays(*_others(g, s))).T
    if not g.scopes:
        return others, others[:, :0], others[:, :0]
    weights = s.posterior.weights
    worth, later, cured, given_up = pattern.means(AfterRepair(s), weights)
    bits, fails = pattern.usual if weights is pattern.weights else pattern.halvings(weights)
    trace = bits * fails * s.trace_cost
    traced = (worth - trace >= given_up) | pattern.open
    member = members(s.bench, g.scopes)
    paid = tickets(s.bench, member).cost + repair_weeks(s, work(s.bench, member).wait) * s.payoffs.week
    lead = s.terms["parts_lead_days"] / 7
    again = [(wait.weeks(lead) * (weights @ times.T)).sum(axis=-1) for wait, times in pattern.done_over]
    retry = np.array(np.broadcast_arrays(*again)).T * s.payoffs.week
    mend = np.where(traced, worth - trace, given_up) - paid - retry
    worlds = max(mend.shape[0], others.shape[0])
    table = np.concatenate([np.broadcast_to(x, (worlds, x.shape[1])) for x in (mend, others)], axis=1)
    return table, np.where(traced, later + trace, 0.0) + paid, cured


def _mean(rows: Floats, weights: Floats) -> Floats:
    """Return the mean over states of rows (..., m) by weights (m,) or (W, m)."""
    result: Floats = rows @ weights if weights.ndim == 1 else (rows * weights).sum(axis=-1)
    return result


def _others(g: Ground, s: Setting) -> list[Floats]:
    """Return the worth of each course without repair, (1,) or (W,) each, -inf where it is barred."""
    p, states, weights = s.payoffs, s.present, s.posterior.weights
    declined = s.terms.money("diagnosis_fee") if s.terms.by_shop else 0
    ways = {d: _mean(x, weights) - np.ravel(put_back(s, d)) for d, x in p.let_go(states).items()}
    best = np.max(np.broadcast_arrays(*(ways[d] for d in DISPOSALS)), axis=0)
    found = []
    for kind in g.kinds:
        if kind in ways:
            worth = ways[kind]
        elif kind == "keep_using":
            worth = np.full(1, -np.inf)
            if not s.unusable:
                served = _mean(service_shares(s), weights)
                lost = (1 - served) * np.ravel(p.replacement_weeks * p.week)
                worth = p.mean_as_it_is(states, weights) - lost - np.ravel(s.put_back)
                worth = np.where(served < USABLE_FROM, -np.inf, worth)
        else:
            r = p.replacements[kind]
            wait = 0.0 if kind == "do_without" else p.replacement_weeks * p.week
            worth = best + np.ravel(r.worth - wait)
        found.append(np.atleast_1d(worth - declined))
    return found


def _shown(g: Ground, opened: NDArray[np.bool_], s: Setting, table: Floats, cost: Floats, cured: Floats) -> Floats:
    """Return the worth with the repairs barred that `courses.all_courses` does not show."""
    n, found = len(g.scopes), table.copy()
    if not n:
        return found
    if s.no_repair:
        found[:, :n] = -np.inf
        return found
    bar = np.max(np.concatenate([table[:, n:], table[:, :n][:, opened]], axis=1), axis=1, keepdims=True)
    present = np.array([s.posterior.states >> i & 1 for i in range(s.in_play)], dtype=float)
    likely = np.atleast_2d(s.posterior.weights @ present.T)
    costly = np.array([s.table.costly >> i & 1 for i in range(s.in_play)], dtype=bool)
    leads = (likely >= LEADS_FROM) & costly
    missed = np.array([[not s.jobs.cleared(x) >> i & 1 for i in range(s.in_play)] for x in g.scopes])
    clears = leads.any(axis=1)[:, None] & ~(leads[:, None, :] & missed).any(axis=2)
    shown = opened | (cured >= SELDOM) | (table[:, :n] > bar + CLEARLY * cost) | clears
    found[:, :n] = np.where(shown, table[:, :n], -np.inf)
    return found


class Worlds:
    """Works out worlds of one case. The states that are not looked at count with their worth in the case itself."""

    def __init__(
        self, g: Ground, known: Mapping[str, Course], about: Mapping[str, float] | None = None, states: int = LIKELY
    ) -> None:
        """known: courses in the case itself, by name; about: the worth of others, not as exactly.

        A repair in neither is taken as like the others.
        """
        self._g, self._base = g, g.likely(states)
        self._pattern = _Pattern(g, self._base)
        here = [np.mean(x, axis=0) for x in worth_in(g, self._pattern, replace(g.setting, posterior=self._base))]
        n, about = len(g.scopes), about or {}
        told = [known[name].worth if name in known else about.get(name, np.nan) for name in g.names]
        rest = np.array(told) - here[0]
        if n and np.isfinite(rest[:n]).any():
            rest[:n] = np.where(np.isfinite(rest[:n]), rest[:n], np.mean(rest[:n][np.isfinite(rest[:n])]))
        whole = np.array(
            [(known[name].cost, known[name].cured) if name in known else (np.nan,) * 2 for name in g.names[:n]]
        )
        rests = [rest, *(whole.reshape(n, 2).T - np.array(here[1:]).reshape(2, n))]
        self._rest = [np.where(np.isfinite(x), x, 0.0) for x in rests]
        self.weights, self.states = self._base.weights, self._base.states

    def of(self, asks: Sequence[Ask]) -> list[Worth]:
        """Return the worth of every course in the worlds of each ask; asks of a kind are worked out together."""
        return [shown for _, shown in self.both(asks)]

    def both(self, asks: Sequence[Ask]) -> list[tuple[Worth, Worth]]:
        """Return for each ask the worth with the repairs that would not be shown, and as `of` has it."""
        found: dict[int, tuple[Worth, Worth]] = {}
        for group in self._groups(asks):
            tables = self._together([asks[i] for i in group])
            at = 0
            for i in group:
                rows = slice(at, at + asks[i].count)
                every, shown = (Worth(x[rows], self._g.names, len(self._g.scopes)) for x in tables)
                found[i] = every, shown
                at += asks[i].count
        return [found[i] for i in range(len(asks))]

    def _groups(self, asks: Sequence[Ask]) -> list[list[int]]:
        """Return asks to be worked out together: those of a kind, so that what a kind leaves alone is done once.

        A few worlds are worked out together whatever figures they change: that is quicker.
        """
        kinds: dict[object, list[int]] = {}
        few = sum(ask.count for ask in asks) <= FEW
        for i, ask in enumerate(asks):
            cheap = not few and all(name.startswith(BENCH) for name in ask.figures)
            longer = not few and any(name in LONGER for name in ask.figures)
            kinds.setdefault((ask.weights is None, cheap, longer), []).append(i)
        return list(kinds.values())

    def _together(self, asks: Sequence[Ask]) -> list[Floats]:
        """Return the worth in the worlds of asks, one after the other, (W, K), as `both` has it."""
        total = sum(x.count for x in asks)
        terms, posterior = self._g.setting.terms, self._base
        names = sorted({name for x in asks for name in x.figures})
        figures = {**terms.figures}
        for name in names:
            column = np.full((total, 1), figures.get(name, np.nan), dtype=float)
            at = 0
            for x in asks:
                if name in x.figures:
                    column[at : at + x.count, 0] = x.figures[name]
                at += x.count
            figures[name] = column
        if asks[0].weights is not None:
            posterior = replace(posterior, weights=np.concatenate([x.weights for x in asks if x.weights is not None]))
        s = self._set(replace(terms, figures=figures), posterior)
        found = worth_in(self._g, self._pattern, s)
        worth, cost, cured = (x + more for x, more in zip(found, self._rest, strict=True))
        shown = _shown(self._g, self._pattern.open, s, worth, cost, cured)
        return [np.broadcast_to(x, (total, len(self._g.names))) for x in (worth, shown)]

    def _set(self, terms: Any, posterior: Posterior) -> Setting:
        g = self._g
        return with_terms(g.setting, g.case, g.c, g.heard, g.complained, terms, posterior)


def candidates(
    g: Ground, known: Mapping[str, Course], found: Mapping[Scope, float], shown: Sequence[Scope], asks: Sequence[Ask]
) -> tuple[Scope, ...]:
    """Return the repairs to weigh in all worlds: those shown, and those that are best in any world asked for.

    known: the answer's courses by name. found: scopes by about what they are worth, best first. shown: those
    of the answer. Scopes one job away from one that is best in some world are tried too, and such as are best where
    better ones would not be shown.
    """
    pool, best = list(dict.fromkeys([*shown, *list(found)[:POOL]])), list(shown)
    s = g.setting
    more = sorted(({j for x in s.jobs.for_fault[: s.in_play] for j in x} | set(s.wanted)) - set(s.bench.barred))
    for _ in range(WIDENED):
        wide = replace(g, scopes=tuple(pool))
        about = {name: found[x] for name, x in zip(wide.names, pool, strict=False) if x in found}
        worlds = Worlds(wide, known, about, ROUGH)
        looked = [x for pair in worlds.both(asks) for x in pair]
        table = np.concatenate([x.worth[:, : len(pool)] for x in looked])
        won, often = np.unique(np.argsort(-table, axis=1)[:, :NEXT], return_counts=True)
        best += [pool[i] for i in won[np.argsort(-often, kind="stable")]]
        near = [y for i in won for y in neighbours(s.jobs, pool[i], s.clearing, more)]
        new = [x for x in dict.fromkeys(near) if x not in pool and not any(j in s.bench.barred for j in x)]
        if not new:
            break
        pool += new
    return tuple(dict.fromkeys(best))[:MOST_SCOPES]
