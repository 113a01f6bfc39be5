"""Next time: the parts a repair renews that wear out and fail again, and what they are worth paying for then.

The same kernel as `again.py`, with hours and prices from the bench. Money in minor units inside, decimal in the answer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from econ.ahead import Component
from econ.case import Case
from econ.costing import Bench, members, tickets
from econ.earlier import Earlier, own_life
from econ.knowledge import PartLife
from econ.market import Market
from econ.outlook import HORIZON, Prospect, make_outlook, make_prospect, make_scene, with_leads
from econ.question import cost_by_part_price
from econ.rulebook import MachineClass
from econ.terms import Assumption, Default, settle

PARTS_SHOWN = 3


@dataclass(frozen=True, kw_only=True)
class NextTime(Prospect):
    """A part that the repair renews and that fails again, every other part taken to be sound.

    job: that fits it, at full price: a warranty now covers no later failure. median_years: years of own use by which
    half of them have failed. root_cause: chance that something else wears it out [1].
    """

    part: str
    title: str
    job: str
    median_years: float
    root_cause: float


def _renewed(c: MachineClass, bench: Bench, scope: Sequence[int]) -> list[tuple[int, int, PartLife, float]]:
    """Return (part, job, life, ticket) of each part with a life that a scope fits, the dearest job first."""
    alone = dict(zip(scope, tickets(bench, members(bench, [(j,) for j in scope])).cost.tolist(), strict=True))
    found: dict[int, tuple[int, int, PartLife, float]] = {}
    for j in sorted(scope, key=lambda j: (alone[j], j)):
        for p in np.flatnonzero(bench.job_parts[j]).tolist():
            life = c.parts[bench.parts[p]].life
            if life is not None and p not in found:
                found[p] = p, j, life, alone[j]
    return sorted(found.values(), key=lambda x: (-x[3], -bench.unit_cost[x[0]], x[0]))


def _leads(bench: Bench, part: int, usual: float) -> tuple[float, float]:
    """Return how long a part takes to come now and at a later failure [weeks], by the price book where it says so.

    usual: where it does not [weeks]. What is at hand now has to come the next time.
    """
    if bench.consumable[part]:
        return 0.0, 0.0
    own = float(bench.own_weeks[part])
    later = usual if math.isnan(own) else own
    return 0.0 if bench.shelf[part] else later, later


def _odds(c: MachineClass, part: str, scope: Sequence[str], failed: Sequence[Earlier]) -> float:
    """Return the chance that something wears a part out [1], by the jobs that fitted it and failed again.

    A job counts for nothing where the repair puts right all that it is known to leave.
    """
    cleared = {f for j in scope for f in c.jobs[j].cleared}
    odds = [0.0]
    for x in failed:
        job = c.jobs[x.prior.job]
        left = not job.root_causes or not cleared >= set(job.root_causes)
        if x.chance is not None and left and any(q.part == part for q in job.parts):
            odds.append(x.chance)
    return max(odds)


def next_time(
    case: Case,
    c: MachineClass,
    defaults: Mapping[str, Default],
    market: Market,
    bench: Bench,
    scope: Sequence[int],
    failed: Sequence[Earlier] = (),
) -> tuple[tuple[NextTime, ...], tuple[Assumption, ...]]:
    """Return the next time round of a repair, the dearest job first, at most PARTS_SHOWN; and what it rests on.

    scope: job numbers as on the bench. failed: jobs done before that failed again. Nothing for a reseller, who sells.
    """
    parts = [] if case.perspective == "reseller" else _renewed(c, bench, scope)[:PARTS_SHOWN]
    if not parts:
        return (), ()
    free = np.zeros(len(bench.jobs), dtype=bool)
    bench = replace(bench, free_labour=free, free_parts=free, recalled=free)
    terms = settle(case, c, {**defaults, "horizon_years": HORIZON})
    s = make_scene(c, terms, market, case.machine.age_years)
    names = [bench.jobs[j] for j in scope]
    renewal = max(c.jobs[j].renewal for j in names)
    found, notes = [], []
    for p, j, stated, _ in parts:
        name, job, life = bench.parts[p], c.jobs[bench.jobs[j]], own_life(case, c, stated)
        cost, edges = cost_by_part_price(case, bench, (j,), p)
        ticket = cost(int(bench.unit_cost[p]))
        uncured = 0.0 if terms.by_shop else job.uncured  # a shop does its own work over again for nothing
        odds = _odds(c, name, names, failed)
        at = with_leads(s, *_leads(bench, p, terms["parts_lead_days"] / 7))
        o = make_outlook(at, Component(life, ticket + at.wait_later, uncured), odds, renewal=renewal)
        seen = make_prospect(at, o, cost, ticket, edges)
        found.append(
            NextTime(
                **vars(seen),
                part=name,
                title=c.parts[name].title,
                job=bench.jobs[j],
                median_years=round(life.median_years, 3),
                root_cause=round(odds, 6),
            )
        )
        said = f"{life.median_years:.2g} years, half of them; Weibull shape {life.shape:g}"
        notes.append(Assumption(f"life.{name}", said, stated.source))
    looked = [x for x in terms.assumptions if x.name == "horizon_years" and x.source == HORIZON.source]
    notes += [Assumption("next_time_years", x.value, x.source) for x in looked]
    return tuple(found), (*notes, *(Assumption("next_time_as_is", x.value, x.source) for x in s.notes))
