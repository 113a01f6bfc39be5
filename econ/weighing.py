"""Weighing: from a checked case to the worth of every course; the one kernel of a decision and of screening."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from econ.case import Case
from econ.costing import Bench, make_bench
from econ.courses import all_courses, best_course
from econ.evidence import ImpossibleEvidence, Posterior, condition, linked, prior_states
from econ.findings import Heard, hear, impossible, open_holds
from econ.followups import OfClass
from econ.groundwork import Groundwork
from econ.market import Market, read_market
from econ.offers import Offer
from econ.pricebook import Supply
from econ.purchase import Purchase, buy
from econ.repairs import AfterRepair, chosen, leading, repairs, search
from econ.rulebook import MachineClass
from econ.scopes import Scope, completed
from econ.setting import Course, Setting, make_setting
from econ.terms import Default, Terms, settle
from econ.words import KNOWN_FROM

KEPT = 8  # of what cases have in common, of each kind at most: a few megabytes each
BASKETS = 3  # times that the basket of the repair and its price are settled by each other at most


@dataclass(frozen=True)
class Believed:
    """What was heard and what is believed: before it, by the complaint alone, and now. holds: the open ones."""

    heard: Heard
    before: Posterior
    complained: Posterior
    posterior: Posterior
    holds: tuple[str, ...]

    @property
    def likely(self) -> dict[str, float]:
        """The chance of each fault now, by fault [1]."""
        return dict(zip(self.heard.faults, self.posterior.marginal.tolist(), strict=True))


def believe(case: Case, c: MachineClass, raised: Mapping[tuple[str, str], float]) -> Believed:
    """Return what the case makes likely; raised: factors on the odds of faults, by earlier jobs. Raises BadInput."""
    heard = hear(case, c, raised)
    prior = linked(prior_states(heard.base_odds, heard.causes), heard.links)
    try:
        complained = condition(prior, heard.complaints)
        posterior = condition(prior, heard.clues) if heard.findings else complained
    except ImpossibleEvidence as error:
        raise impossible(error.names, case) from None
    likely = dict(zip(heard.faults, posterior.marginal.tolist(), strict=True))
    holds = open_holds(case, c, heard.worst, likely)
    return Believed(heard, condition(prior, ()), complained, posterior, holds)


@dataclass(frozen=True)
class Weighed:
    """What every course is worth, and what that rests on.

    found: scopes looked at, best first, with about what each is worth. bought: what to order for the repair that an
    estimate is written for, where a price book offers anything of it; unfound: no basket was found in time.
    """

    terms: Terms
    market: Market
    bench: Bench
    setting: Setting
    after: AfterRepair
    found: Mapping[Scope, float]
    courses: tuple[Course, ...]
    bought: Purchase | None
    unfound: bool


class Common:
    """What cases weighed one after the other have in common, kept so that it is worked out once.

    What has to follow rests on faults in play, prices, hours and terms of work; what a repair leaves also on what is
    believed; neither rests on what a machine sells for. Cases that are alike in these should follow each other.
    """

    def __init__(self) -> None:
        self._class: object = None
        self._follow_ups: dict[object, OfClass] = {}
        self._believed: Believed | None = None
        self._grounds: dict[object, Groundwork] = {}

    def groundwork(self, case: Case, c: MachineClass, s: Setting, believed: Believed) -> Groundwork:
        """Return the groundwork of a case with this setting, that of an earlier case if it is the same."""
        t, machine = s.terms, case.machine
        if machine.machine_class != self._class:
            self._class, self._follow_ups, self._believed = machine.machine_class, {}, None
        if believed is not self._believed:
            self._believed, self._grounds = believed, {}
        told = case.tools, case.prices, case.unobtainable, case.prior_jobs, case.recalled_jobs, case.wanted, case.terms
        offers, prices = [p.offer for p in t.priced.values()], (t.scale, case.currency, str(s.payoffs.week))
        work = machine.rusty, machine.model_verified, case.perspective, *prices, repr((told, offers))
        if work in self._grounds:
            self._grounds[work].gather()
        else:
            if work not in self._follow_ups:
                self._follow_ups[work] = OfClass(s.bench, c, s.payoffs.week)
            self._grounds[work] = Groundwork(s, self._follow_ups[work].of(s.table.ids))
            for kept in (self._follow_ups, self._grounds):
                if len(kept) > KEPT:
                    del kept[next(iter(kept))]
        return self._grounds[work]


def weigh(
    case: Case,
    c: MachineClass,
    defaults: Mapping[str, Default],
    believed: Believed,
    supply: Supply | None = None,
    by_state: bool = True,
    common: Common | None = None,
) -> Weighed:
    """Return what every course of a case is worth.

    supply: what a price book offers for its parts. by_state: repairs with their worth in each state; the means are the
    same without. common: what cases weighed before have in common with this one. Raises BadInput where stated figures
    contradict each other.
    """
    taken: dict[str, Offer] = {}
    for _ in range(BASKETS):  # the basket of the best repair may change what it costs, and so which is best
        terms = settle(case, c, defaults, supply, taken)
        market = read_market(case, c, terms)
        bench = make_bench(case, c, terms)
        setting = make_setting(
            case, c, terms, market, believed.heard, believed.complained, believed.posterior, bench, believed.holds
        )
        after = AfterRepair(setting, None if common is None else common.groundwork(case, c, setting, believed))
        found = search(setting, after)
        courses = all_courses(setting, after, chosen(setting, found), by_state)
        unfound, bought = False, None
        try:
            bought = _buy(c, setting, courses, after, supply)
        except ArithmeticError:
            unfound = True
        if bought is None or all(terms.priced[p].offer == o for p, o in bought[1].items()):
            break
        taken |= bought[1]
    purchase = None if bought is None else bought[0]
    return Weighed(terms, market, bench, setting, after, found, courses, purchase, unfound)


def _buy(
    c: MachineClass, s: Setting, courses: Sequence[Course], after: AfterRepair, supply: Supply | None
) -> tuple[Purchase, Mapping[str, Offer]] | None:
    """Return what to order for the repair that the estimate is for, None where the price book offers nothing of it."""
    if supply is None:
        return None
    named = estimated(s, courses, after)[1]
    return None if named is None else buy(c, s.bench, named.jobs, float(s.payoffs.week), supply.revision)


def estimated(s: Setting, courses: Sequence[Course], after: AfterRepair) -> tuple[Course | None, Course | None]:
    """Return the repair that would put it right, and the one to write an estimate for; None where there is none."""
    best = best_course(courses)
    mending = [x for x in courses if x.kind == "repair" and not x.barred]
    repair = best if best.kind == "repair" else _curing(s, mending)
    return repair, repair if repair is not None and not repair.open_ended else _named(s, mending, after)


def _named(s: Setting, mending: Sequence[Course], after: AfterRepair) -> Course | None:
    """Return the repair to write an estimate for where the answer names none: the best that clears what leads.

    Where only finding the cause is weighed, that is the usual job for the likeliest fault.
    """
    leader = leading(s)
    told = [x for x in mending if leader and s.jobs.cleared(x.jobs) & leader == leader]
    told += [x for x in mending if not x.open_ended]
    if told or not mending:
        return told[0] if told else None
    usual, chances = s.jobs.usual[0], s.posterior.marginal
    likeliest = max((i for i in usual if i < s.in_play), key=lambda i: chances[i], default=None)
    if likeliest is None:
        return mending[0]
    return repairs(s, after, [completed((usual[likeliest],), s.clearing)])[0]


def _curing(s: Setting, mending: Sequence[Course]) -> Course | None:
    """Return the repair to hold against another answer.

    The best that clears the hidden faults that lead; else the best that is open or cures more often than not.
    """
    leader = leading(s, hidden=True)
    told = [x for x in mending if leader and s.jobs.cleared(x.jobs) & leader == leader]
    told += [x for x in mending if x.open_ended or x.cured >= KNOWN_FROM] + [*mending]
    return told[0] if told else None
