"""Question: what is asked about a component that has failed; its life, and what one job on it costs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from econ.case import Case
from econ.costing import THOUSAND, Bench, make_bench, markup, members, thousandths, tickets
from econ.life import Life
from econ.money import to_minor
from econ.rulebook import MachineClass
from econ.terms import Assumption, Terms, rate_millionths
from econ.wearout import fit_life

USUAL_SHAPE = 2.0
USUAL_SHAPE_SOURCE = (
    "judgement: a worn part; between the slope 1.5 used in ISO 281 for bearings and the 2.10 of the 23 ball bearings "
    "of Lieblein and Zelen, J. Res. NBS 57(5), 1956"
)
FEW = 4  # failures below which only the scale is fitted, the shape taken as usual; judgement
STEEPEST = 10.0  # fitted shapes above this are taken as this [1]; judgement


@dataclass(frozen=True)
class Question:
    """What is asked about one component.

    title: as in "the lower bearing". life_years: median from its renewal to its failure [years of own use]; or
    failures and still_running: lives so far [years]. part_price: as bought; hours: of the job by the book. uncured:
    chance that the job does not cure. renews: it leaves the part as new; else the part runs on at its age_years.
    price_more: what a machine with it costs more than one without. months_ago: since this job was done last, if ever;
    warranty_months: how long that is covered, if known.
    """

    title: str
    part_price: Decimal
    hours: float
    life_years: float | None = None
    shape: float | None = None
    failures: tuple[float, ...] = ()
    still_running: tuple[float, ...] = ()
    uncured: float | None = None
    renews: bool = True
    age_years: float | None = None
    price_more: Decimal = Decimal(0)
    months_ago: float | None = None
    warranty_months: float | None = None
    root_cause: float | None = None
    root_life_share: float | None = None


@dataclass(frozen=True)
class LifeLine:
    """The component's life. failures: how many it was fitted to, 0 where it was stated; errors: standard errors."""

    median_years: float
    shape: float
    scale_years: float
    failures: int
    shape_error: float | None
    scale_error: float | None


def component_life(q: Question) -> tuple[LifeLine, tuple[Assumption, ...]]:
    """Return the life of the component, stated or fitted, and what was assumed. Raises ValueError as `fit_life`."""
    notes = []
    shape = q.shape
    if shape is None and (not q.failures or len(q.failures) < FEW):
        shape = USUAL_SHAPE
        notes.append(Assumption("component_shape", f"{shape:g}", USUAL_SHAPE_SOURCE))
    if not q.failures:
        life = Life(q.life_years or 0.0, USUAL_SHAPE if shape is None else shape)
        return LifeLine(life.median_years, life.shape, life.scale_years, 0, None, None), tuple(notes)
    fit = fit_life(q.failures, q.still_running, shape)
    if fit.shape > STEEPEST:
        fit = fit_life(q.failures, q.still_running, STEEPEST)
        notes.append(Assumption("component_shape", f"{STEEPEST:g}", "judgement: the lives lie closer than is credible"))
    told = f"fitted to {fit.failures} failures and {fit.survivors} still running (maximum likelihood)"
    notes.append(Assumption("component_life", f"{fit.median:.2g} years, half of them", told))
    return (
        LifeLine(fit.median, fit.shape, fit.scale, fit.failures, fit.shape_error, fit.scale_error),
        tuple(notes),
    )


def cost_by_part_price(
    case: Case, bench: Bench, jobs: Sequence[int], part: int
) -> tuple[Callable[[int], float], list[int]]:
    """Return the cost of a scope by the unit cost of one of its parts [money], waiting left out; and mark-up limits.

    The arithmetic of every other ticket. jobs, part: numbers as on the bench.
    """
    tiers = [
        (None if t.up_to is None else to_minor(t.up_to, case.currency), rate_millionths(t.rate))
        for t in case.terms.parts_markup
    ]
    member, here, by_shop = members(bench, [jobs]), np.arange(len(bench.parts)) == part, bench.terms.by_shop

    def cost(price: int) -> float:
        charged = markup(price, tiers) if by_shop else price
        priced = replace(
            bench,
            unit_cost=np.where(here, price, bench.unit_cost),
            unit_price=np.where(here, charged, bench.unit_price),
        )
        return float(tickets(priced, member).cost[0])

    return cost, [limit for limit, _ in tiers if limit is not None and by_shop]


def job_ticket(case: Case, c: MachineClass, terms: Terms, hours: float) -> tuple[Callable[[int], float], list[int]]:
    """Return `cost_by_part_price` of one job with one part: a bench with one operation, one job and one part."""
    one, none = np.ones((1, 1), dtype=np.int64), np.zeros((1, 1), dtype=bool)
    bench = replace(
        make_bench(case, c, terms),
        ops=("job",),
        jobs=("job",),
        parts=("part",),
        tools=(),
        job_ops=~none,
        op_hours=one[0] * thousandths(hours),
        op_trouble_hours=0 * one[0],
        op_trouble_parts=0 * one[0],
        op_parts=0 * one,
        job_parts=one * THOUSAND,
        unit_cost=0 * one[0],
        unit_price=0 * one[0],
        op_tools=none[:, :0],
        tool_price=one[0, :0],
        free_labour=none[0],
        free_parts=none[0],
        recalled=none[0],
        consumable=none[0],
        shelf=0 * one[0],
        own_weeks=np.full(1, np.nan),
        return_loss=np.zeros(1),
        barred={},
    )
    return cost_by_part_price(case, bench, (0,), 0)


def highest_part_price(cost: Callable[[int], float], limit: float, edges: Sequence[int] = ()) -> int | None:
    """Return the dearest part [minor units] at which a job costs no more than a limit; None: not even a free one does.

    cost: rises with the price of the part between `edges`, limits of mark-up tiers, where it may drop.
    """
    most = int(max(limit, 0.0))
    bounds = [-1, *(x for x in edges if x < most), most]
    for low, high in zip(reversed(bounds[:-1]), reversed(bounds[1:]), strict=True):
        if cost(low + 1) <= limit:
            good, bad = low + 1, high + 1
            while bad - good > 1:
                middle = (good + bad) // 2
                good, bad = (middle, bad) if cost(middle) <= limit else (good, middle)
            return good
    return None
