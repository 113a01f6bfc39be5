"""Staging: one case's courses and open checks handed to the plan, and its answer in words and money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.costing import THOUSAND, hour_cost, members, tickets, work
from econ.findings import Heard
from econ.knowledge import Check, pert_mean
from econ.looking import OpenCheck, effort_minutes, result_names, result_rows
from econ.money import to_decimal
from econ.orders import Orders, Weighed
from econ.plan import Choice, Look, Node
from econ.repairs import AfterRepair, repair_weeks, ways_of
from econ.rulebook import MachineClass
from econ.setting import Course, Setting
from econ.words import title_of

Floats = NDArray[np.float64]

STATES = 768  # likeliest states the plan looks at
GROUPS = 24  # sets of failing faults told apart in tracing; the rest count as one
SHOWN_FROM = 0.005  # chance under which a branch of the tree is not shown [1]
ORDER_FROM = 0.0025  # share of the new price by which a way of ordering must beat simpler ones [1]; judgement


@dataclass(frozen=True)
class Branch:
    """What to do at one result: its chance, the check or course then, and branches below a check."""

    result: str
    chance: float
    check: str | None
    course: str | None
    then: str
    branches: tuple[Branch, ...]


@dataclass(frozen=True)
class NextCheck:
    """The next check. worth: of making it and acting on it, before its cost; net: after. minutes: hands-on.

    check is None where none pays for itself; then the fields tell of the one that comes nearest, net being negative.
    """

    check: str | None
    title: str
    minutes: float
    cost: Decimal
    worth: Decimal
    net: Decimal
    nearest: str | None


@dataclass(frozen=True)
class CheckWorth:
    """A check by itself: what knowing its result is worth before its cost (EVSI), and its cost with what it needs."""

    check: str
    evsi: Decimal
    cost: Decimal


@dataclass(frozen=True)
class OrderLine:
    """One way of ordering parts: "after_looking", "now" (of one repair), "likely_kit" (with what may have to follow).

    parts: all that is ordered today; spare: those of them that only a follow-up needs. worth: the gain over ordering
    after looking. weeks_saved: expected weeks of waiting saved; early: weeks of its wait that fall in the wait for the
    bench. at_risk: what is expected to be lost on parts that go back.
    """

    order: str
    parts: tuple[str, ...]
    spare: tuple[str, ...]
    worth: Decimal
    weeks_saved: float
    early: float
    at_risk: Decimal


@dataclass(frozen=True)
class Staged:
    """The plan of a case, with parts ordered the best way.

    gain: what checking first and ordering well are worth over the best course at once, parts ordered after looking;
    evpi: knowing all, parts ordered as in the plan. orders: the ways of ordering that were weighed; order: the best.
    """

    next_check: NextCheck | None
    gain: Decimal
    evpi: Decimal
    checks: tuple[CheckWorth, ...]
    left_out: tuple[str, ...]
    then: str
    tree: tuple[Branch, ...]
    orders: tuple[OrderLine, ...]
    order: str


def _repair_choice(s: Setting, after: AfterRepair, course: Course, states: NDArray[np.int64], name: str) -> Choice:
    """Return a repair as the plan sees it."""
    rows, fails = ways_of(s, after, course.jobs, states)
    member = members(s.bench, [course.jobs])
    paid = float(tickets(s.bench, member).cost[0])
    paid += float(repair_weeks(s, work(s.bench, member).any_part)[0]) * s.payoffs.week
    for j in course.jobs if s.terms.by_shop else ():
        retry = s.jobs.uncured[j] * s.payoffs.week * s.terms["parts_lead_days"] / 7
        rows[:, [0, 4]] -= (retry * ((states & s.jobs.clears[j]) != 0))[:, None]
    used = {i for j in course.jobs for i in np.flatnonzero(s.bench.job_ops[j]).tolist()}
    credit = {o: _op_price(s, i) for i, o in enumerate(s.bench.ops) if i in used}
    top = np.argsort(-(s.posterior.weights[: states.size] @ fails))
    kept = np.concatenate([fails[:, top[:GROUPS]], fails[:, top[GROUPS:]].sum(axis=1, keepdims=True)], axis=1)
    return Choice(
        name,
        rows[:, 0] - paid,
        None if course.open_ended else rows[:, 4] - paid,
        kept,
        credit,
        mends=True,
    )


def _op_price(s: Setting, op: int) -> float:
    hours = int(s.bench.op_hours[op] + s.bench.op_trouble_hours[op]) / THOUSAND
    return hours * hour_cost(s.bench)


def _other_choices(s: Setting, courses: Sequence[Course], m: int) -> list[Choice]:
    """Return the courses without repair, each way of letting the machine go by itself."""
    p = s.payoffs
    ways = p.let_go(s.posterior.states[:m] | s.worn)
    declined = s.terms.money("diagnosis_fee") if s.terms.by_shop else 0
    sale = ways["sell_as_stands"] + p.own_hours["sell_as_stands"]
    found = []
    for course in courses:
        if course.kind == "repair" or course.barred:
            continue
        if course.kind == "keep_using":
            found.append(Choice("keep_using", course.worth_by_state[:m], keeps=True, shuts=True, sale=sale))
            continue
        r = p.replacements.get(course.kind)
        more = 0.0 if r is None else r.worth - (0.0 if course.kind == "do_without" else p.replacement_weeks * p.week)
        for way, got in ways.items():
            if r is None and way != course.kind:
                continue
            sells = way == "sell_as_stands"
            name = course.kind if r is None else f"{course.kind}|{way}"
            found.append(Choice(name, got + more - declined, shuts=sells, sale=sale if sells else None))
    return found


def _clearing_costs(s: Setting, c: MachineClass) -> dict[str, float]:
    """Return what clearing each hold costs a repair at least [money]."""
    prices = dict.fromkeys(c.holds, 0.0)
    for name, hold in c.holds.items():
        able = [s.bench.jobs.index(j) for j in hold.cleared_by]
        able = [j for j in able if j not in s.bench.barred]
        if able and not hold.by_cause:
            prices[name] = float(tickets(s.bench, members(s.bench, [(j,) for j in able]), first=False).cost.min())
    return prices


def _hold_costs(
    c: MachineClass, prices: Mapping[str, float], name: str, results: int, patterns: Sequence[Sequence[str]]
) -> tuple[float | None, ...]:
    """Return for each result what a hold it opens costs a repair [money], None where it opens none."""
    costs: list[float | None] = [None] * results
    for hold in c.holds:
        price = prices[hold]
        for o in c.holds[hold].opened_by:
            for k in range(results):
                by_outcome = o.check == name and o.outcome is not None and k >= c.checks[name].outcomes.index(o.outcome)
                if by_outcome or (o.fault is not None and k < len(patterns) and o.fault in patterns[k]):
                    costs[k] = max(costs[k] or 0.0, price)
    return tuple(costs)


def _look(
    s: Setting,
    case: Case,
    c: MachineClass,
    heard: Heard,
    name: str,
    present: NDArray[np.bool_],
    clearing: Mapping[str, float],
) -> Look | None:
    """Return a check as the plan sees it, None where nothing in play bears on it. clearing: cost for each hold."""
    check: Check = c.checks[name]
    rows = result_rows(check, c, heard, present, name)
    if rows is None:
        return None
    hourly = hour_cost(s.bench)
    missing = [t for t in check.tools if not s.terms.by_shop and t not in case.tools.owned]
    tools = sum(float(s.bench.tool_price[s.bench.tools.index(t)]) for t in missing)
    patterns = [n.split("+") for n in result_names(check, heard, present)] if check.reveals else []
    return Look(
        name,
        rows,
        check.minutes / 60 * hourly + tools,
        frozenset(check.operations),
        frozenset(check.requires) - frozenset(heard.outcomes) - heard.opened,
        _hold_costs(c, clearing, name, rows.shape[0], patterns),
        pert_mean(check.put_back) * hourly,
        check.as_is_drop,
    )


def stage(
    case: Case,
    c: MachineClass,
    s: Setting,
    heard: Heard,
    courses: Sequence[Course],
    checks: Sequence[OpenCheck],
    after: AfterRepair,
) -> Staged:
    """Return the plan of a case: the next check with its worth, and what to do at each result.

    The plan looks at the likeliest states only, and tells what is gained over stopping on the same footing.
    """
    m = min(STATES, s.posterior.states.size)
    states, weights = s.posterior.states[:m], s.posterior.weights[:m] / s.posterior.weights[:m].sum()
    present = (states[:, None] >> np.arange(len(heard.faults)) & 1).astype(bool)
    mending = [x for x in courses if x.kind == "repair" and not x.barred]
    names = {f"repair{i}": x for i, x in enumerate(mending)}
    choices = [_repair_choice(s, after, x, states, n) for n, x in names.items()] + _other_choices(s, courses, m)
    clearing = _clearing_costs(s, c)
    looks = [x for x in (_look(s, case, c, heard, k.id, present, clearing) for k in checks) if x is not None]
    able = {x.id for x in looks}
    looks = [x for x in looks if x.requires <= able]
    prices = {o: _op_price(s, i) for i, o in enumerate(s.bench.ops)}
    weighed = Orders(s, c, after, [x.jobs for x in mending], states, weights).weigh(choices, looks, prices)
    titles = {n: title_of(c, s, x) for n, x in names.items()}
    titles |= {x.kind: title_of(c, s, x) for x in courses if x.kind != "repair"}
    labels = {k.id: result_names(c.checks[k.id], heard, present) for k in checks}
    return _told(case, c, s, weighed, titles, labels)


def _order_line(case: Case, s: Setting, x: Weighed, usual: Weighed) -> OrderLine:
    bench = s.bench
    return OrderLine(
        x.kind,
        tuple(bench.parts[i] for i in np.flatnonzero(x.parts)),
        tuple(bench.parts[i] for i in np.flatnonzero(x.spare)),
        to_decimal(x.plan.value - usual.plan.value, case.currency),
        round(x.weeks, 3),
        round(x.early, 3),
        to_decimal(x.lost, case.currency),
    )


def _told(
    case: Case,
    c: MachineClass,
    s: Setting,
    weighed: Sequence[Weighed],
    titles: Mapping[str, str],
    labels: Mapping[str, Sequence[str]],
) -> Staged:
    """Return the plan with the best order in words and money. weighed: first the one with none today."""
    usual = best = weighed[0]
    for x in weighed[1:]:  # the simplest way first: more has to earn it
        best = x if x.plan.value > best.plan.value + ORDER_FROM * s.terms.new_price else best
    plan = best.plan

    def money(x: float) -> Decimal:
        return to_decimal(x, case.currency)

    def said(node: Node) -> str:
        if node.check is not None:
            return c.checks[node.check].title
        return titles.get(node.stop or "", titles.get((node.stop or "").partition("|")[0], ""))

    def branches(node: Node) -> tuple[Branch, ...]:
        return tuple(
            Branch(
                labels[node.check or ""][k],
                below.chance,
                below.check,
                None if below.stop is None else below.stop.partition("|")[0],
                said(below),
                branches(below),
            )
            for k, below in node.results
            if below.chance >= SHOWN_FROM
        )

    step = plan.first or (plan.steps[0] if plan.steps else None)
    nearest = None
    if step is not None:
        check = c.checks[step.id]
        nearest = NextCheck(
            step.id if plan.first else None,
            check.title,
            effort_minutes(check, s.bench),
            money(step.cost),
            money(max(step.worth, 0.0)),
            money(step.worth - step.cost),
            None if plan.first else step.id,
        )
    return Staged(
        nearest,
        money(plan.value - usual.plan.stopping),
        money(plan.perfect - plan.stopping),
        tuple(CheckWorth(x.id, money(max(x.worth, 0.0)), money(x.cost)) for x in plan.steps),
        plan.left_out,
        said(plan.tree),
        branches(plan.tree),
        tuple(_order_line(case, s, x, usual) for x in weighed),
        best.kind,
    )
