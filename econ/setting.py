"""Setting: all that courses are computed from, and what a course is. Money in minor units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.costing import Bench
from econ.evidence import Posterior
from econ.payoffs import Payoffs
from econ.scopes import Jobs, Scope
from econ.states import FaultTable, mask_of
from econ.terms import Terms

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """One course. Money in minor units; cash: paid (-) or received (+) today; cost: expected present cost in all.

    worth_by_state: (m,) net worth in each state of the posterior. weeks: without the machine. years: discounted years
    of service. cured: chance that no fault is left that costs much of its service. follow_up: expected cost of
    tracing and of jobs added later. barred: why it can't be done, or empty. open_ended: the cause is found first,
    then what it needs is done. margin, margin_per_hour: the shop's gross profit.
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
    clearing: tuple[Scope, ...]
    wanted: Scope
    trace_cost: float
    put_back: float
    held: bool
    unusable: str
    no_repair: str

    @property
    def worn(self) -> int:
        """The wanted wear faults as a mask: present in every state."""
        return mask_of(range(self.in_play, len(self.table.ids)))


def course_name(s: Setting, course: Course) -> str:
    """Return the name of a course in answers: its kind, or ``repair:a+b`` by its jobs, or ``repair:open``."""
    if course.kind != "repair":
        return course.kind
    return "repair:" + ("+".join(s.bench.jobs[j] for j in course.jobs) or "open")
