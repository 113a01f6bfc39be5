"""Staging: one case's courses and open checks handed to the plan, and its answer in words and money."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.costing import THOUSAND, hour_cost, members, tickets
from econ.courses import CLEARLY, SELDOM
from econ.findings import HOLD_FROM, Heard
from econ.fitting import Fitting
from econ.knowledge import Check, pert_mean
from econ.looking import Leaning, OpenCheck, effort_minutes, result_names, result_rows
from econ.missed import in_states, missed
from econ.money import to_decimal
from econ.orders import Orders, Weighed
from econ.plan import Node, Step
from econ.repairs import AfterRepair
from econ.rulebook import MachineClass
from econ.setting import Course, Setting, course_name
from econ.stopping import Choice, Columns, Look, Suspect
from econ.words import title_of

Floats = NDArray[np.float64]
Path = tuple[tuple[str, int], ...]  # checks made, with the number of each one's result

STATES = 768  # likeliest states the plan looks at
LEAST = 0.002  # of the new price by which checking must beat stopping to be worth the trouble [1]; judgement
WORTH_FROM = 0.2  # of its cost: a check whose result is worth less than this tells little [1]; judgement
SHORT_LOOK = 5.0  # a look at the counter that a shop does not bill: it costs its wage [minutes]; judgement
SHOWN_FROM = 0.005  # chance under which a branch of the tree is not shown [1]
ROUNDS = 2  # of adding the repairs that fit results best: those of single checks, then those where the plan stops
ORDER_FROM = 0.0025  # share of the new price by which a way of ordering must beat simpler ones [1]; judgement


@dataclass(frozen=True)
class Branch:
    """What to do at one result: its chance, the check or course then, and branches below a check.

    chance: of coming here, results before it counted. leading: the fault that is then likeliest.
    """

    result: str
    chance: float
    check: str | None
    course: str | None
    then: str
    leading: Leaning | None
    branches: tuple[Branch, ...]


@dataclass(frozen=True)
class NextCheck:
    """The next check. worth: of making it and acting on it, before its cost; net: after. minutes: hands-on.

    check is None where none pays for itself by more than a trifle; then the fields tell of the one that comes nearest,
    or where none would change the answer, worth 0, of the one that tells most.
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
    """A check by itself: what knowing its result is worth (EVSI), and its cost with what it needs.

    evsi: before its cost, without what its work spares a repair.
    """

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


@dataclass(frozen=True)
class Bill:
    """What checks may spare or add to a repair [money]: operations by number, tools they may have got by name.

    operations: none where nothing is spared. holds: by hold the jobs that clear it, and what the cheapest of them
    costs; none where its cause is put right.
    """

    operations: tuple[float, ...]
    tools: Mapping[str, float]
    holds: Mapping[str, tuple[frozenset[int], float]]


def _bill(s: Setting, c: MachineClass, missing: Sequence[str]) -> Bill:
    """Return what checks may spare or add. missing: tools that checks may have got already."""
    holds = {}
    for hold, x in c.holds.items():
        jobs = [s.bench.jobs.index(j) for j in x.cleared_by]
        able = [j for j in jobs if j not in s.bench.barred]
        pays = able and not x.by_cause
        cost = tickets(s.bench, members(s.bench, [(j,) for j in able]), first=False).cost.min() if pays else 0.0
        holds[hold] = frozenset(jobs), float(cost)
    operations = tuple(_op_price(s, i) for i in range(len(s.bench.ops)))
    return Bill(operations, {t: _tool_price(s, t) for t in missing}, holds)


