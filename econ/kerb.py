"""Kerb: what to ask before driving out and what to look at on the spot, and what each is worth at a price.

Both are worth something only because one may leave the find where it is: at every answer and every result the better of
the best course and of leaving it is taken. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.buying import Asking
from econ.case import Case
from econ.inputs import Fact, open_facts
from econ.knowledge import Check
from econ.missed import Missed, in_states, missed
from econ.repairs import AfterRepair
from econ.rulebook import MachineClass
from econ.scopes import Scope
from econ.setting import Course, Setting
from econ.staging import make_look, other_choices
from econ.stopping import bits
from econ.weighing import Believed

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
STATES = 256  # likeliest states looked at
SPOT_MINUTES = 10.0  # a longer check is not made at the kerb; judgement
TRIFLE = 0.001  # share of the new price from which a question's worth is told [1]; judgement
TRUST = 0.7  # chance that a seller's answer is true, else it says nothing [1]; judgement
BLOCK = 1024  # finds worked out at a time, so that memory does not grow with them


@dataclass(frozen=True)
class Tells:
    """A check at the kerb or a question to the seller, and how long it takes [min]; its cost [money].

    best: what the best choice at each result is worth, times the chance of the result, (results,) [money]; chances:
    those, (results,) [1].
    """

    id: str
    title: str
    minutes: float
    cost: float
    best: Floats
    chances: Floats


@dataclass(frozen=True)
class Told:
    """What to do first with n finds: the place of the best among some checks or questions, -1 where none pays, (n,).

    worth: of its result, before the time it takes, (n,) [money].
    """

    which: Places
    worth: Floats


@dataclass(frozen=True)
class Kerb:
    """What may be looked at and asked of a find, whatever it costs. now: worth of the best choice with neither [money].

    Of those that are worth the same the first is taken. trifle: worth from which a question is told [money].
    """

    now: float
    checks: tuple[Tells, ...]
    questions: tuple[Tells, ...]
    trifle: float

    def check(self, asking: Asking, hour: int) -> Told:
        """Return the check to make first on the spot, the trip being made. hour: worth of an hour [money/h]."""
        costs = np.array([x.cost for x in self.checks])

        def pays(worth: Floats) -> Floats:
            return np.where(worth > costs, worth - costs, -np.inf)

        return self._first(self.checks, self._price(asking, hour), pays)

    def question(self, asking: Asking, hour: int) -> Told:
        """Return the question to ask the seller, the trip not being made yet."""

        def tells(worth: Floats) -> Floats:
            return np.where(worth >= self.trifle, worth, -np.inf)

        return self._first(self.questions, self._price(asking, hour) + _trip(asking, hour), tells)

    def _price(self, asking: Asking, hour: int) -> Floats:
        """Return what finds cost, (n,): where no price is named, as much as they are worth, that it may turn most."""
        return np.where(asking.named, asking.price, np.maximum(self.now - _trip(asking, hour), 0.0))

    def _first(self, tells: Sequence[Tells], leave: Floats, gain: Any) -> Told:
        """Return what to do first. leave: what leaving each find saves, (n,) [money]; gain: of worths (n, k)."""
        which, worth = np.full(leave.size, -1, dtype=np.int64), np.zeros(leave.size)
        if not tells:
            return Told(which, worth)
        best, chances = (_side_by_side([getattr(x, name) for x in tells]) for name in ("best", "chances"))
        for start in range(0, leave.size, BLOCK):
            rows = slice(start, start + BLOCK)
            saved = leave[rows, None, None]
            after = np.maximum(best, saved * chances).sum(axis=-1)
            worths = np.maximum(after - np.maximum(self.now, leave[rows, None]), 0.0)
            gains = gain(worths)
            first = gains.argmax(axis=1)
            here = np.arange(first.size)
            none = np.isneginf(gains[here, first])
            which[rows] = np.where(none, -1, first)
            worth[rows] = np.where(none, 0.0, worths[here, first])
        return Told(which, worth)


def _trip(asking: Asking, hour: int) -> Floats:
    trip: Floats = hour * asking.hours + asking.travel
    return trip


def _side_by_side(rows: Sequence[Floats]) -> Floats:
    """Return rows of several lengths as a table, filled up with zeros."""
    table = np.zeros((len(rows), max(x.size for x in rows)))
    for i, x in enumerate(rows):
        table[i, : x.size] = x
    return table


class Sight:
    """What finds have in common of which the same is believed: the likeliest states, and the facts nobody told."""

    def __init__(self, believed: Believed) -> None:
        p = believed.posterior
        m = min(STATES, p.states.size)
        self.heard = believed.heard
        self.states, self.weights = p.states[:m], p.weights[:m] / p.weights[:m].sum()
        self.present = (self.states[:, None] >> np.arange(len(self.heard.faults)) & 1).astype(bool)

    @cached_property
    def facts(self) -> tuple[Fact, ...]:
        """The facts that are not known for sure and bear on the faults in play."""
        return open_facts(self.heard, self.states, self.weights)


@dataclass(frozen=True)
class _Tell:
    """A check at the kerb or a question, whatever a find sells for. rows: where its results stand among all."""

    id: str
    title: str
    minutes: float
    cost: float
    rows: slice


class Standing:
    """What may be looked at and asked of finds that are believed alike and worked on alike.

    Checks that take a few minutes, no tools that are not there, and nothing taken apart.
    """

    def __init__(self, case: Case, c: MachineClass, s: Setting, sight: Sight) -> None:
        """case, s: one of the finds."""
        self._sight, weights = sight, sight.weights
        self._missed: dict[Scope, tuple[Missed, Floats]] = {}
        rows, count = [np.ones((1, weights.size))], 1  # with nothing looked at, to begin with
        self._checks: list[_Tell] = []
        self._questions: list[_Tell] = []
        for name, check in c.checks.items():
            look = (
                make_look(s, case, c, sight.heard, name, sight.present) if _at_the_kerb(case, s, sight, check) else None
            )
            if look is not None and name not in sight.heard.outcomes:
                rows.append(look.rows)
                here = slice(count, count + len(look.rows))
                self._checks.append(_Tell(name, check.title, check.minutes, float(look.cost), here))
                count = here.stop
        for fact in sight.facts:
            share = fact.chances[:, None]
            rows.append(TRUST * share * fact.weights / weights + (1 - TRUST) * share)
            here = slice(count, count + len(share))
            self._questions.append(_Tell(fact.name, c.facts[fact.name].question, 0.0, 0.0, here))
            count = here.stop
        for tells in (self._checks, self._questions):
            tells.sort(key=lambda t: t.id, reverse=True)
        self._rows = np.concatenate(rows) * weights  # (results, m)
        self._mass = self._rows.sum(axis=1)

    def kerb(self, s: Setting, courses: Sequence[Course], after: AfterRepair) -> Kerb:
        """Return what may be looked at and asked of one of the finds."""
        mending = [x for x in courses if x.kind == "repair" and not x.barred]
        every = [self._repair(s, after, x) for x in mending]
        every += [x.worth @ self._rows.T for x in other_choices(s, courses, self._sight.weights)]
        best: Floats = np.max(every, axis=0)

        def told(tells: Sequence[_Tell]) -> tuple[Tells, ...]:
            return tuple(Tells(t.id, t.title, t.minutes, t.cost, best[t.rows], self._mass[t.rows]) for t in tells)

        trifle = TRIFLE * float(s.terms.new_price)
        return Kerb(float(best[0]), told(self._checks), told(self._questions), trifle)

    def _repair(self, s: Setting, after: AfterRepair, course: Course) -> Floats:
        """Return what a repair is worth at each result, times the chance of it, (results,) [money]."""
        states, weights = self._sight.states, self._sight.weights
        if course.jobs not in self._missed:
            may_miss = missed(s, after, course.jobs, states, weights)
            self._missed[course.jobs] = may_miss, bits(self._rows @ may_miss.fails)
        may_miss, apart = self._missed[course.jobs]
        traced, given_up = in_states(s, after, course, states, weights, may_miss)
        worth: Floats = traced @ self._rows.T - s.trace_cost * apart
        return worth if given_up is None else np.maximum(worth, given_up @ self._rows.T)


def _at_the_kerb(case: Case, s: Setting, sight: Sight, check: Check) -> bool:
    """Return whether a check can be made standing at the kerb."""
    if check.complaint or check.reveals or check.operations or check.as_is_drop or max(check.put_back) > 0:
        return False
    if check.minutes > SPOT_MINUTES or not set(check.tools) <= set(case.tools.owned):
        return False
    return not (check.running and s.held) and set(check.requires) <= set(sight.heard.outcomes)
