"""Screening: finds that a reseller may buy, judged by the same kernel as one machine on the bench.

Finds that differ in price and trip alone are appraised once; what each leaves follows for all of them at once. A find
by itself is a block of one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from econ.buying import Asking, Bought, Brings, asking_of, bought, brings_of
from econ.case import Case
from econ.courses import best_course
from econ.earlier import earlier_jobs, raised
from econ.kept import Kept
from econ.kerb import Kerb, Sight, Standing, Tells, Told
from econ.money import IntArray, to_decimal
from econ.pricebook import Supply
from econ.problems import BadInput
from econ.risk import work_spread
from econ.rulebook import MachineClass
from econ.setting import course_name
from econ.spread import WorkSpread
from econ.suspects import fault_lines, pointed_at
from econ.terms import Default
from econ.weighing import KEPT, Common, Weighed, believe, weigh_alike
from econ.words import cause, title_of

TEST_IT = "test it, then do what it needs"  # of a machine of which nothing is said to be wrong


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


@dataclass(frozen=True)
class Appraisal:
    """What finds have in common that differ in price and trip alone: the best course, what it brings, what to look at.

    worth: of the best course [money]; brings, kerb: of a find, None for whoever has the machine already.
    """

    machine_class: str
    currency: str
    course: str
    title: str
    worth: float
    reason: str
    holds: tuple[str, ...]
    brings: Brings | None
    kerb: Kerb | None


@dataclass(frozen=True)
class Screenings:
    """What n finds of one appraisal are worth at their prices, and what to look at and ask first.

    bench_hours: as in Screened. checks, questions: those that `check` and `question` tell the places of.
    """

    machine_class: str
    currency: str
    course: str
    title: str
    reason: str
    holds: tuple[str, ...]
    bench_hours: float
    asking: Asking
    bought: Bought
    checks: tuple[Tells, ...]
    questions: tuple[Tells, ...]
    check: Told
    question: Told


class _Known:
    """What is believed of finds that tell the same, and what follows from that alone."""

    def __init__(self, case: Case, c: MachineClass) -> None:
        self.believed = believe(case, c, raised(c, earlier_jobs(case, c)))
        heard, posterior = self.believed.heard, self.believed.posterior
        self.reason = cause(pointed_at(fault_lines(c, heard, self.believed.before, posterior), heard, posterior))
        self._sight = Sight(self.believed)
        self._work: Kept[WorkSpread] = Kept(KEPT)
        self._standing: Kept[Standing] = Kept(KEPT)

    def work(self, case: Case, c: MachineClass, w: Weighed) -> WorkSpread:
        """Return how the work may turn out on machines that are worked on alike."""
        return self._work.get(w.after.groundwork, lambda: work_spread(case, c, w.setting))

    def standing(self, case: Case, c: MachineClass, w: Weighed) -> Standing:
        """Return what may be looked at and asked of finds that are worked on alike."""
        return self._standing.get(w.after.groundwork, lambda: Standing(case, c, w.setting, self._sight))


class Screening:
    """Appraises finds one after the other; what they have in common is worked out once.

    Finds of a machine class, and of a complaint, should follow each other.
    """

    def __init__(self, defaults: Mapping[str, Default]) -> None:
        self._defaults, self._common = defaults, Common()
        self._pattern: object = None
        self._known: _Known | None = None

    def _know(self, cases: Sequence[Case], c: MachineClass) -> _Known:
        """Return what is known of cases that tell the same, that of those before where they told the same too."""
        told, *others = (
            (c.id, case.complaints, case.findings, case.prior_jobs, repr(case.history), case.machine.use)
            for case in cases
        )
        if any(other != told for other in others):
            message = "cases that are appraised together tell the same"
            raise ValueError(message)
        if self._known is None or told != self._pattern:
            self._pattern, self._known = told, _Known(cases[0], c)
        return self._known

    def appraise(self, case: Case, c: MachineClass, supply: Supply | None = None) -> Appraisal:
        """Return what a machine is worth, price and trip left out. case: checked. Raises BadInput as `decide` does."""
        (found,) = self.appraise_alike([case], c, [supply])
        if isinstance(found, BadInput):
            raise found
        return found

    def appraise_alike(
        self, cases: Sequence[Case], c: MachineClass, supplies: Sequence[Supply | None]
    ) -> list[Appraisal | BadInput]:
        """Return what machines are worth of which the same is told, price and trip left out, or why one can't be told.

        cases: checked. Raises BadInput where what is told excludes itself.
        """
        known = self._know(cases, c)
        weighed = weigh_alike(cases, c, self._defaults, known.believed, supplies, self._common)
        return [
            w if isinstance(w, BadInput) else self._appraised(case, c, known, w)
            for case, w in zip(cases, weighed, strict=True)
        ]

    def _appraised(self, case: Case, c: MachineClass, known: _Known, w: Weighed) -> Appraisal:
        s, best = w.setting, best_course(w.courses)
        find = case.perspective == "reseller"
        return Appraisal(
            c.id,
            case.currency,
            course_name(s, best),
            title_of(c, s, best) if known.reason or course_name(s, best) != "repair:open" else TEST_IT,
            best.worth,
            known.reason,
            known.believed.holds,
            brings_of(c, s, best, w.after, known.work(case, c, w)) if find else None,
            known.standing(case, c, w).kerb(s, w.courses, w.after) if find else None,
        )

    def screen(self, case: Case, c: MachineClass, supply: Supply | None = None) -> Screened:
        """Return what a find is worth. case: checked, of a reseller. Raises BadInput as `verdict.decide` does."""
        return one_of(screened(self.appraise(case, c, supply), asking_of(case)), 0)


def screened(a: Appraisal, asking: Asking) -> Screenings:
    """Return what finds of one appraisal are worth at their prices. a: of a reseller."""
    if a.brings is None or a.kerb is None:
        message = "only what is not bought yet is screened"
        raise ValueError(message)
    hour = a.brings.hour
    return Screenings(
        a.machine_class,
        a.currency,
        a.course,
        a.title,
        a.reason,
        a.holds,
        a.brings.bench_hours,
        asking,
        bought(a.brings, asking),
        a.kerb.checks,
        a.kerb.questions,
        a.kerb.check(asking, hour),
        a.kerb.question(asking, hour),
    )


def one_of(x: Screenings, i: int) -> Screened:
    """Return one of several finds in words and money."""
    named = bool(x.asking.named[i])

    def money(minor: float) -> Decimal:
        return to_decimal(minor, x.currency)

    def asked(told: Told, among: tuple[Tells, ...]) -> Asked | None:
        k = int(told.which[i])
        return None if k < 0 else Asked(among[k].id, among[k].title, among[k].minutes, money(float(told.worth[i])))

    def priced(minor: IntArray) -> Decimal | None:
        return money(int(minor[i])) if named else None

    return Screened(
        x.machine_class,
        x.course,
        x.title,
        money(int(x.bought.highest[i])),
        priced(x.asking.price),
        priced(x.bought.left),
        round(x.bench_hours, 3),
        priced(x.bought.per_hour) if x.bench_hours > 0 else None,
        priced(x.bought.cash),
        float(x.bought.loss[i]) if named else None,
        x.reason,
        asked(x.check, x.checks),
        asked(x.question, x.questions),
        x.holds,
    )
