"""Turns: what would turn the answer of one case, from its setting to its break-even values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from econ.breakeven import AtEnd, BreakEven, Change, InputLine, break_even
from econ.buying import asking_of, highest_offer
from econ.case import Case
from econ.costing import members, work
from econ.evidence import Posterior
from econ.findings import Heard
from econ.inputs import PARTS, STATED_SOURCE, STATED_SPREAD, Input, make_inputs, open_facts
from econ.market import Market
from econ.money import to_decimal
from econ.problems import BadInput, Problem, nearest, shown
from econ.repairs import AfterRepair, repairs
from econ.rulebook import MachineClass
from econ.scopes import Scope
from econ.setting import Course, Setting, course_name
from econ.terms import Default
from econ.worlds import LIKELY, ROUGH, Ask, Ground, Worlds, candidates

LEAVE = "leave_it"  # what a reseller does with a find that asks too much
MAY_BE = 0.05  # chance of a fault from which the parts of its jobs are looked at [1]; judgement
FINE = 2048  # likeliest states looked at where the best course was found to change


@dataclass(frozen=True)
class Scene:
    """One case as taken in: its setting, its market, what was heard, and what is believed from the complaint alone."""

    case: Case
    c: MachineClass
    setting: Setting
    market: Market
    heard: Heard
    complained: Posterior


def _parts(s: Setting, shown: Sequence[Scope], named: Sequence[str]) -> list[str]:
    """Return the parts named, then those that repairs use, dearest first: of the repairs shown, then of later jobs.

    Later ones are one job after the other for the faults there may be, the likeliest first.
    """
    present = [float(s.posterior.weights[(s.posterior.states >> i & 1) == 1].sum()) for i in range(s.in_play)]
    order = np.argsort(-np.array(present), kind="stable")
    later = [[(j,)] for i in order if present[i] >= MAY_BE for j in s.jobs.for_fault[i] if j not in s.bench.barred]
    parts = [p for p in s.bench.parts if f"prices.{p}" in named]
    for scopes in (shown, *later) if shown else ():
        if len(parts) < PARTS:
            cost = (work(s.bench, members(s.bench, scopes)).fitted * s.bench.unit_cost).max(axis=0)
            parts += [s.bench.parts[i] for i in np.argsort(-cost, kind="stable") if cost[i] > 0]
            parts = list(dict.fromkeys(parts))
    return parts


def _pair(case: Case, inputs: Sequence[Input]) -> tuple[Input, ...]:
    """Return the two inputs the case wants laid against each other. Raises BadInput where they can't be."""
    able = {i.name: i for i in inputs if i.pairs}
    rule = "an input of this case that can be laid against another"
    problems = [
        Problem(f"two_way.{n}", shown(name), rule, nearest(name, able))
        for n, name in enumerate(case.two_way)
        if name not in able
    ]
    if len(case.two_way) == 1 or len(set(case.two_way)) < len(case.two_way):
        problems.append(Problem("two_way", shown(list(case.two_way)), "two different inputs", "name two, or none"))
    if problems:
        raise BadInput(problems)
    return tuple(able[name] for name in case.two_way)


def _ends(ground: Ground, inputs: Sequence[Input]) -> list[Ask]:
    """Return worlds at the ends of what each input may be and of where it is searched."""
    p = ground.likely(ROUGH)
    ends = [np.unique([i.least, i.low, i.high, i.most]) for i in inputs]
    pairs = zip(inputs, ends, strict=True)
    return [i.ask(values, p.states, p.weights) for i, values in pairs if not i.alone and not i.mask]


def turns(
    x: Scene,
    defaults: Mapping[str, Default],
    after: AfterRepair,
    found: Mapping[Scope, float],
    courses: Sequence[Course],
    best: Course,
) -> BreakEven:
    """Return what would change the answer.

    defaults: terms that cases leave open. after: of the setting. found: scopes looked at, best first. courses: of the
    answer; best: its own. Raises BadInput where the two inputs that the case names can't be laid against each other.
    """
    s = x.setting
    shown = tuple(course.jobs for course in courses if course.kind == "repair")
    kinds = tuple(course.kind for course in courses if course.kind != "repair")
    inputs = make_inputs(x.case, x.c, s, x.market, defaults, _parts(s, shown, x.case.two_way))
    pair = _pair(x.case, inputs)
    ground = Ground(x.case, x.c, x.heard, x.complained, s, shown, kinds)
    known = {course_name(s, course): course for course in courses}
    if shown:
        ground = replace(ground, scopes=candidates(ground, known, found, shown, _ends(ground, inputs)))
        more = repairs(s, after, [y for y in ground.scopes if y not in shown])
        known |= {course_name(s, course): course for course in more}
    worlds = Worlds(ground, known)
    finer = Worlds(ground, known, states=FINE) if s.posterior.states.size > LIKELY else None
    facts = open_facts(x.heard, worlds.states, worlds.weights)
    name = course_name(s, best)
    found_out = break_even(worlds, finer, inputs, facts, name, x.case.currency, pair)
    asked = x.case.find.asking_price
    if asked is None or s.terms.perspective != "reseller":
        return found_out
    highest = highest_offer(best.worth, s.terms.money("hour_worth"), asking_of(x.case))
    line = _asking(asked, to_decimal(int(highest[0]), x.case.currency), name, x.case.currency)
    lines = sorted([*found_out.inputs, line], key=lambda i: (-i.swing, i.input))
    return replace(found_out, inputs=tuple(lines))


def _asking(asked: Decimal, highest: Decimal, course: str, currency: str) -> InputLine:
    """Return the line of the asked price: it changes no course, but above the highest offer the find is left."""
    least = to_decimal(1.0, currency)
    low, high = ((asked * Decimal(str(1 + x))).quantize(least) for x in (-STATED_SPREAD, STATED_SPREAD))
    most = max(4 * asked, 2 * highest)

    def end(price: Decimal) -> AtEnd:
        left = highest - price
        return AtEnd(price, course if left >= 0 else LEAVE, max(left, Decimal(0)), left)

    changes = (Change(highest + least, course, LEAVE),) if 0 <= highest < most else ()
    ends = end(low), end(high)
    return InputLine(
        "find.asking_price",
        "money",
        asked,
        True,
        STATED_SOURCE,
        Decimal(0),
        most,
        changes,
        *ends,
        high - low,
        None,
    )
