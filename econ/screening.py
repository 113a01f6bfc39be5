"""Screening: a find that a reseller may buy, judged by the same kernel as one machine on the bench.

From a checked case to what to offer, what it would leave, what it takes of time and cash, how likely it loses, and what
to ask and look at before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from econ.case import Case
from econ.courses import best_course
from econ.earlier import earlier_jobs, raised
from econ.kerb import Spot, kerb
from econ.money import to_decimal, to_minor
from econ.pricebook import Supply
from econ.risk import chance_of_loss
from econ.rulebook import MachineClass
from econ.setting import Course, Setting, course_name
from econ.suspects import fault_lines, pointed_at
from econ.terms import Default
from econ.turns import highest_offer
from econ.weighing import Believed, Common, believe, weigh
from econ.words import cause, title_of


@dataclass(frozen=True)
class Asked:
    """A check on the spot, or a question: what it is, how long it takes, and what its answer is worth."""

    id: str
    title: str
    minutes: float
    worth: Decimal


@dataclass(frozen=True)
class Screened:
    """What a find is worth to a reseller. Money in the case's currency.

    course, title: the best way of going on with it. highest_offer: the most that can be paid for it, trip and every
    hour counted; below 0 where even a gift costs. profit: what is left at the asking price, every hour paid; None where
    none is asked. bench_hours: of work on it, what may follow and cleaning counted [h]. cash: to lay out: price, trip,
    the ticket of the repair and what is expected to follow. chance_of_loss: that it comes out below what was laid out
    and the hours [1]. reason: in one line. spot_check, question: None where none pays.
    """

    machine_class: str
    course: str
    title: str
    highest_offer: Decimal
    asking_price: Decimal | None
    profit: Decimal | None
    bench_hours: float
    profit_per_hour: Decimal | None
    cash: Decimal | None
    chance_of_loss: float | None
    reason: str
    spot_check: Asked | None
    question: Asked | None
    holds: tuple[str, ...]


def bench_hours(s: Setting, c: MachineClass, best: Course) -> float:
    """Return the hours of work that a way of going on with a find takes at the bench [h]: cleaning counts, selling not.

    Hours of a repair are the decider's own, slower than the book's.
    """
    if best.kind == "repair":
        pace = 1.0 if s.terms.by_shop else s.terms["slowness"]
        own = 0.0 if s.terms.by_shop else (best.hours + best.later_hours) * pace
        return float(own + s.terms["cleaning_hours"])
    return c.value.part_out_hours if best.kind == "part_out" else 0.0


def _later(s: Setting, best: Course) -> float:
    """Return what is expected to be paid later on a way of going on, own time left out [money]."""
    own = 0.0 if s.terms.by_shop else best.later_hours * s.terms["slowness"] * s.terms.money("hour_worth")
    return float(max(0.0, best.follow_up - own))


class Screening:
    """Screens finds one after the other; what they have in common is worked out once.

    Finds of a machine class, and of a complaint, should follow each other.
    """

    def __init__(self, defaults: Mapping[str, Default]) -> None:
        self._defaults, self._common = defaults, Common()
        self._pattern: object = None
        self._believed: Believed | None = None

    def believe(self, case: Case, c: MachineClass) -> Believed:
        """Return what a case makes likely, that of the case before where it tells the same."""
        told = (c.id, case.complaints, case.findings, case.prior_jobs, repr(case.history), case.machine.use)
        if self._believed is None or told != self._pattern:
            self._pattern, self._believed = told, believe(case, c, raised(c, earlier_jobs(case, c)))
        return self._believed

    def screen(self, case: Case, c: MachineClass, supply: Supply | None = None) -> Screened:
        """Return what a find is worth. case: checked, of a reseller. Raises BadInput as `verdict.decide` does."""
        believed = self.believe(case, c)
        heard = believed.heard
        w = weigh(case, c, self._defaults, believed, supply, by_state=False, common=self._common)
        s, best = w.setting, best_course(w.courses)
        highest = highest_offer(case, s, best)
        asked = case.find.asking_price
        hours = bench_hours(s, c, best)
        profit = None if asked is None else highest - asked
        risk = chance_of_loss(case, c, s, best, w.after)
        first = kerb(case, c, s, heard, w.courses, w.after)
        checks = c.checks

        def money(x: float) -> Decimal:
            return to_decimal(x, case.currency)

        def told(x: Spot | None, title: str) -> Asked | None:
            return None if x is None else Asked(x.id, title, x.minutes, money(x.worth))

        check, question = first.check, first.question
        laid_out = (
            None if asked is None else asked + case.find.travel_cost + money(max(0.0, -best.cash) + _later(s, best))
        )
        return Screened(
            c.id,
            course_name(s, best),
            title_of(c, s, best),
            highest,
            asked,
            profit,
            round(hours, 3),
            None if profit is None or hours <= 0 else money(float(to_minor(profit, case.currency)) / hours),
            laid_out,
            risk,
            cause(pointed_at(fault_lines(c, heard, believed.before, s.posterior), heard, s.posterior)),
            told(check, "" if check is None else checks[check.id].title),
            told(question, "" if question is None else c.facts[question.id].question),
            believed.holds,
        )
