"""Courses: everything that can be done with the machine from here, and the net worth of each.

Net worth: what the decider is better off by, in today's money, than handing the machine over for nothing (an owner:
and then paying for every year of service). Money in minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.payoffs import DISPOSALS
from econ.repairs import AfterRepair, chosen, leading, repairs, search
from econ.scopes import Scope
from econ.setting import Course, Setting
from econ.states import effects

Floats = NDArray[np.float64]
USABLE_FROM = 0.1  # a machine that gives less of its service than this can't be kept in use as it is [1]; judgement
TIE = 1e-6  # of the larger worth: below this the course that stands earlier wins
CLEARLY = 0.1  # share of its cost by which such a try must be worth more [1]; judgement
SELDOM = 0.25  # chance below which a repair seldom cures [1]; judgement


def other_courses(s: Setting) -> list[Course]:
    """Return the courses without repair: keep using, replace or do without (owner); sell, part out, scrap."""
    p, states, weights = s.payoffs, s.present, s.posterior.weights
    declined = s.terms.money("diagnosis_fee") if s.terms.by_shop else 0
    ways = p.let_go(states)
    best = max(DISPOSALS, key=lambda d: float(ways[d] @ weights) - put_back(s, d))
    found = []

    def add(
        kind: str, by_state: Floats, cash: float, cost: float, weeks: float, years: float, how: str, no: str
    ) -> None:
        net = by_state - declined - put_back(s, how)
        worth = float(net @ weights)
        found.append(
            Course(
                kind,
                (),
                (),
                worth,
                net,
                cash - declined,
                cost + declined,
                0.0,
                weeks,
                years,
                0.0,
                0.0,
                how,
                no,
            )
        )

    if s.terms.perspective == "reseller":
        for kind in DISPOSALS:
            by_state = ways[kind]
            cash = float(by_state @ weights) + p.own_hours[kind]
            add(kind, by_state, cash, p.own_hours[kind], 0.0, 0.0, kind, "")
        return found
    use = p.as_it_is(states, weights)
    served = service_shares(s)
    share = float(served @ weights)
    no = s.unusable or ("it gives too little service as it is" if share < USABLE_FROM else "")
    lost = (1 - served) * p.replacement_weeks * p.week
    add("keep_using", use.worth - lost, 0.0, float(lost @ weights), 0.0, float(use.years @ weights), "", no)
    got = float(ways[best] @ weights)
    for kind, r in p.replacements.items():
        weeks = 0.0 if kind == "do_without" else p.replacement_weeks
        wait = weeks * p.week
        yearly = r.per_year * r.years if kind == "do_without" else r.outlay
        by_state = ways[best] + r.worth - wait
        add(kind, by_state, got + p.own_hours[best] - r.outlay, yearly - got + wait, weeks, r.years, best, "")
    return found


def put_back(s: Setting, how: str) -> Any:
    """Return the cost of closing what was opened, by the way the machine goes; parts and scrap go as they lie."""
    return 0.0 if how in ("part_out", "scrap") else s.put_back


def service_shares(s: Setting) -> Floats:
    """Return the share of its service that the machine gives as it is, in each state [1]."""
    return effects(s.table, s.present).service


def all_courses(
    s: Setting, after: AfterRepair | None = None, scopes: Sequence[Scope] | None = None, by_state: bool = True
) -> tuple[Course, ...]:
    """Return every course in course order: repairs best first, then those without repair.

    scopes: the repairs to show; searched for if left out. by_state: repairs with their worth in each state. A try that
    seldom cures is shown only where it is clearly worth more than finding the cause and than no repair.
    """
    after = after or AfterRepair(s)
    scopes = chosen(s, search(s, after)[0]) if scopes is None else scopes
    mending, others = repairs(s, after, scopes, by_state), other_courses(s)
    rest = (*others, *(c for c in mending if c.open_ended))
    bar = max((c.worth for c in rest if not c.barred), default=-np.inf)
    leader = leading(s)
    shown = [
        c
        for c in mending
        if c.open_ended
        or c.cured >= SELDOM
        or c.worth > bar + CLEARLY * c.cost
        or (leader and s.jobs.cleared(c.jobs) & leader == leader)
    ]
    return (*shown, *others)


def best_course(courses: Sequence[Course]) -> Course:
    """Return the best course that is not barred; of equal ones the earliest."""
    free = [c for c in courses if not c.barred]
    best = free[0]
    for course in free[1:]:
        if course.worth > best.worth + TIE * max(1.0, abs(best.worth)):
            best = course
    return best


def best_without_repair(courses: Sequence[Course]) -> Course:
    """Return the best course without repair that is not barred."""
    return best_course([c for c in courses if c.kind != "repair"])


def confidence(chosen: Course, courses: Sequence[Course], weights: Floats) -> float:
    """Return the chance that the chosen course is no worse than every course of another kind, once all is known [1]."""
    others = [c.worth_by_state for c in courses if c.kind != chosen.kind and not c.barred]
    if not others:
        return 1.0
    right = chosen.worth_by_state >= np.max(np.array(others), axis=0) - TIE * np.abs(chosen.worth_by_state)
    return float(weights[right].sum())
