"""Fitting: the repairs that the plan has to weigh, because some evidence makes them the best.

The repairs shown are the best in what is known now. A check may show a fault that none of them mends: without its
repair among the choices the check would seem worth less than it is, and the plan would name the wrong one there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from econ.costing import members, tickets, work
from econ.groundwork import done_over, repair_weeks
from econ.repairs import LEADS_FROM, AfterRepair, fails_of, open_ended, over_ways, repairs
from econ.scopes import Scope, completed, covers
from econ.setting import Course, Setting
from econ.states import mask_of
from econ.stopping import Choice, Columns

Floats = NDArray[np.float64]
COVERS = 2  # ways to clear the faults that lead at a result that are tried
BETTER = 0.0005  # share of the new price by which a repair added must beat those shown [1]; judgement


class Fitting:
    """Repairs by evidence, each scope worked out once. present: (m, faults in play), whether each fault is there."""

    def __init__(
        self, s: Setting, after: AfterRepair, states: NDArray[np.int64], weights: Floats, present: NDArray[np.bool_]
    ) -> None:
        self._s, self._after, self._states, self._weights = s, after, states, weights
        self._present = present.astype(float)
        self._known: dict[Scope, Choice] = {}

    def _work_out(self, scopes: Sequence[Scope]) -> None:
        """Work out what scopes are worth in each state, labour spared by checks and holds left out."""
        new = [x for x in dict.fromkeys(scopes) if x not in self._known]
        if not new:
            return
        s, member = self._s, members(self._s.bench, new)
        weeks = repair_weeks(s, work(s.bench, member).wait)
        paid = tickets(s.bench, member).cost + weeks * s.payoffs.week
        for scope, price in zip(new, paid.tolist(), strict=True):
            traced, untraced = over_ways(s, self._after, scope, self._states)
            paid = price + done_over(s, scope, self._states)
            given_up = None if open_ended(s, scope) else untraced - paid
            self._known[scope] = Choice("", traced - paid, given_up, fails_of(s, scope, self._states))

    def _tried(self, evidence: Floats, mass: Floats, least: float) -> list[Scope]:
        """Return covers of the faults that lead in each evidence, by themselves and together."""
        chances = (evidence * self._weights) @ self._present / np.maximum(mass, 1e-300)[:, None]
        found: dict[Scope, None] = {}
        for chance, here in zip(chances, mass, strict=True):
            if here >= least:
                order = np.argsort(-chance, kind="stable")
                sure = [i for i in order.tolist() if chance[i] >= LEADS_FROM]
                for faults in (order[:1].tolist(), order[:2].tolist(), sure):
                    for scope in covers(self._s.jobs, mask_of(faults), COVERS):
                        found[completed(scope, self._s.clearing)] = None
        return [x for x in found if not set(x) & set(self._s.bench.barred)]

    def add(self, mending: Sequence[Course], others: Sequence[Choice], evidence: Floats, least: float) -> list[Course]:
        """Return the repairs with those added that are the best choice in some evidence.

        evidence: (e, m) likelihoods. least: chance from which evidence counts [1].
        """
        mass = evidence @ self._weights
        tried = [] if self._s.no_repair else self._tried(evidence, mass, least)
        there = [x.jobs for x in mending]
        new = [x for x in tried if x not in there]
        if not new:
            return list(mending)
        self._work_out([*there, *new])
        choices = [*(self._known[x] for x in (*there, *new)), *others]
        columns = Columns(self._weights, choices, self._s.trace_cost)
        value = columns.stop(columns.block(evidence), (), {})[0]
        value[: len(there)] += BETTER * self._s.terms.new_price * mass  # those shown come first
        best = {int(i) - len(there) for i, here in zip(value.argmax(axis=0), mass, strict=True) if here >= least}
        fit = [new[i] for i in sorted(best) if 0 <= i < len(new)]
        return [*mending, *repairs(self._s, self._after, fit)]