def repair_choice(
    s: Setting, after: AfterRepair, course: Course, states: NDArray[np.int64], weights: Floats, bill: Bill
) -> Choice:
    """Return a repair as the plan sees it; states it does not look at count with what it is worth with them now."""
    used = {i for j in course.jobs for i in np.flatnonzero(s.bench.job_ops[j]).tolist()}
    credit = {o: bill.operations[i] for i, o in enumerate(s.bench.ops) if i in used and bill.operations}
    needed = {s.bench.tools[t] for t in np.flatnonzero(s.bench.op_tools[sorted(used)].any(axis=0))}
    credit |= {t: price for t, price in bill.tools.items() if t in needed}
    may_miss = missed(s, after, course.jobs, states, weights)
    return Choice(
        course_name(s, course),
        *in_states(s, after, course, states, weights, may_miss),
        may_miss.fails,
        credit,
        mends={h: 0.0 if jobs & set(course.jobs) else price for h, (jobs, price) in bill.holds.items()},
    )


def _op_price(s: Setting, op: int) -> float:
    """Return what an operation costs by itself: its time and what it uses up, complications allowed for [money]."""
    hours = int(s.bench.op_hours[op] + s.bench.op_trouble_hours[op]) / THOUSAND
    used = float(s.bench.op_parts[op] @ s.bench.unit_price) / THOUSAND + float(s.bench.op_trouble_parts[op])
    return float(hours * hour_cost(s.bench)) + used


def _tool_price(s: Setting, tool: str) -> float:
    return float(s.bench.tool_price[s.bench.tools.index(tool)])


def other_choices(s: Setting, courses: Sequence[Course], weights: Floats) -> list[Choice]:
    """Return the courses without repair, each way of letting the machine go by itself.

    weights: of the states looked at; the others count with what a course is worth with them now.
    """
    p, m = s.payoffs, weights.size

    def seen(by_state: Floats) -> Floats:
        here: Floats = by_state[:m] + (by_state @ s.posterior.weights - by_state[:m] @ weights)
        return here

    ways = {way: seen(got) for way, got in p.let_go(s.present).items()}
    declined = s.terms.money("diagnosis_fee") if s.terms.by_shop else 0
    sale = ways["sell_as_stands"] + p.own_hours["sell_as_stands"]
    found = []
    for course in courses:
        if course.kind == "repair" or course.barred:
            continue
        if course.kind == "keep_using":
            found.append(Choice("keep_using", seen(course.worth_by_state), keeps=True, shuts=True, sale=sale))
            continue
        r = p.replacements.get(course.kind)
        more = 0.0 if r is None else r.worth - (0.0 if course.kind == "do_without" else p.replacement_weeks * p.week)
        for way, got in ways.items():
            if r is None and way != course.kind:
                continue
            sells = way == "sell_as_stands"
            name = course.kind if r is None else f"{course.kind}|{way}"
            shut = s.put_back if sells else 0.0
            found.append(Choice(name, got + more - declined - shut, shuts=sells, sale=sale if sells else None))
    return found


def _holds_opened(
    c: MachineClass, name: str, results: int, patterns: Sequence[Sequence[str]]
) -> tuple[frozenset[str], ...]:
    """Return for each result of a check the holds it opens; nothing at all where none ever does."""

    def opens(hold: str, k: int) -> bool:
        for o in c.holds[hold].opened_by:
            if o.check == name and o.outcome is not None and k >= c.checks[name].outcomes.index(o.outcome):
                return True
            if o.fault is not None and k < len(patterns) and o.fault in patterns[k]:
                return True
        return False

    found = tuple(frozenset(h for h in c.holds if opens(h, k)) for k in range(results))
    return found if any(found) else ()


def _suspects(c: MachineClass, heard: Heard, weights: Floats, present: NDArray[np.bool_]) -> tuple[Suspect, ...]:
    """Return the faults that open a hold once they are likely, but for those that have opened it already."""
    found = [
        Suspect(hold, present[:, heard.faults.index(o.fault)].astype(float), HOLD_FROM)
        for hold, x in c.holds.items()
        for o in x.opened_by
        if o.fault in heard.faults
    ]
    return tuple(x for x in found if weights @ x.present < HOLD_FROM)


