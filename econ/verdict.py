"""Verdict: the last station. From a checked case to the whole answer, ready for any door."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np

from econ.books import book_years
from econ.breakeven import BreakEven
from econ.buying import asking_of, bought, brings_of
from econ.case import Case
from econ.costing import members, tickets
from econ.courses import best_course, best_without_repair, confidence
from econ.decision import (
    CautionLine,
    CourseLine,
    Decision,
    HighestOffer,
    HoldLine,
    Verdict,
)
from econ.earlier import earlier_jobs, failed_again, first_of_all, raised, root_notes
from econ.estimate import make_estimate
from econ.looking import OpenCheck, open_checks
from econ.market import Market
from econ.money import say, to_decimal
from econ.nexttime import next_time
from econ.pricebook import Supply
from econ.purchase import prices_used
from econ.release import release_tests
from econ.repairs import AfterRepair
from econ.risk import assess, work_spread
from econ.rulebook import MachineClass
from econ.setting import Course, Setting, course_name
from econ.staging import Staged, stage
from econ.suspects import fault_lines, pointed_at
from econ.terms import Assumption, Default, price_source
from econ.thumb import rules_of_thumb
from econ.turns import Scene, turns
from econ.weighing import Believed, Weighed, believe, estimated, weigh
from econ.words import confidence_word, first_step, headline, title_of

UNFOUND = Assumption(
    "purchase", "not worked out", "no basket was found in time: each part is reckoned with at its seller by itself"
)


def decide(
    case: Case, c: MachineClass, defaults: Mapping[str, Default], version: str = "", supply: Supply | None = None
) -> Decision:
    """Return the answer to a case, as `decide_and_show` does, without its workings."""
    return decide_and_show(case, c, defaults, version, supply)[0]


def decide_and_show(
    case: Case, c: MachineClass, defaults: Mapping[str, Default], version: str = "", supply: Supply | None = None
) -> tuple[Decision, Believed, Weighed]:
    """Return the answer to a case, and what it rests on: what is believed, and what every course is worth.

    case: checked, with as_of. c: its machine class. defaults: terms for what the case leaves open. supply: what
    a price book offers for its parts.
    Raises BadInput where findings exclude each other or stated figures contradict each other.
    """
    done = earlier_jobs(case, c)
    believed = believe(case, c, raised(c, done))
    heard, posterior, holds = believed.heard, believed.posterior, believed.holds
    failed = failed_again(c, done, heard.pointed_at, heard.faults, posterior)
    weighed = weigh(case, c, defaults, believed, supply)
    market, bench, setting, after, courses = (
        weighed.market, weighed.bench, weighed.setting, weighed.after, weighed.courses
    )  # fmt: skip
    looked = open_checks(case, c, heard, posterior, bench, bool(holds))
    staged = stage(case, c, setting, heard, courses, looked, after)
    scene = Scene(case, c, setting, market, heard, believed.complained)
    turning = turns(scene, defaults, after, weighed.found, courses, best_course(courses))
    answer = _answer(case, c, setting, market, believed, courses, looked, staged, turning, after, version)
    scope = () if answer.estimate is None else tuple(bench.jobs.index(j) for j in answer.estimate.jobs)
    following, notes = next_time(case, c, defaults, market, bench, scope, failed)
    decision = replace(
        answer,
        price_revision=None if supply is None else supply.revision,
        prices=prices_used(c, bench, scope, supply),
        purchase=None if answer.estimate is None else weighed.bought,
        warranty_first=first_of_all(failed),
        next_time=following,
        assumptions=(*answer.assumptions, *root_notes(failed), *notes, *((UNFOUND,) if weighed.unfound else ())),
    )
    return decision, believed, weighed


def _answer(
    case: Case,
    c: MachineClass,
    s: Setting,
    market: Market,
    believed: Believed,
    courses: Sequence[Course],
    looked: tuple[OpenCheck, ...],
    staged: Staged,
    turning: BreakEven,
    after: AfterRepair,
    version: str,
) -> Decision:

    def money(x: float) -> Decimal:
        return to_decimal(x, case.currency)

    best, idle = best_course(courses), best_without_repair(courses)
    mending = [x for x in courses if x.kind == "repair" and not x.barred]
    repair, named = estimated(s, courses, after)
    rivals = [x for x in courses if x.kind != best.kind and not x.barred]
    rival = best_course(rivals) if rivals else None
    sure = confidence(best, courses, s.posterior.weights)
    estimate = make_estimate(s.bench, c, named.jobs, case.machine.rusty) if named else None
    limits = {id(x): _limit(s, x, idle) for x in (*mending, *([named] if named else []))}
    risk = assess(case, c, s, courses, limits, named, after)
    heard = believed.heard
    faults = fault_lines(c, heard, believed.before, s.posterior)
    hidden = _any_hidden(s)
    offer = _offer(case, c, s, best, after) if case.perspective == "reseller" else None
    pays = None
    if repair is not None:
        spent = float(tickets(s.bench, members(s.bench, [repair.jobs])).cost[0]) + repair.follow_up
        pays = spent, repair.worth + spent - idle.worth
    text = headline(case, c, s, best, rival, pays, pointed_at(faults, heard, s.posterior), offer)
    step = first_step(case, c, staged, title_of(c, s, best))
    text = f"{step}{text[:1].lower()}{text[1:]}" if step else text
    return Decision(
        version,
        str(case.as_of),
        case.perspective,
        case.currency,
        c.id,
        Verdict(
            course_name(s, best),
            text,
            None if rival is None else money(best.worth - rival.worth),
            None if rival is None else course_name(s, rival),
            round(sure, 6),
            confidence_word(sure),
        ),
        "",
        tuple(_line(case, c, s, x, limits.get(id(x))) for x in courses),
        faults,
        heard.left_out,
        hidden,
        looked,
        staged,
        turning,
        None if repair is None else money(limits[id(repair)]),
        estimate,
        risk,
        (),
        offer,
        tuple(
            HoldLine(h, c.holds[h].title, c.holds[h].why, c.holds[h].cleared_by, c.holds[h].source)
            for h in believed.holds
        ),
        _cautions(c, s, named),
        release_tests(case, c, () if named is None else tuple(s.bench.jobs[j] for j in named.jobs)),
        rules_of_thumb(case, s, market, named, limits.get(id(named)), estimate, best),
        book_years(case, market),
        (
            *s.terms.assumptions,
            *market.assumptions,
            *_used_prices(c, s, named),
            *s.bench.assumptions,
            *risk.assumptions,
        ),
        case.spent_so_far,
        s.posterior.dropped,
    )


def _limit(s: Setting, course: Course, idle: Course) -> float:
    """Return the most that is worth paying for a repair: its ticket and what it is better by than no repair [money].

    Where the jobs are left open, what is added later counts as part of what is paid.
    """
    ticket = float(tickets(s.bench, members(s.bench, [course.jobs])).cost[0])
    return course.worth + ticket - idle.worth + (course.follow_up if course.open_ended else 0.0)


def _line(case: Case, c: MachineClass, s: Setting, x: Course, limit: float | None) -> CourseLine:

    def money(v: float) -> Decimal:
        return to_decimal(v, case.currency)

    mends = x.kind == "repair"
    return CourseLine(
        course_name(s, x),
        x.kind,
        title_of(c, s, x),
        tuple(s.bench.jobs[j] for j in x.jobs),
        money(x.worth),
        money(x.cash),
        money(x.cost),
        money(x.cost / x.years) if x.years >= 1.0 and case.perspective != "reseller" else None,
        round(x.hours, 3),
        round(x.weeks, 3),
        round(x.cured, 6) if mends else None,
        money(x.follow_up) if mends else None,
        None if limit is None else money(limit),
        None if x.margin is None else money(x.margin),
        None if x.margin_per_hour is None else money(x.margin_per_hour),
        x.disposal or None,
        x.barred or None,
    )


def _any_hidden(s: Setting) -> float:
    mask = sum(1 << i for i in range(s.in_play) if s.table.hidden[i])
    return float(s.posterior.weights[(s.posterior.states & mask) != 0].sum())


def _offer(case: Case, c: MachineClass, s: Setting, best: Course, after: AfterRepair) -> HighestOffer:
    brings = brings_of(c, s, best, after, work_spread(case, c, s))
    found, asked = bought(brings, asking_of(case)), case.find.asking_price
    highest, left = (to_decimal(int(x[0]), case.currency) for x in (found.highest, found.left))
    most = max(highest, Decimal(0))
    return HighestOffer(most, asked, *((None, None) if asked is None else (left, float(found.loss[0]))))


def _cautions(c: MachineClass, s: Setting, repair: Course | None) -> tuple[CautionLine, ...]:
    names = list(c.about.cautions)
    for j in repair.jobs if repair else ():
        names += c.jobs[s.bench.jobs[j]].cautions
    return tuple(CautionLine(n, c.cautions[n].text, c.cautions[n].source) for n in dict.fromkeys(names))


def _used_prices(c: MachineClass, s: Setting, repair: Course | None) -> tuple[Assumption, ...]:
    """Return the typical part prices the estimate rests on, where the case states none."""
    if repair is None:
        return ()
    stated = {a.name for a in s.bench.assumptions}
    bench, jobs = s.bench, list(repair.jobs)
    ops = bench.job_ops[jobs].any(axis=0)
    used = np.flatnonzero(bench.job_parts[jobs].sum(axis=0) + bench.op_parts[ops].sum(axis=0))
    found = []
    for p in used:
        name = bench.parts[p]
        if f"price.{name}" not in stated:
            price = say(float(bench.unit_cost[p]), s.terms.currency)
            booked = s.terms.priced.get(name)
            known = booked is not None and booked.unit_cost is not None
            source = price_source(booked) if booked is not None and known else f"typical price, {c.parts[name].source}"
            found.append(Assumption(f"price.{name}", price, source))
    return tuple(found)
