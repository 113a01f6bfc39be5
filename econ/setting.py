"""Setting: all that courses are computed from, and what a course is. Money in minor units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.costing import Bench, hour_cost, make_bench, members, tickets, tracing_cost
from econ.evidence import Posterior
from econ.findings import Heard
from econ.knowledge import pert_mean
from econ.market import Market, market_of, steepness
from econ.payoffs import Payoffs, make_payoffs
from econ.rulebook import MachineClass
from econ.scopes import Jobs, Scope, make_jobs
from econ.states import FaultTable, Masks, effects, fault_table, mask_of
from econ.terms import Terms

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """One course. Money in minor units; cash: paid (-) or received (+) today; cost: expected present cost in all.

    worth_by_state: (m,) net worth in each state of the posterior. weeks: without the machine. years: discounted years
    of service. cured: chance that no fault is left that costs much of its service. follow_up: expected cost of
    tracing and of jobs added later. barred: why it can't be done, or empty. open_ended: the cause is found first,
    then what it needs is done. margin, margin_per_hour: the shop's gross profit. later_hours: expected hours of tracing
    and of jobs added later [h]. let_go, parted: the chances that what was to be sold in working order is
    let go in the end, and taken to parts [1].
    """

    kind: str
    jobs: Scope
    extras: Scope
    worth: float
    worth_by_state: Floats
    cash: float
    cost: float
    hours: float
    weeks: float
    years: float
    cured: float
    follow_up: float
    disposal: str
    barred: str
    open_ended: bool = False
    margin: float | None = None
    margin_per_hour: float | None = None
    later_hours: float = 0.0
    let_go: float = 0.0
    parted: float = 0.0


@dataclass(frozen=True)
class Setting:
    """All that courses are computed from; faults in play first, wanted wear faults after them in bit order.

    clearing: for each open hold the jobs that clear it, cheapest first. trace_cost: of halving once what it may be
    [money]. put_back: cost of closing what was opened if it is not repaired [money]. held: a hold is open. unusable:
    why it can't be kept in use, or empty. no_repair: why no repair can be done, or empty.
    """

    table: FaultTable
    in_play: int
    jobs: Jobs
    bench: Bench
    payoffs: Payoffs
    posterior: Posterior
    terms: Terms
    market: Market
    clearing: tuple[Scope, ...]
    wanted: Scope
    trace_cost: Any
    put_back: Any
    held: bool
    unusable: str
    no_repair: str

    @property
    def worn(self) -> int:
        """The wanted wear faults as a mask: present in every state."""
        return mask_of(range(self.in_play, len(self.table.ids)))

    @cached_property
    def present(self) -> Masks:
        """The states of the posterior with the wanted wear faults in each, (m,)."""
        return self.posterior.states | self.worn if self.worn else self.posterior.states


def course_name(s: Setting, course: Course) -> str:
    """Return the name of a course in answers: its kind, or ``repair:a+b`` by its jobs, or ``repair:open``."""
    if course.kind != "repair":
        return course.kind
    return "repair:" + ("+".join(s.bench.jobs[j] for j in course.jobs) or "open")


def _clearing(c: MachineClass, bench: Bench, holds: Sequence[str]) -> tuple[tuple[Scope, ...], str]:
    """Return for each open hold the jobs that clear it, cheapest first; and why no repair can be done, if so."""
    found: list[Scope] = []
    for hold in holds:
        if c.holds[hold].by_cause:
            continue
        able = [bench.jobs.index(j) for j in c.holds[hold].cleared_by]
        able = [j for j in able if j not in bench.barred]
        if not able:
            why = [bench.barred[bench.jobs.index(j)] for j in c.holds[hold].cleared_by if j in bench.jobs]
            because = f": {'; '.join(dict.fromkeys(why))}" if why else ""
            return (), f"{c.holds[hold].title}: nothing that can be done here clears this{because}"
        cost = tickets(bench, members(bench, [(j,) for j in able]), first=False).cost
        found.append(tuple(able[i] for i in np.argsort(cost, kind="stable")))
    return tuple(found), ""


def _unusable(case: Case, c: MachineClass, heard: Heard, holds: Sequence[str]) -> str:
    """Return why the machine can't be kept in use as it is: open holds, a complaint or a finding that stops it.

    A finding that the same thing is normal stands for the complaint.
    """
    why = [f"hold: {c.holds[h].title}" for h in holds]
    told = [c.complaints[x] for x in case.complaints]
    stopped = [x for x in told if x.unusable and heard.outcomes.get(x.check) != 0]
    why += [x.title for x in stopped]
    for i, k in heard.outcomes.items():
        x = c.checks[i]
        if x.unusable_from is None or k < x.outcomes.index(x.unusable_from) or i in {s.check for s in stopped}:
            continue
        why.append(f"{x.title[0].lower()}{x.title[1:]}: {x.outcomes[k].replace('_', ' ')}")
    return "; ".join(why)


def make_setting(
    case: Case,
    c: MachineClass,
    terms: Terms,
    market: Market,
    heard: Heard,
    complained: Posterior,
    posterior: Posterior,
    bench: Bench,
    holds: Sequence[str],
) -> Setting:
    """Return the setting of a case.

    complained, posterior: what is believed from the complaints alone, and from everything. holds: the open ones.
    """
    worn = [f for f, fault in c.faults.items() if fault.wear and any(f in c.jobs[w].clears for w in case.wanted)]
    table = fault_table(c, (*heard.faults, *worn), heard.found)
    clearing, no_repair = _clearing(c, bench, holds)
    return Setting(
        table,
        len(heard.faults),
        make_jobs(bench, c, table.ids),
        bench,
        _payoffs(table, market, terms, c, heard, complained),
        posterior,
        terms,
        market,
        clearing,
        tuple(bench.jobs.index(w) for w in case.wanted if bench.jobs.index(w) not in bench.barred),
        tracing_cost(bench),
        sum(pert_mean(c.checks[i].put_back) for i in heard.opened) * hour_cost(bench),
        bool(holds),
        _unusable(case, c, heard, holds),
        no_repair,
    )


def with_market(
    s: Setting, c: MachineClass, terms: Terms, market: Market, heard: Heard, complained: Posterior
) -> Setting:
    """Return the setting of a machine that is worked on alike but sells for something else, or of several."""
    payoffs = _payoffs(s.table, market, terms, c, heard, complained)
    return replace(s, bench=replace(s.bench, terms=terms), payoffs=payoffs, terms=terms, market=market)


def _payoffs(
    table: FaultTable, market: Market, terms: Terms, c: MachineClass, heard: Heard, complained: Posterior
) -> Payoffs:
    steep = terms["as_is_steepness"]
    if market.as_is is not None:
        shares = effects(table, complained.states).price
        ratio = np.minimum(market.as_is / np.maximum(market.running, 1.0), 1.0)  # in a world it may be worth nothing
        found = steepness(np.where(np.isnan(ratio), 0.5, ratio), shares, complained.weights)
        steep = np.where(np.isnan(ratio), steep, found) if np.ndim(ratio) else found
    kept = float(np.prod([1 - c.checks[i].as_is_drop for i in heard.opened]))
    return make_payoffs(table, market, terms, c, steep, kept)


def with_terms(
    s: Setting, case: Case, c: MachineClass, heard: Heard, complained: Posterior, terms: Terms, posterior: Posterior
) -> Setting:
    """Return a setting under other terms, one world or many, with what is believed then; jobs and holds stay."""
    bench = make_bench(case, c, terms)
    market = market_of(case, c, terms)
    return replace(
        s,
        bench=bench,
        payoffs=_payoffs(s.table, market, terms, c, heard, complained),
        posterior=posterior,
        terms=terms,
        market=market,
        trace_cost=tracing_cost(bench),
        put_back=sum(pert_mean(c.checks[i].put_back) for i in heard.opened) * hour_cost(bench),
    )