def _missing(s: Setting, case: Case, check: Check) -> list[str]:
    """Return the tools of a check that have to be got first; like its operations, they are paid for once."""
    return [t for t in check.tools if not s.terms.by_shop and t not in case.tools.owned]


def make_look(
    s: Setting, case: Case, c: MachineClass, heard: Heard, name: str, present: NDArray[np.bool_]
) -> Look | None:
    """Return a check as the plan sees it, None where nothing in play bears on it."""
    check: Check = c.checks[name]
    rows = result_rows(check, c, heard, present, name)
    if rows is None:
        return None
    hourly = hour_cost(s.bench)
    unbilled = s.terms.by_shop and check.minutes <= SHORT_LOOK and not check.operations
    patterns = [n.split("+") for n in result_names(check, heard, present)] if check.reveals else []
    return Look(
        name,
        rows,
        check.minutes / 60 * (s.terms.money("mechanic_wage") if unbilled else hourly),
        frozenset(check.operations) | frozenset(_missing(s, case, check)),
        frozenset(check.requires) - frozenset(heard.outcomes) - heard.opened,
        _holds_opened(c, name, rows.shape[0], patterns),
        pert_mean(check.put_back) * hourly,
        check.as_is_drop,
        check.running,
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

    The plan looks at the likeliest states only; to stop at once is worth what the best course is.
    """
    m = min(STATES, s.posterior.states.size)
    states, weights = s.posterior.states[:m], s.posterior.weights[:m] / s.posterior.weights[:m].sum()
    present = (states[:, None] >> np.arange(len(heard.faults)) & 1).astype(bool)
    missing = sorted({t for k in checks for t in _missing(s, case, c.checks[k.id])})
    looks = _able([x for x in (make_look(s, case, c, heard, k.id, present) for k in checks) if x is not None])
    mending = [x for x in courses if x.kind == "repair" and not x.barred]
    others = other_choices(s, courses, weights)
    bill = _bill(s, c, missing)
    prices = dict(zip(s.bench.ops, bill.operations, strict=True)) | dict(bill.tools)
    suspects = _suspects(c, heard, weights, present)
    fitting = Fitting(s, after, states, weights, present)
    evidence = np.concatenate([np.ones((1, m)), *(x.rows for x in looks)])
    choices: list[Choice] = []
    weighed: list[Weighed] = []
    for _ in range(ROUNDS):
        mending = fitting.add(mending, others, evidence, SHOWN_FROM)
        made = len(choices)
        choices += [repair_choice(s, after, x, states, weights, bill) for x in mending[made:]]
        if weighed and made == len(mending):
            break
        orders = Orders(s, c, after, [x.jobs for x in mending], states, weights)
        weighed = orders.weigh([*choices, *others], looks, prices, LEAST * s.terms.new_price, suspects)
        evidence = np.array([x for w in weighed for x in _leaves(w.plan.tree, {k.id: k.rows for k in looks}, m)])
    titles = {course_name(s, x): title_of(c, s, x) for x in (*courses, *mending)}
    labels = {k.id: result_names(c.checks[k.id], heard, present) for k in checks}
    instead = _instead(s, [*choices, *others], mending, weights, looks)
    return _told(case, c, s, weighed, titles, labels, _leaning(heard, weights, present, looks), instead)


def _instead(
    s: Setting, choices: Sequence[Choice], mending: Sequence[Course], weights: Floats, looks: Sequence[Look]
) -> Callable[[Path, str], str]:
    """Return what tells the course to name where the plan stops: no try that seldom cures, unless it is clearly better.

    The rule of `courses.all_courses`, for what is believed there.
    """
    rows = {x.id: x.rows for x in looks}
    place = {x.name: i for i, x in enumerate(choices)}
    tries = {course_name(s, x): x for x in mending if not x.open_ended}
    columns = Columns(weights, choices, s.trace_cost)

    def named(path: Path, stop: str) -> str:
        fails = choices[place[stop]].fails if stop in tries else None
        if fails is None:
            return stop
        here = np.prod([rows[name][k] for name, k in path], axis=0)[None]
        block = columns.block(here)
        mass = float(block.mass[0])
        if 1 - float(((here[0] * weights) @ fails).sum()) / mass >= SELDOM:
            return stop
        value = columns.stop(block, (), {})[0, :, 0] / mass
        rest = [i for i, x in enumerate(choices) if x.name not in tries and np.isfinite(value[i])]
        best = max(rest, key=lambda i: value[i])
        clearly = value[place[stop]] > value[best] + CLEARLY * tries[stop].cost
        return stop if clearly else choices[best].name

    return named


def _leaves(node: Node, rows: Mapping[str, Floats], m: int) -> list[Floats]:
    """Return the likelihood in each state of coming to each place where the plan stops and that is shown, (m,) each."""
    if node.check is None:
        return [np.ones(m)]
    shown = [(k, below) for k, below in node.results if below.chance >= SHOWN_FROM]
    return [rows[node.check][k] * x for k, below in shown for x in _leaves(below, rows, m)]


def _nearest(steps: Sequence[Step]) -> Step | None:
    """Return the check that gives most for its cost, or where none gives much the one that falls short by least."""

    def short_by(x: Step) -> tuple[bool, float]:
        tells = x.evsi > x.cost * WORTH_FROM
        return not tells, -x.worth / x.cost if tells and x.cost > 0 else x.cost - x.worth

    return min(steps, key=short_by, default=None)


def _able(looks: Sequence[Look]) -> list[Look]:
    """Return the checks whose requirements, and theirs in turn, can be met."""
    able = list(looks)
    while (left := [x for x in able if x.requires <= {y.id for y in able}]) != able:
        able = left
    return able


def _leaning(
    heard: Heard, weights: Floats, present: NDArray[np.bool_], looks: Sequence[Look]
) -> Callable[[Path], Leaning | None]:
    """Return what tells the likeliest fault after checks with results, None where there is none to tell."""
    rows = {x.id: x.rows for x in looks}

    def leading(path: Path) -> Leaning | None:
        here = weights * np.prod([rows[name][k] for name, k in path], axis=0)
        if not heard.faults or here.sum() <= 0:
            return None
        chances = here @ present / here.sum()
        i = int(chances.argmax())
        return Leaning(heard.faults[i], float(chances[i]))

    return leading


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
    leading: Callable[[Path], Leaning | None],
    instead: Callable[[Path, str], str],
) -> Staged:
    """Return the plan with the best order in words and money. weighed: first the one with none today."""
    usual = best = weighed[0]
    for x in weighed[1:]:  # the simplest way first: more has to earn it
        best = x if x.plan.value > best.plan.value + ORDER_FROM * s.terms.new_price else best
    plan = best.plan

    def money(x: float) -> Decimal:
        return to_decimal(x, case.currency)

    def said(node: Node, stop: str | None) -> str:
        if node.check is not None:
            return c.checks[node.check].title
        return titles.get(stop or "", titles.get((stop or "").partition("|")[0], ""))

    def branches(node: Node, path: Path = ()) -> tuple[Branch, ...]:
        found = []
        for k, below in node.results:
            if below.chance >= SHOWN_FROM:
                here = (*path, (node.check or "", k))
                stop = None if below.stop is None else instead(here, below.stop)
                course = None if stop is None else stop.partition("|")[0]
                rest = said(below, stop), leading(here), branches(below, here)
                found.append(Branch(labels[node.check or ""][k], below.chance, below.check, course, *rest))
        return tuple(found)

    step = plan.first or _nearest(plan.steps)
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
        tuple(CheckWorth(x.id, money(max(x.evsi, 0.0)), money(x.cost)) for x in plan.steps),
        plan.left_out,
        said(plan.tree, plan.tree.stop),
        branches(plan.tree),
        tuple(_order_line(case, s, x, usual) for x in weighed),
        best.kind,
    )
