"""Weighing: from a checked case to the worth of every course; the one kernel of a decision and of screening."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

from econ.alike import together
from econ.case import Case
from econ.costing import Bench, make_bench
from econ.courses import all_courses, best_course
from econ.evidence import ImpossibleEvidence, Posterior, condition, linked, prior_states
from econ.findings import Heard, hear, impossible, open_holds
from econ.followups import OfClass
from econ.groundwork import Groundwork
from econ.kept import Kept
from econ.market import Market, read_market
from econ.offers import Offer
from econ.payoffs import week_without
from econ.pricebook import Supply
from econ.problems import BadInput
from econ.purchase import Purchase, buy
from econ.repairs import AfterRepair, chosen, leading, repairs, search
from econ.rulebook import MachineClass
from econ.scopes import Scope, completed
from econ.setting import Course, Setting, make_setting, with_market
from econ.terms import Default, Terms, settle
from econ.words import KNOWN_FROM

KEPT = 8  # of what cases have in common, of each kind at most: a few megabytes each
AT_ONCE = 32  # machines worked out together: memory, and what stays near the processor
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
    """What machines weighed one after the other have in common, kept so that it is worked out once.

    What has to follow rests on faults in play, prices, hours and terms of work; what a repair leaves also on what is
    believed; neither rests on what a machine sells for. Machines that are alike in these should follow each other.
    """

    def __init__(self) -> None:
        self._class: object = None
        self._believed: Believed | None = None
        self._follow_ups: Kept[OfClass] = Kept(KEPT)
        self._grounds: Kept[Groundwork] = Kept(KEPT)

    def gather(self, believed: Believed) -> None:
        """Have what was met so far ready for the next machines believed alike: those weighed before are done with."""
        for ground in self._grounds if believed is self._believed else ():
            ground.gather()

    def groundwork(
        self, work: Hashable, c: MachineClass, believed: Believed, make: Callable[[], Setting]
    ) -> Groundwork:
        """Return the groundwork of machines that are worked on alike, as `work` tells. make: makes a setting of one."""
        if c is not self._class:
            self._class, self._follow_ups = c, Kept(KEPT)
        if believed is not self._believed:
            self._believed, self._grounds = believed, Kept(KEPT)

        def ground() -> Groundwork:
            s = make()
            follow_ups = self._follow_ups.get(work, lambda: OfClass(s.bench, c, s.payoffs.week))
            return Groundwork(s, follow_ups.of(s.table.ids))

        return self._grounds.get(work, ground)


def worked_on(case: Case, t: Terms, market: Market) -> Hashable:
    """Return whatever bears on what work on a machine takes and costs, and not on what it sells for."""
    machine = case.machine
    told = case.tools, case.prices, case.unobtainable, case.prior_jobs, case.recalled_jobs, case.wanted, case.terms
    offers, prices = [p.offer for p in t.priced.values()], (t.scale, case.currency, str(week_without(market, t)))
    return machine.rusty, machine.model_verified, case.perspective, *prices, repr((told, offers))


def weigh(
    case: Case,
    c: MachineClass,
    defaults: Mapping[str, Default],
    believed: Believed,
    supply: Supply | None = None,
) -> Weighed:
    """Return what every course of a case is worth, repairs with their worth in each state.

    supply: what a price book offers for its parts. Raises BadInput where stated figures contradict each other.
    """
    (found,) = weigh_alike([case], c, defaults, believed, [supply])
    if isinstance(found, BadInput):
        raise found
    return found


def weigh_alike(
    cases: Sequence[Case],
    c: MachineClass,
    defaults: Mapping[str, Default],
    believed: Believed,
    supplies: Sequence[Supply | None],
    common: Common | None = None,
) -> list[Weighed | BadInput]:
    """Return what every course of cases of which the same is believed is worth, or why that can't be told.

    Those that are worked on alike are worked out together, each to what it would be by itself. common: what cases
    weighed before, and done with, have in common with these; then repairs come without their worth in each state.
    """
    if common is not None:
        common.gather(believed)
    found: dict[int, Weighed | BadInput] = {}
    taken: list[dict[str, Offer]] = [{} for _ in cases]
    left = list(range(len(cases)))
    for _ in range(BASKETS):  # the basket of the best repair may change what it costs, and so which is best
        alike: dict[Hashable, list[tuple[int, Terms, Market]]] = {}
        for i in left:
            try:
                terms = settle(cases[i], c, defaults, supplies[i], taken[i])
                market = read_market(cases[i], c, terms)
            except BadInput as error:
                found[i] = error
            else:
                alike.setdefault(worked_on(cases[i], terms, market), []).append((i, terms, market))
        left = []
        for work, members in alike.items():
            for start in range(0, len(members), AT_ONCE):
                some = members[start : start + AT_ONCE]
                these = [(cases[i], supplies[i], terms, market) for i, terms, market in some]
                for (i, terms, _), (weighed, offers) in zip(
                    some, _weigh(these, c, believed, work, common), strict=True
                ):
                    found[i] = weighed
                    if any(terms.priced[p].offer != o for p, o in offers.items()):
                        taken[i] |= offers
                        left.append(i)
        if not left:
            break
    return [found[i] for i in range(len(cases))]


def _weigh(
    members: Sequence[tuple[Case, Supply | None, Terms, Market]],
    c: MachineClass,
    believed: Believed,
    work: Hashable,
    common: Common | None,
) -> list[tuple[Weighed, Mapping[str, Offer]]]:
    """Return what every course of cases that are worked on alike is worth, and by part the offer to take of it."""
    heard, complained = believed.heard, believed.complained
    case, _, terms, market = members[0]

    def make() -> Setting:
        bench = make_bench(case, c, terms)
        return make_setting(case, c, terms, market, heard, complained, believed.posterior, bench, believed.holds)

    ground = Groundwork(make()) if common is None else common.groundwork(work, c, believed, make)
    settings = [
        ground.setting if t is ground.setting.terms else with_market(ground.setting, c, t, m, heard, complained)
        for _, _, t, m in members
    ]
    whole = settings[0]
    if len(members) > 1:
        figures = together([t for _, _, t, _ in members], [m for _, _, _, m in members])
        whole = with_market(ground.setting, c, *figures, heard, complained)
    repaired = AfterRepair(whole, ground)
    found: list[tuple[Weighed, Mapping[str, Offer]]] = []
    every = zip(members, settings, search(whole, repaired, len(members)), strict=True)
    for n, ((_, supply, own, its), s, scopes) in enumerate(every):
        after = repaired.of(n) if len(members) > 1 else repaired
        courses = all_courses(s, after, chosen(s, scopes), common is None)
        bought, unfound = None, False
        try:
            bought = _buy(c, s, courses, after, supply)
        except ArithmeticError:
            unfound = True
        purchase, offers = (None, {}) if bought is None else bought
        found.append((Weighed(own, its, s.bench, s, after, scopes, courses, purchase, unfound), offers))
    return found


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
