"""Missed: what a repair brings in the likeliest states alone, and what it may miss there, told apart as far as it pays.

For the plan and for the look at the kerb. Money in minor units.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.groundwork import done_over, entropy
from econ.repairs import AfterRepair, fails_of, over_ways
from econ.scopes import Scope
from econ.setting import Course, Setting
from econ.states import Masks
from econ.stopping import bits

Floats = NDArray[np.float64]
GROUPS = 24  # sets of failing faults told apart in tracing; the rest count as one


@dataclass(frozen=True)
class Missed:
    """What a scope costs and may miss in m states, whatever the machine sells for.

    paid: ticket, waiting, and doing over again, (m,) [money]. fails: the chance of each set of failing faults told
    apart, (m, sets); inside: bits of telling those apart that count as one, (m,); bits: of all by the weights.
    """

    paid: Floats
    fails: Floats
    inside: Floats
    bits: float


def missed(s: Setting, after: AfterRepair, scope: Scope, states: Masks, weights: Floats) -> Missed:
    """Return what a scope costs and may miss in some states."""
    (price,) = after.groundwork.prices([scope])
    kept, inside = _grouped(fails_of(s, scope, states), weights)
    paid = price.cost + price.weeks * s.payoffs.week + done_over(s, scope, states)
    return Missed(paid, kept, inside, float(bits(weights @ kept)))


def in_states(
    s: Setting, after: AfterRepair, course: Course, states: Masks, weights: Floats, m: Missed
) -> tuple[Floats, Floats | None]:
    """Return what a repair is worth in each state with what it misses traced, but for telling that apart; and given up.

    (m,) each, None where it is never given up. States not looked at count with what the course is worth with them now.
    """
    traced, given_up = (x - m.paid for x in over_ways(s, after, course.jobs, states))
    traced = traced - s.trace_cost * m.inside
    here = float(weights @ traced - s.trace_cost * m.bits)
    if course.open_ended:
        return traced + (course.worth - here), None
    unseen = course.worth - max(here, float(weights @ given_up))
    return traced + unseen, given_up + unseen


def _grouped(fails: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Return what fails (m, sets) with all but the likeliest sets as one, and the bits of telling those apart (m,).

    The bits of all are those of the groups and, where the last comes up, those inside it (the chain rule of entropy);
    the latter stay what they are now.
    """
    seen = weights @ fails
    top = np.argsort(-seen, kind="stable")
    last = fails[:, top[GROUPS:]].sum(axis=1)
    kept = np.concatenate([fails[:, top[:GROUPS]], last[:, None]], axis=1)
    return kept, last * entropy(seen[top[GROUPS:]]) if top.size > GROUPS else np.zeros(weights.size)
