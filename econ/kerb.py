"""Kerb: what to ask before driving out and what to look at on the spot, and what each is worth.

Both are worth something only because one may leave the find where it is: at every answer and every result the better of
the best course and of leaving it is taken. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.findings import Heard
from econ.inputs import open_facts
from econ.money import to_minor
from econ.repairs import AfterRepair
from econ.rulebook import MachineClass
from econ.setting import Course, Setting
from econ.staging import Bill, make_look, other_choices, repair_choice
from econ.stopping import Columns, Look, opened_by

Floats = NDArray[np.float64]
STATES = 256  # likeliest states looked at
SPOT_MINUTES = 10.0  # a longer check is not made at the kerb; judgement
TRIFLE = 0.001  # share of the new price from which a question's worth is told [1]; judgement
TRUST = 0.7  # chance that a seller's answer is true, else it says nothing [1]; judgement


@dataclass(frozen=True)
class Spot:
    """A check at the kerb or a question to the seller. worth: of the answer, before the time it takes [money]."""

    id: str
    minutes: float
    worth: float


@dataclass(frozen=True)
class Kerb:
    """The check to make first on the spot, and the question to ask the seller; None where none pays."""

    check: Spot | None
    question: Spot | None


class _Stakes:
    """The choices there are, with what each result makes of them."""

    def __init__(
        self, s: Setting, after: AfterRepair, courses: Sequence[Course], states: NDArray[np.int64], weights: Floats
    ) -> None:
        mending = [x for x in courses if x.kind == "repair" and not x.barred]
        bill = Bill((), {}, {})
        choices = [repair_choice(s, after, x, states, weights, bill) for x in mending]
        choices += other_choices(s, courses, weights)
        self._columns = Columns(weights, choices, s.trace_cost)
        self.now = self._best(np.ones((1, weights.size)), ())[0]

    def _best(self, rows: Floats, made: Sequence[Look]) -> Floats:
        """Return the value of the best choice at each result, times its chance, (results,)."""
        block = self._columns.block(rows)
        best: Floats = self._columns.stop(block, made, opened_by(made))[0].max(axis=0)
        return best

    def worth(self, look: Look, leave: float) -> float:
        """Return what a look is worth where leaving the find saves so much [money]."""
        chances = self._columns.block(look.rows).mass
        after = np.maximum(self._best(look.rows, (look,)), leave * chances).sum()
        return max(float(after - max(self.now, leave)), 0.0)


def kerb(case: Case, c: MachineClass, s: Setting, heard: Heard, courses: Sequence[Course], after: AfterRepair) -> Kerb:
    """Return what to look at on the spot and what to ask before.

    Checks that take a few minutes, no tools that are not there, and nothing taken apart. Where no price is asked, the
    find is looked at as if it cost what it is worth: then an answer may turn the decision most.
    """
    m = min(STATES, s.posterior.states.size)
    states, weights = s.posterior.states[:m], s.posterior.weights[:m] / s.posterior.weights[:m].sum()
    present = (states[:, None] >> np.arange(len(heard.faults)) & 1).astype(bool)
    stakes = _Stakes(s, after, courses, states, weights)
    trip = float(s.terms.money("hour_worth")) * case.find.travel_hours + _minor(s, case.find.travel_cost)
    asked = case.find.asking_price
    price = max(stakes.now - trip, 0.0) if asked is None else _minor(s, asked)
    looks = []
    for name, check in c.checks.items():
        if check.complaint or check.reveals or check.operations or name in heard.outcomes:
            continue
        if check.minutes > SPOT_MINUTES or not set(check.tools) <= set(case.tools.owned):
            continue
        if (check.running and s.held) or not set(check.requires) <= set(heard.outcomes):
            continue
        look = make_look(s, case, c, heard, name, present)
        if look is not None:
            looks.append((Spot(name, check.minutes, stakes.worth(look, price)), look.cost))
    paying = [(x, x.worth - cost) for x, cost in looks if x.worth > cost]
    check_first = max(paying, key=lambda x: (x[1], x[0].id))[0] if paying else None
    asks = []
    for fact in open_facts(heard, states, weights):
        share = fact.chances[:, None]
        told = TRUST * share * fact.weights / weights + (1 - TRUST) * share
        asks.append(Spot(fact.name, 0.0, stakes.worth(Look(fact.name, told), price + trip)))
    best = max(asks, key=lambda x: (x.worth, x.id), default=None)
    told_from = TRIFLE * float(s.terms.new_price)
    return Kerb(check_first, best if best is not None and best.worth >= told_from else None)


def _minor(s: Setting, amount: Decimal) -> float:
    return float(to_minor(amount, s.terms.currency))
