"""Risk: how each course may turn out, how high a ticket may run, and where to stop and ring.

Outturns are draws of `spread.Spread` at scrambled Sobol points with a fixed seed: the same case has the same figures on
every run. Their mean is the net worth of the course but for sampling, and the standard error of that is told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.courses import TIE
from econ.groundwork import entropy
from econ.money import to_decimal
from econ.repairs import AfterRepair, net_by_state
from econ.rulebook import MachineClass
from econ.setting import Course, Setting, course_name
from econ.spread import RESALE_SD, RESALE_SOURCE, Spread, WorkSpread, draw, sobol
from econ.states import packed
from econ.terms import Assumption

Floats = NDArray[np.float64]
SEED = 4_205  # of the first scramble; fixed
REPLICATES, POINTS = 32, 64  # independent scrambles, and points in each: 2^11 draws
TENTHS = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Outturn:
    """How a course may turn out: mean net worth, and what one draw in ten, half and nine in ten stay below.

    chance_of_loss: of an outturn below zero, worse than handing the machine over for nothing. chance_of_regret: that a
    course of another kind comes out better in the same draw. standard_error: of the mean, from the replicates.
    """

    course: str
    mean: Decimal
    p10: Decimal
    p50: Decimal
    p90: Decimal
    standard_error: Decimal
    chance_of_loss: float
    chance_of_regret: float


@dataclass(frozen=True)
class Authorisation:
    """What to agree on before a repair; amounts are what is paid and the worth of the own time.

    p10, p50, p90: of the ticket; where the jobs are left open, with what is added later. above_mean_hours: the mean
    ticket less the ticket at mean hours, from billing steps and minimum charge; worth does not count it.
    not_to_exceed: the smaller of p90 and the repair limit, 0 where nothing is worth paying: stop there and ring.
    diagnosis_up_to: the fee, else the cost of tracing what it may be. To decline after it costs `decline`: that,
    closing what has been opened so far, and storage.
    """

    course: str
    p10: Decimal
    p50: Decimal
    p90: Decimal
    above_mean_hours: Decimal
    not_to_exceed: Decimal
    diagnosis_up_to: Decimal
    decline_put_back: Decimal
    decline_storage: Decimal
    decline: Decimal


@dataclass(frozen=True)
class Risk:
    """Outturns in the order of the courses, what to authorise where there is a repair, and how it was drawn."""

    outturns: tuple[Outturn, ...]
    authorisation: Authorisation | None
    seed: int
    draws: int
    replicates: int
    assumptions: tuple[Assumption, ...]


def outturns(spread: Spread, courses: Sequence[Course], rows: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
    """Return net worth by draw (k, n), what repairs cost by draw (k, n), and their mean tickets less worth's (k,).

    rows: the state of each draw as a row of the posterior. Costs are the ticket and, where the jobs are left open,
    what is added later; NaN for courses without repair [money].
    """
    worth = np.array([x.worth_by_state[rows] for x in courses])
    cost, gap = np.full(worth.shape, np.nan), np.full(len(courses), np.nan)
    mending = [i for i, x in enumerate(courses) if x.kind == "repair"]
    if mending:
        paid, mean_hours = spread.tickets([courses[i] for i in mending])
        mean = paid.mean(axis=1)
        gap[mending] = mean - mean_hours
        worth[mending] -= paid - mean[:, None]
        cost[mending] = paid
    for i, x in enumerate(courses):
        if x.kind == "repair":
            deviation, added = spread.repair(x)
            worth[i] += deviation
            cost[i] += added if x.open_ended else 0.0
        else:
            worth[i] += spread.other(x)
    return worth, cost, gap


def regrets(worth: Floats, courses: Sequence[Course]) -> Floats:
    """Return the chance of each course that one of another kind that can be taken comes out better, (k,) [1]."""
    free = np.array([not x.barred for x in courses])
    kinds = np.array([x.kind for x in courses])
    chances = np.zeros(len(courses))
    for kind in np.unique(kinds):
        rivals, own = free & (kinds != kind), kinds == kind
        if rivals.any():
            better = worth[rivals].max(axis=0) > worth[own] + TIE * np.abs(worth[own])
            chances[own] = better.mean(axis=1)
    return chances


def assess(
    case: Case,
    c: MachineClass,
    s: Setting,
    courses: Sequence[Course],
    limits: Mapping[int, float],
    named: Course | None = None,
    after: AfterRepair | None = None,
) -> Risk:
    """Return the risk of a case's courses.

    limits: repair limit of each repair by `id(course)` [minor units]. named: the repair the estimate is written for;
    without one nothing is authorised. after: what was worked out for the courses, to use again.
    """
    d = draw(s, sobol(SEED, REPLICATES, POINTS))
    worth, cost, gap = outturns(Spread(s, after or AfterRepair(s), WorkSpread(case, c, s, d)), courses, d.row)
    means = worth.reshape(len(courses), REPLICATES, POINTS).mean(axis=2)
    error = means.std(axis=1, ddof=1) / REPLICATES**0.5
    points = np.quantile(worth, TENTHS, axis=1)
    loss, regret = (worth < 0).mean(axis=1), regrets(worth, courses)

    def money(x: float) -> Decimal:
        return to_decimal(x, case.currency)

    lines = tuple(
        Outturn(
            course_name(s, x),
            money(float(worth[i].mean())),
            money(float(points[0, i])),
            money(float(points[1, i])),
            money(float(points[2, i])),
            money(float(error[i])),
            round(float(loss[i]), 4),
            round(float(regret[i]), 4),
        )
        for i, x in enumerate(courses)
    )
    agreed = None
    for i, x in enumerate(courses):
        if x is named:
            agreed = _authorise(case, s, x, cost[i], float(gap[i]), limits.get(id(x)))
    notes = (
        Assumption("resale_spread", f"{RESALE_SD:g} (standard deviation of the log)", RESALE_SOURCE),
        Assumption("hours_spread", "PERT between low and high, all late together", "judgement"),
        Assumption(
            "price_spread", "PERT between low and high where no price is stated, all dear together", "judgement"
        ),
    )
    return Risk(lines, agreed, SEED, REPLICATES * POINTS, REPLICATES, notes)


def work_spread(case: Case, c: MachineClass, s: Setting) -> WorkSpread:
    """Return how the work of machines that are worked on alike may turn out in the draws of `assess`."""
    return WorkSpread(case, c, s, draw(s, sobol(SEED, REPLICATES, POINTS)))


def outturns_of(s: Setting, best: Course, after: AfterRepair, work: WorkSpread) -> Floats:
    """Return what one course brings in the draws of `assess`, rising, (draws,) [money]."""
    rows, which = work.states
    by_state = best.worth_by_state[rows] if best.worth_by_state.size else net_by_state(s, after, best.jobs, rows)
    course = replace(best, worth_by_state=by_state)
    found: Floats = np.sort(outturns(Spread(s, after, work), [course], which)[0][0])
    return found


def _authorise(case: Case, s: Setting, x: Course, cost: Floats, gap: float, limit: float | None) -> Authorisation:
    """Return what to agree on before a repair with the given costs by draw [money]."""

    def money(v: float) -> Decimal:
        return to_decimal(v, case.currency)

    low, middle, high = (float(p) for p in np.quantile(cost, TENTHS))
    fee = float(s.terms.money("diagnosis_fee")) if s.terms.by_shop else 0.0
    failing = packed(s.table.failing, s.in_play)[s.posterior.states]
    looks = max(1.0, float(entropy(np.bincount(failing, weights=s.posterior.weights)[1:].astype(float))))
    storage = float(dict(s.bench.charges.fixed).get("storage", 0))
    most = max(0.0, high if limit is None else min(high, limit))
    parts = money(fee or min(looks * s.trace_cost, most)), money(s.put_back), money(storage)
    return Authorisation(
        course_name(s, x),
        money(low),
        money(middle),
        money(high),
        money(gap),
        money(most),
        *parts,
        sum(parts, Decimal(0)),
    )
